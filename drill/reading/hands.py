"""Hands: other processes that read many small files, so that reading does not wait for this interpreter's lock.

Flows in: a folder, names in it and their listed sizes, digest kinds. Flows out: answers, file by file. Must not know:
copies, the ledger, who asks. Most of a small file's cost is calls to the system, between which threads of one
interpreter hand its lock to and fro: eight of them took twice as long as four in each of two processes (measured).

Whatever goes wrong with a hand costs nothing but time: what it does not answer is read here, and it is not asked again.
"""

import itertools
import marshal
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Lock, Thread

import drill
from drill.quick import Named
from drill.reading import hand
from drill.reading.hand import Answer, read_frame, write_frame

HANDS = 2
WORTH = 5_000  # files for which starting them (70 ms of work each) is sure to pay
_LOOK_UP_S = 0.1
_LEAVE_S = 5.0


class Hand:
    """One other process, started at once; may be asked from several threads. Errors on starting: OSError."""

    def __init__(self) -> None:
        self._asks: dict[int, SimpleQueue[list[Answer] | None]] = {}
        self._numbers = itertools.count()
        self._lock = Lock()
        self.is_lost = False
        self._process = _start()
        self._listener = Thread(target=self._listen, name="hand-listener", daemon=True)
        self._listener.start()

    @property
    def busy(self) -> int:
        """Return how many asks it has not answered in full."""
        return len(self._asks)

    def ask(
        self,
        place: str,
        files: list[Named],
        kinds: tuple[str, ...],
        *,
        from_medium: bool,
        stops: Callable[[], bool],
    ) -> Iterator[Answer]:
        """Yield what each file showed, None for what has to be read with care; ends early when it `stops`, or is lost.

        `kinds` are sorted, each there once.
        """
        queue: SimpleQueue[list[Answer] | None] = SimpleQueue()
        with self._lock:
            number = next(self._numbers)
            self._asks[number] = queue
            self._send(marshal.dumps((number, place, kinds, from_medium, files)))
        left = len(files)
        try:
            while left and not stops():
                try:
                    piece = queue.get(timeout=_LOOK_UP_S)
                except Empty:
                    if self.is_lost:
                        return
                    continue
                if piece is None:
                    return
                left -= len(piece)
                yield from piece
        finally:
            self._asks.pop(number, None)

    def end(self) -> None:
        """End the process; one stuck in a dead server's read is left."""
        self.is_lost = True
        self._process.kill()
        self._listener.join(_LEAVE_S)
        for pipe in (self._process.stdin, self._process.stdout):
            try:
                if pipe is not None and not self._listener.is_alive():
                    pipe.close()
            except OSError:  # what nobody will read any more
                continue
        try:
            self._process.wait(_LEAVE_S)
        except subprocess.TimeoutExpired:
            return

    def _send(self, frame: bytes) -> None:
        assert self._process.stdin is not None
        try:
            write_frame(self._process.stdin, frame)  # type: ignore[arg-type]
        except (OSError, ValueError):  # it has ended, or was
            self.is_lost = True

    def _listen(self) -> None:
        assert self._process.stdout is not None
        try:
            while frame := read_frame(self._process.stdout):  # type: ignore[arg-type]
                number, piece = marshal.loads(frame)
                queue = self._asks.get(number)
                if queue is not None:
                    queue.put(piece)
        except (OSError, ValueError, EOFError, TypeError):
            pass
        self.is_lost = True
        for queue in list(self._asks.values()):
            queue.put(None)


def start_hands(count: int) -> list[Hand]:
    """Start so many other processes, or as many as can be."""
    hands: list[Hand] = []
    try:
        while len(hands) < count and sys.executable:
            hands.append(Hand())
    except OSError:  # the run does without
        pass
    return hands


def _start() -> "subprocess.Popen[bytes]":
    paths = [str(Path(drill.__file__).parent.parent), os.environ.get("PYTHONPATH", "")]
    return subprocess.Popen(
        # -P: nothing beside the script, or where the command was started, is taken for what it imports.
        [sys.executable, "-P", hand.__file__],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
    )
