"""Which wanted file a salvaged member is, and handing it over.

Flows in: what is waiting, members as they are found, their pieces. Flows out: entries; begin, data, hole and end calls.
Must not know: formats, promises.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from drill.copies.raw import BLOCK, Waiting
from drill.model import Collector, Entry, Problem, Trouble

ZEROS = bytes(BLOCK)


@dataclass(frozen=True, slots=True)
class Gap:
    """That many bytes are not to be had: they cannot be read, or not be unpacked."""

    size: int
    unread: bool = True


Pieces = Iterator[bytes | memoryview | Gap]


class Claims:
    """What is waiting, struck off member by member. `back` puts what is left where it was."""

    def __init__(self, waiting: Waiting) -> None:
        self._waiting = waiting
        self._left: dict[int, list[Entry]] = {}
        self._named: dict[tuple[str, int | None], dict[Entry, None]] = {}  # by path and size, in the archive's order
        for entry in sorted(waiting.rest(), key=lambda entry: entry.index):
            self._left.setdefault(entry.index, []).append(entry)
            self._named.setdefault((entry.path, entry.size), {})[entry] = None

    def __bool__(self) -> bool:
        return bool(self._left)

    def at(self, index: int) -> bool:
        """Say whether something with that index is waiting."""
        return index in self._left

    def all(self) -> list[Entry]:
        """Return what is waiting in the order of its bytes."""
        return [entry for index in sorted(self._left) for entry in self._left[index]]

    def take(self, index: int, paths: Sequence[str], size: int | None) -> Entry | None:
        """Strike off one entry of that index and size: under one of these paths, else any, its name being lost."""
        entries = [entry for entry in self._left.get(index, ()) if None in (size, entry.size) or entry.size == size]
        named = (entry for path in paths for entry in entries if entry.path == path)
        sized = (entry for entry in entries if size is not None and entry.size is not None)
        return self._strike(next(named, None) or next(sized, None))

    def take_elsewhere(self, paths: Sequence[str], size: int | None) -> Entry | None:
        """Strike off one entry of that path and size, wherever the archive had it when it was listed."""
        keys = {(path, known) for path in paths for known in (size, None)}
        same = (next(iter(self._named.get(key, ())), None) for key in keys)
        found = (entry for entry in same if entry is not None)
        return self._strike(min(found, key=lambda entry: entry.index, default=None))

    def strike(self, entry: Entry) -> Entry:
        """Strike off just this entry, and return it."""
        self._strike(entry)
        return entry

    def back(self) -> None:
        """Leave waiting what was not struck off."""
        self._waiting.back(self.all())
        self._left.clear()
        self._named.clear()

    def _strike(self, entry: Entry | None) -> Entry | None:
        if entry is not None:
            self._left[entry.index].remove(entry)
            self._named[entry.path, entry.size].pop(entry, None)
            if not self._left[entry.index]:
                del self._left[entry.index]
        return entry


class Broken(Exception):
    """A member's bytes cannot be had any further; the problem says why."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.detail)
        self.problem = problem


def hand_over(
    entry: Entry, pieces: Pieces, collector: Collector, *, most_zeros: int, verdict: Callable[[], Problem | None]
) -> None:
    """Give a member's pieces to the collector, zeros and holes for its gaps, never more than its size.

    What is missing at its end is a hole too. More than `most_zeros` are not given: a declared size is no proof that
    there ever was so much. `verdict` is asked when every byte came. The pieces may raise Broken.
    """
    collector.begin(entry)
    tally = _Tally(collector, most_zeros)
    problem: Problem | None = None
    try:
        for piece in pieces:
            left = None if entry.size is None else entry.size - tally.done
            if left == 0 or not tally.take(piece, left):
                break
    except Broken as broken:
        problem = broken.problem
    missing = 0 if entry.size is None else entry.size - tally.done
    if missing > 0:
        problem = problem or Problem(Trouble.DAMAGED, f"ends after {tally.done} of {entry.size} bytes")
        tally.take(Gap(missing), missing)
    if problem is None and tally.lost:
        problem = _holed(tally.lost, tally.done, unread=tally.unread)
    collector.end(entry, problem or verdict())


@dataclass(slots=True)
class _Tally:
    """What a collector was given so far, and how much of it was lost."""

    collector: Collector
    zeros_left: int
    done: int = 0
    lost: int = 0
    unread: bool = False

    def take(self, piece: bytes | memoryview | Gap, left: int | None) -> bool:
        """Pass on at most `left` bytes of a piece; False when there is an end of zeros."""
        length = piece.size if isinstance(piece, Gap) else len(piece)
        length = length if left is None else min(length, left)
        if isinstance(piece, Gap):
            self.unread = self.unread or piece.unread
            self.lost += length
            self.collector.hole(self.done, self.done + length)
            if length > self.zeros_left:
                return False
            self.zeros_left -= length
            for at in range(0, length, BLOCK):
                self.collector.data(ZEROS[: min(BLOCK, length - at)])
        else:
            self.collector.data(piece if length == len(piece) else piece[:length])
        self.done += length
        return True


def _holed(lost: int, size: int, *, unread: bool) -> Problem:
    if unread:
        return Problem(Trouble.IO, f"I/O error: {lost} of {size} bytes cannot be read")
    return Problem(Trouble.DAMAGED, f"{lost} of {size} bytes cannot be unpacked")
