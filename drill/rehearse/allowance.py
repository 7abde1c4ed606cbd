"""Allowance: how much of what a salvage gives may lie in scratch; what is more is left out, and no run fails for it.

Flows in: a salvage's calls. Flows out: the same calls to the writer, cut short. Must not know: copies, promises. The
writer's files are judged on other threads; one that is removed there makes room again.
"""

from collections.abc import Callable
from pathlib import Path
from threading import Condition
from typing import TypeVar

from drill.model import Collector, Entry, Problem, Trouble
from drill.restore import Key

T = TypeVar("T")


class Allowance:
    """So many bytes of each file at most, and so many in all; None: as many as there are.

    `cut` are the files that had more.
    """

    def __init__(self, *, each: int | None, all_of_them: int) -> None:
        self.cut: set[Key] = set()
        self._each, self._left = each, all_of_them
        self._judging = 0
        self._changed = Condition()

    def limited(self, collector: Collector) -> Collector:
        """Return a collector that passes on what is allowed."""
        return _Limited(self, collector)

    def judged(self, judge: Callable[[Path], T]) -> Callable[[Path], T]:
        """Return a judge after which there is room again for what it removed."""

        def judging(path: Path) -> T:
            size = 0
            try:
                size = path.stat().st_size
                return judge(path)
            finally:
                with self._changed:
                    self._judging -= 1
                    self._left += 0 if path.exists() else size
                    self._changed.notify_all()

        return judging

    def take(self, wanted: int, done: int) -> int:
        """Return how many more bytes of a file may be written, of which so many were; wait while room is being made."""
        if self._each is not None:
            wanted = min(wanted, self._each - done)
        with self._changed:
            while self._left < wanted and self._judging:
                self._changed.wait()
            allowed = min(wanted, self._left)
            self._left -= allowed
        return allowed

    def hand_over(self) -> None:
        """Note that a file goes to the judge now."""
        with self._changed:
            self._judging += 1


class _Limited:
    def __init__(self, allowance: Allowance, collector: Collector) -> None:
        self._allowance, self._collector = allowance, collector
        self._done, self._is_cut = 0, False

    def begin(self, entry: Entry) -> None:
        self._done, self._is_cut = 0, False
        self._collector.begin(entry)

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        allowed = 0 if self._is_cut else self._allowance.take(len(chunk), self._done)
        self._is_cut = self._is_cut or allowed < len(chunk)
        if allowed:
            self._collector.data(memoryview(chunk)[:allowed])
            self._done += allowed

    def hole(self, start: int, end: int) -> None:
        self._collector.hole(start, end)

    def end(self, entry: Entry, problem: Problem | None) -> None:
        if self._is_cut:
            self._allowance.cut.add((entry.path, entry.index))
            problem = problem or Problem(Trouble.DAMAGED, f"has more than the {self._done} bytes that are of use")
        if self._done:
            self._allowance.hand_over()
        self._collector.end(entry, problem)
