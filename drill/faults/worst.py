"""The worst sector of a copy: the one whose loss costs most promised files, the first of equals.

Flows in: an opened copy, what each of its files is worth. Flows out: (path of the file, sector number).
Must not know: promises, restore. In a folder every sector of a file costs that file. In an archive its structure tells
what each sector costs once it is read around; where structure knows only bounds, the sectors that could be the worst
are really tried: laid over the archive, and salvaged. That is bounded, so what is not tried counts with what is sure.
"""

import hashlib
import heapq
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate

from drill.errors import CannotReach, CannotRead
from drill.extents import Anatomy, Kept, Members, Part
from drill.faults.draw import Damage
from drill.faults.overlay import Overlay
from drill.globs import matcher
from drill.model import Entry, Problem, Store
from drill.radius import Stretch, stretches
from drill.salvage import salvage, salvage_entries
from drill.shelf import OpenCopy
from drill.structure import anatomy

MOST_TRIES = 64
MOST_BYTES = 4 << 30  # that may have to be unpacked for all tries together: about a minute


def worst_sector(
    found: OpenCopy,
    *,
    worth: Callable[[Entry], int],
    sector_size: int,
    files: tuple[str, ...] | None = None,
    kept: Kept | None = None,
) -> tuple[str, int] | None:
    """Return the worst sector as (path, number) among the files that match, None where there is no byte to lose.

    With `kept` headers, their loss in the archive costs nothing.
    """
    assert found.store is not None
    matches = matcher(("**",) if files is None else files)
    if not found.is_archive:
        left = (entry for entry in found.entries if entry.size != 0 and (files is None or matches(entry.path)))
        best = max(left, key=worth, default=None)  # max keeps the first of equals
        return None if best is None else (best.path, 0)
    archive = next(iter(found.store.files()), None)
    if archive is None or not archive.size or (files is not None and not matches(archive.path)):
        return None
    assert found.copy.archive is not None
    try:
        built = anatomy(found.store, found.copy.archive, found.copy.password, kept=kept)
    except (CannotReach, CannotRead):
        return archive.path, 0  # its structure cannot be told: every reader begins at the front
    search = _Search(found, archive, built, worth=worth, sector_size=sector_size, kept=kept)
    return archive.path, search.worst()


@dataclass(frozen=True, slots=True)
class _Priced:
    """A stretch, with what the loss of any one of its sectors costs in promised files, at least and at most."""

    stretch: Stretch
    least: int
    most: int


