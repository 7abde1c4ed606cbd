"""Hands: other processes that read many small files, so that reading does not wait for this interpreter's lock.

Flows in: a folder, names in it and their listed sizes, digest kinds. Flows out: answers, some files at a time. Must not
know: copies, the ledger, who asks. Most of a small file's cost is calls to the system, between which threads of one
interpreter hand its lock to and fro: eight of them took twice as long as four in each of two processes (measured).

Whatever goes wrong with a hand costs nothing but time: what it does not answer is read here, and it is not asked again.
One that says nothing at all for some seconds while it is asked for something is given up.
"""

import itertools
import marshal
import subprocess
import sys
from collections.abc import Callable, Iterator
from queue import Empty, SimpleQueue
from threading import Event, Lock, Thread
from typing import BinaryIO

from drill import clock
from drill.quick import Named
from drill.reading import hand
from drill.reading.hand import READY, Answers, read_frame, write_frame

HANDS = 2
WORTH = 5_000  # files for which starting them (70 ms of work each) is sure to pay
_LOOK_UP_S = 0.1
_LEAVE_S = 5.0
_SILENT_S = 20.0  # a drive that has to start turning takes ten; a hand tells of each file after a fifth of a second
_MOST_NOISE = 64 * 1024  # bytes that start-up code may print before a hand is ready


class Hand:
    """One other process, started at once; may be asked from several threads. Errors on starting: OSError."""

    def __init__(self) -> None:
        self._asks: dict[int, SimpleQueue[Answers | None]] = {}
        self._numbers = itertools.count()
        self._lock = Lock()
        self.is_lost = False
        self._is_ready = Event()
        self._heard_s = clock.ticks_s()
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
        ahead: int = 0,
        stops: Callable[[], bool],
    ) -> Iterator[Answers]:
        """Yield what the files showed, some of them in turn at a time; ends early when it `stops`, or is lost.

        `kinds` are sorted, each there once; `ahead` as in `drill.quick.contents`.
        """
        queue: SimpleQueue[Answers | None] = SimpleQueue()
        number = next(self._numbers)
        self._asks[number] = queue
        since_s = clock.ticks_s()
        try:
            while not self._is_ready.wait(_LOOK_UP_S):  # nothing is sent to one that may never take it
                if stops() or self._is_given_up(since_s):
                    return
            self._send(marshal.dumps((number, place, kinds, from_medium, ahead, files)))
            left = len(files)
            while left and not stops():
                try:
                    piece = queue.get(timeout=_LOOK_UP_S)
                except Empty:
                    if self._is_given_up(since_s):
                        return
                    continue
                if piece is None:
                    return
                left -= len(piece[0])
                yield piece
        finally:
            self._asks.pop(number, None)

    def _is_given_up(self, since_s: float) -> bool:
        """Say whether it is lost; one that was not heard of for long, though it is asked `since_s`, is from now on."""
        if not self.is_lost and clock.ticks_s() - max(since_s, self._heard_s) > _SILENT_S:
            self.is_lost = True
            self._process.kill()
        return self.is_lost

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
            with self._lock:
                write_frame(self._process.stdin, frame)  # type: ignore[arg-type]
        except (OSError, ValueError):  # it has ended, or was
            self.is_lost = True

    def _listen(self) -> None:
        assert self._process.stdout is not None
        try:
            if _comes_ready(self._process.stdout):  # type: ignore[arg-type]
                self._is_ready.set()
            while self._is_ready.is_set() and (frame := read_frame(self._process.stdout)):  # type: ignore[arg-type]
                self._heard_s = clock.ticks_s()
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


def _comes_ready(pipe: BinaryIO) -> bool:
    """Read up to where the frames begin; say whether they do. Errors: OSError."""
    came = b""
    while not came.endswith(READY) and len(came) < _MOST_NOISE and (more := pipe.read(1)):
        came += more
    return came.endswith(READY)


def _start() -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, *_flags(), hand.__file__],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
    )


def _flags() -> list[str]:
    """Return this interpreter's flags, as far as they change what a hand imports and how it writes names of files.

    -P: nothing beside the script, or where the command was started, is taken for what it imports.
    """
    flags = ["-P", "-X", f"utf8={sys.flags.utf8_mode}"]
    given = {"-I": sys.flags.isolated, "-E": sys.flags.ignore_environment, "-s": sys.flags.no_user_site}
    given |= {"-S": sys.flags.no_site, "-B": sys.flags.dont_write_bytecode}
    return [*flags, *(flag for flag, is_set in given.items() if is_set)]
