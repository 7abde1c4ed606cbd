"""From stretches of sectors to the record of a map: how many cost how much, the worst places, the headers, a strip.

Flows in: an Anatomy, the size of a sector, the archive's name. Flows out: a SectorMap. Must not know: formats, files.
Everything is added up in one pass over the stretches, in whole numbers.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace

from drill.extents import Anatomy, Members
from drill.model import Entry
from drill.radius.advice import advice
from drill.radius.cells import Cells, header_cells, headers_of
from drill.radius.stretches import Stretch, count, stretches
from drill.sectorrecord import Class, Lost, Place, SectorMap

WORST = 10
MOST_RUNS = 100_000
_Cost = tuple[int, int, str]  # members lost at most, at least, and what lies there


def measure(anatomy: Anatomy, *, archive: str, sector_size: int) -> SectorMap:
    """Return what one unreadable sector of an archive costs, wherever it lies; `archive` is its name."""
    sectors = -(-anatomy.size // sector_size)
    members = len(anatomy.members)
    headers = headers_of(anatomy, sector_size)
    tally, worst = _Tally(members), _Worst(anatomy, sector_size)
    runs, cells = _Runs(), Cells(sectors)
    for one in stretches(anatomy, sector_size):
        lost = Lost(members - one.stops, count(one.least), count(one.most))
        tally.add(one.sectors, lost)
        worst.add(one, lost)
        runs.add(one, lost)
        cells.add(one, lost)
    places, left_out = worst.places()
    found = SectorMap(
        archive=archive,
        size=anatomy.size,
        sector_size=sector_size,
        sectors=sectors,
        members=members,
        stream_size=anatomy.stream_size,
        packed_size=anatomy.packed_size,
        restarts=anatomy.restarts,
        encrypted=anatomy.encrypted,
        kept_elsewhere=anatomy.kept_elsewhere,
        lost=tally.lost(),
        classes=tally.classes(),
        worst=places,
        left_out=left_out,
        headers=headers,
        strip=cells.strip(header_cells(anatomy, headers, cells.sectors * sector_size)),
        runs=runs.runs(),
    )
    return replace(found, advice=advice(found, anatomy))


def bounds_of(members: int) -> list[int]:
    """Return where the classes of members lost begin: none, one, 2 to 9, 10 to 99 … and all of them."""
    lows = [0, 1, 2]
    while lows[-1] < members:
        lows.append(10 ** len(str(lows[-1])))
    return sorted({low for low in lows if low < members} | {0, members})


class _Tally:
    """Sectors by members lost, and members lost over all sectors."""

    def __init__(self, members: int) -> None:
        self._members = members
        self._lows = bounds_of(members)
        self._sectors = [[0, 0, 0] for _ in self._lows]
        self._lost = [0, 0, 0]

    def add(self, sectors: int, lost: Lost) -> None:
        for way, number in enumerate((lost.stops, lost.least, lost.most)):
            self._sectors[bisect_right(self._lows, number) - 1][way] += sectors
            self._lost[way] += sectors * number

    def lost(self) -> Lost:
        return Lost(*self._lost)

    def classes(self) -> tuple[Class, ...]:
        highs = [low - 1 for low in self._lows[1:]] + [self._members]
        return tuple(
            Class(low, high, Lost(*sectors))
            for low, high, sectors in zip(self._lows, highs, self._sectors, strict=True)
        )


class _Worst:
    """The places that cost most: neighbours of one kind and one cost are one place, equal ones further on are counted.

    A kind that ten others outdo can be forgotten: they do not become fewer.
    """

    def __init__(self, anatomy: Anatomy, sector_size: int) -> None:
        self._members: Sequence[Entry] = anatomy.members
        self._size, self._sector_size = anatomy.size, sector_size
        self._key: _Cost | None = None
        self._place: Place | None = None
        self._reach: Members = (0, 0)
        self._found: dict[_Cost, Place] = {}
        self._number = 0

    def add(self, one: Stretch, lost: Lost) -> None:
        key = (lost.most, lost.least, one.what)
        if key != self._key:
            self._close()
            self._key = key
            self._begin(one, lost)
        elif self._place is not None:
            self._grow(one, lost, self._place)

    def _begin(self, one: Stretch, lost: Lost) -> None:
        if not lost.most:
            return
        start, end = one.first * self._sector_size, (one.first + one.sectors) * self._sector_size
        self._place = Place(start, min(end, self._size), one.sectors, one.what, lost, 0, "", "")
        self._reach = (one.most[0][0], one.most[-1][1])

    def _grow(self, one: Stretch, lost: Lost, held: Place) -> None:
        end = min((one.first + one.sectors) * self._sector_size, self._size)
        lost = replace(lost, stops=max(held.lost.stops, lost.stops))
        self._place = replace(held, end=end, sectors=held.sectors + one.sectors, lost=lost)
        self._reach = (min(self._reach[0], one.most[0][0]), max(self._reach[1], one.most[-1][1]))

    def _close(self) -> None:
        held, key, (first, end) = self._place, self._key, self._reach
        self._place = None
        if held is None or key is None:
            return
        self._number += 1
        known = self._found.get(key)
        if known is not None:
            self._found[key] = replace(known, alike=known.alike + 1)
            return
        names = self._members[first].path, self._members[end - 1].path
        self._found[key] = replace(held, members=end - first, first=names[0], last=names[1])
        if len(self._found) > WORST:
            del self._found[min(self._found)]

    def places(self) -> tuple[tuple[Place, ...], int]:
        self._close()
        ordered = tuple(self._found[key] for key in sorted(self._found, reverse=True))
        return ordered, self._number - sum(1 + place.alike for place in ordered)


class _Runs:
    """Every sector's cost in numbers, while there are not too many runs to list."""

    def __init__(self) -> None:
        self._list: list[tuple[int, int, int, int, int]] | None = []

    def add(self, one: Stretch, lost: Lost) -> None:
        if self._list is None:
            return
        numbers = (lost.stops, lost.least, lost.most)
        if self._list and self._list[-1][2:] == numbers:
            first, sectors = self._list[-1][:2]
            self._list[-1] = (first, sectors + one.sectors, *numbers)
        else:
            self._list.append((one.first, one.sectors, *numbers))
        if len(self._list) > MOST_RUNS:
            self._list = None

    def runs(self) -> tuple[tuple[int, int, int, int, int], ...] | None:
        return None if self._list is None else tuple(self._list)
