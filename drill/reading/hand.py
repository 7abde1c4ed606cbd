"""The other process, which reads many small files and digests them: it has an interpreter of its own to do so.

Flows in, on standard input: asks, each a frame of this system's marshal format: its number, the folder, digest kinds,
whether the cache is to let go of each file, the files' names and listed sizes. Flows out, on standard output, in
pieces and in any order of asks: the number, and for each file in turn its digests' texts, or None for what has to be
read with care, with the seconds it took. It ends with its input. Must not know: copies, the ledger.

It is run by its path and imports nothing of its room, so that it is there soon. `hands` is the other end.
"""

import marshal
import os
import signal
import sys
from collections.abc import Callable
from threading import Lock, Thread
from time import perf_counter
from typing import BinaryIO

from drill.digests import texts_at_once
from drill.quick import Named, contents

LENGTH_BYTES = 4  # before each frame, big-endian
MOST_AT_ONCE = 128  # files of one piece of an answer
TELL_AFTER_S = 0.2  # and no longer than this it waits for more: what was read is to be in the ledger soon

Ask = tuple[int, str, tuple[str, ...], bool, list[Named]]
Answer = tuple[tuple[str, ...] | None, float]  # the digests' texts in the order of the kinds asked for, and seconds
Piece = tuple[int, list[Answer]]


def read_frame(pipe: BinaryIO) -> bytes | None:
    """Return the next frame; None where the other end is no more."""
    length = int.from_bytes(pipe.read(LENGTH_BYTES), "big")
    frame = pipe.read(length)
    return frame if length and len(frame) == length else None


def write_frame(pipe: BinaryIO, frame: bytes) -> None:
    """Send one frame. Errors: OSError."""
    pipe.write(len(frame).to_bytes(LENGTH_BYTES, "big") + frame)
    pipe.flush()


def main() -> None:
    """Answer until the input ends, each ask on a thread of its own."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the run, which then ends this
    out, lock = os.fdopen(os.dup(1), "wb"), Lock()

    def tell(piece: Piece) -> None:
        with lock:
            write_frame(out, marshal.dumps(piece))

    while frame := read_frame(sys.stdin.buffer):
        Thread(target=_serve, args=(marshal.loads(frame), tell), daemon=True).start()
    os._exit(0)  # whatever is still read, nobody waits for it


def _serve(ask: Ask, tell: Callable[[Piece], None]) -> None:
    number, place, kinds, from_medium, files = ask
    digest = texts_at_once(kinds)
    done: list[Answer] = []
    told_s = since_s = perf_counter()
    for content in contents(place, files, from_medium=from_medium):
        texts = None if content is None else digest(content)
        now_s = perf_counter()
        done.append((texts, now_s - since_s))
        since_s = now_s
        if len(done) == MOST_AT_ONCE or now_s - told_s > TELL_AFTER_S:
            tell((number, done))
            done, told_s = [], now_s
    if done:
        tell((number, done))


if __name__ == "__main__":
    main()
