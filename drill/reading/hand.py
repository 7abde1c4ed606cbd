"""The other process, which reads many small files and digests them: it has an interpreter of its own to do so.

Flows in, on standard input: asks, each a frame of this system's marshal format: its number, the folder, digest kinds,
whether the cache is to let go of each file, how many are asked for ahead, the files' names and listed sizes. Flows
out, on standard output, in pieces and in any order of asks: the number, for each file in turn its digests' texts, or
None for what has to be read with care, and for each the seconds it took. It ends with its input. Must not know: copies,
the ledger.

It is run by its path and imports nothing of its room, so that it is there soon. `hands` is the other end. What else
prints (somebody's start-up code, a library) goes nowhere: `READY` is where the frames begin, and standard output is put
aside before anything is imported. Whatever a file comes to, each is answered.
"""

import os
import sys

_OUT = 1
if __name__ == "__main__":
    _OUT = os.dup(1)
    os.dup2(2, 1)
    sys.path.insert(0, os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__)))))  # noqa: PTH100, PTH120 - before pathlib is there

import marshal
import signal
from collections.abc import Callable, Iterator
from contextlib import nullcontext, suppress
from threading import Lock, Thread
from time import perf_counter
from typing import BinaryIO

from drill.digestkinds import texts_at_once
from drill.quick import Named, contents, is_cached

READY = b"\0a hand is ready\0"  # before its first frame
LENGTH_BYTES = 4  # before each frame, big-endian
MOST_BYTES = 16 * 1024 * 1024  # of one frame; the longest names of a whole ask take a hundredth of it
MOST_AT_ONCE = 128  # files of one piece of an answer
TELL_AFTER_S = 0.2  # and no longer than this it waits for more: what was read is to be in the ledger soon

_alone = Lock()

Ask = tuple[int, str, tuple[str, ...], bool, int, list[Named]]
Answers = tuple[list[tuple[str, ...] | None], list[float]]  # digests' texts in the order of the kinds; seconds
Piece = tuple[int, Answers]


def read_frame(pipe: BinaryIO) -> bytes | None:
    """Return the next frame; None where the other end is no more, or what comes is no frame."""
    length = int.from_bytes(pipe.read(LENGTH_BYTES), "big")
    if length > MOST_BYTES:
        return None
    frame = pipe.read(length)
    return frame if length and len(frame) == length else None


def write_frame(pipe: BinaryIO, frame: bytes) -> None:
    """Send one frame. Errors: OSError."""
    pipe.write(len(frame).to_bytes(LENGTH_BYTES, "big") + frame)
    pipe.flush()


def main() -> None:
    """Answer until the input ends, each ask on a thread of its own."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the run, which then ends this
    out, lock = os.fdopen(_OUT, "wb"), Lock()
    out.write(READY)
    out.flush()

    def tell(piece: Piece) -> None:
        with lock:
            write_frame(out, marshal.dumps(piece))

    while frame := read_frame(sys.stdin.buffer):
        Thread(target=_serve, args=(marshal.loads(frame), tell), daemon=True).start()
    os._exit(0)  # whatever is still read, nobody waits for it


def _serve(ask: Ask, tell: Callable[[Piece], None]) -> None:
    number, place, kinds, from_medium, ahead, files = ask
    left = len(files)
    # Out of memory, two threads would only hand the interpreter to and fro: the next ask waits for the one before it.
    is_soon = bool(files) and not from_medium and is_cached(place + files[len(files) // 2][0])
    # Whatever it was, a careful reading finds it again and can say it.
    with suppress(Exception), _alone if is_soon else nullcontext():
        for piece in _pieces(kinds, contents(place, files, from_medium=from_medium, ahead=ahead)):
            left -= len(piece[0])
            tell((number, piece))
    if left:
        tell((number, ([None] * left, [0.0] * left)))


def _pieces(kinds: tuple[str, ...], whole: Iterator[bytes | None]) -> Iterator[Answers]:
    digest = texts_at_once(kinds)
    done: list[tuple[str, ...] | None] = []
    took_s: list[float] = []
    told_s = since_s = perf_counter()
    for content in whole:
        done.append(None if content is None else digest(content))
        now_s = perf_counter()
        took_s.append(now_s - since_s)
        since_s = now_s
        if len(done) == MOST_AT_ONCE or now_s - told_s > TELL_AFTER_S:
            yield done, took_s
            done, took_s, told_s = [], [], now_s
    if done:
        yield done, took_s


if __name__ == "__main__":
    main()