class _Search:
    """The search for the worst sector of one archive."""

    def __init__(
        self,
        found: OpenCopy,
        archive: Entry,
        built: Anatomy,
        *,
        worth: Callable[[Entry], int],
        sector_size: int,
        kept: Kept | None,
    ) -> None:
        self._found, self._archive, self._built, self._kept = found, archive, built, kept
        self._worth, self._sector_size = worth, sector_size
        self._contents = _Contents()
        self._upto = list(accumulate((worth(entry) for entry in built.members), initial=0))

    def worst(self) -> int:
        """Return the number of the worst sector."""
        sector, cost = 0, 0  # the first of those that cost most for sure
        for one in self._priced():
            if one.least > cost:
                sector, cost = one.stretch.first, one.least
        rivals = self._rivals(sector, cost)
        packed = any(one.part in (Part.COMPRESSED, Part.ENCRYPTED) for one in self._built.extents)
        bytes_left = MOST_BYTES
        each = max(1, MOST_TRIES // max(1, len(rivals)))
        for one in rivals:
            for tried in _spread(one.stretch, each):
                if (one.most, -tried) <= (cost, -sector):
                    break
                doubtful = self._doubtful(one.stretch)
                bytes_left -= self._built.stream_size if packed else sum(entry.size or 0 for entry in doubtful)
                if bytes_left < 0:
                    return sector
                real = one.least + self._try(tried, doubtful)
                if (real, -tried) > (cost, -sector):
                    sector, cost = tried, real
        return sector

    def _priced(self) -> Iterator[_Priced]:
        for one in stretches(self._built, self._sector_size):
            yield _Priced(one, self._worth_of(one.least), self._worth_of(one.most))

    def _rivals(self, sector: int, cost: int) -> list[_Priced]:
        """Return the stretches that could cost more than is sure, or as much further in front; the dearest first."""
        could = (
            one for one in self._priced() if one.most > one.least and (one.most, -one.stretch.first) > (cost, -sector)
        )
        return heapq.nsmallest(MOST_TRIES, could, key=lambda one: (-one.most, one.stretch.first))

    def _worth_of(self, ranges: Iterable[Members]) -> int:
        return sum(self._upto[end] - self._upto[start] for start, end in ranges)

    def _doubtful(self, one: Stretch) -> list[Entry]:
        """Return the promised members that may or may not be lost with a sector of the stretch."""
        members = self._built.members
        sure = {number for start, end in one.least for number in range(start, end)}
        maybe = (number for start, end in one.most for number in range(start, end) if number not in sure)
        return [members[number] for number in maybe if self._upto[number + 1] > self._upto[number]]

    def _try(self, sector: int, doubtful: Sequence[Entry]) -> int:
        """Lay the bad sector over the archive, salvage, and return the worth of what does not come byte for byte."""
        store, archive, copy = self._found.store, self._archive, self._found.copy
        assert store is not None and copy.archive is not None
        damage = Damage(bad={(sector * self._sector_size, self._sector_size)})
        damaged = Store(files=lambda: [archive], open=lambda entry: Overlay(store.open(entry), damage, archive.size))
        outcome = _Contents()
        try:
            listing = salvage_entries(damaged, copy.archive, copy.password, kept=self._kept)
        except (CannotReach, CannotRead):
            return sum(self._worth(entry) for entry in doubtful)  # nothing comes
        wanted = [*doubtful, *self._unnamed(listing, {entry.size for entry in doubtful})]
        salvage(damaged, copy.archive, copy.password, wanted, outcome, kept=self._kept, listing=listing)
        right, came = self._right(doubtful), set(outcome.found.values())
        return sum(self._worth(entry) for entry in doubtful if right.get((entry.path, entry.index)) not in came)

    def _right(self, entries: Iterable[Entry]) -> dict[tuple[str, int], bytes]:
        """Return what the members hold while no sector is bad, read once: nothing else tells what came right."""
        view = self._found.view
        unread = [entry for entry in entries if (entry.path, entry.index) not in self._contents.found]
        if view is not None and unread:
            view.deliver(unread, self._contents)
        return self._contents.found

    def _unnamed(self, listing: Iterable[Entry], sizes: set[int | None]) -> Iterator[Entry]:
        """Yield what nothing names any more and by its size may be one of the doubtful members."""
        known = {(entry.path, entry.index) for entry in self._built.members}
        for entry in listing:
            if (entry.path, entry.index) not in known and entry.size in sizes:
                yield entry


def _spread(one: Stretch, most: int) -> Iterator[int]:
    """Give at most so many sectors of a stretch, evenly spread, the first one first."""
    step = -(-one.sectors // most)
    return iter(range(one.first, one.first + one.sectors, step))


class _Contents:
    """A collector that keeps a digest of what came, by path and number, whatever is said of it at its end."""

    def __init__(self) -> None:
        self.found: dict[tuple[str, int], bytes] = {}
        self._hash = hashlib.blake2b(digest_size=16)

    def begin(self, entry: Entry) -> None:
        """Get ready for the next member."""
        self._hash = hashlib.blake2b(digest_size=16)

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        """Take the next bytes."""
        self._hash.update(chunk)

    def hole(self, start: int, end: int) -> None:
        """Take nothing: zeros stand in for it."""

    def end(self, entry: Entry, problem: Problem | None) -> None:
        """Note what came."""
        self.found[entry.path, entry.index] = self._hash.digest()
