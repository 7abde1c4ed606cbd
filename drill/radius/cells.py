"""The archive as a strip of cells to draw, and its headers, kind by kind.

Flows in: stretches of sectors and what they cost, an Anatomy. Flows out: the strip and the headers of a map. Must not
know: formats, files, how it is drawn.
"""

from collections.abc import Iterable, Sequence

from drill.extents import Anatomy, Extent, Part
from drill.radius.stretches import Stretch, named
from drill.sectorrecord import Headers, Lost, Strip

MOST_CELLS = 4000


class Cells:
    """Members lost, added up over the sectors of each cell; `sectors` is how many sectors a cell has."""

    def __init__(self, sectors: int) -> None:
        self.sectors = max(1, -(-sectors // MOST_CELLS))
        self._all = sectors
        number = -(-sectors // self.sectors)
        self._least, self._most = [0] * number, [0] * number

    def add(self, one: Stretch, lost: Lost) -> None:
        """Add a stretch of sectors to the cells that it lies in."""
        end = one.first + one.sectors
        for cell in range(one.first // self.sectors, (end - 1) // self.sectors + 1):
            here = min(end, (cell + 1) * self.sectors) - max(one.first, cell * self.sectors)
            self._least[cell] += here * lost.least
            self._most[cell] += here * lost.most

    def strip(self, headers: Iterable[int]) -> Strip:
        """Return the averages over each cell, rounded; what costs anything is never rounded to nothing."""
        return Strip(self.sectors, self._averages(self._least), self._averages(self._most), frozenset(headers))

    def _averages(self, sums: Sequence[int]) -> tuple[int, ...]:
        sizes = [min(self.sectors, self._all - cell * self.sectors) for cell in range(len(sums))]
        return tuple(max(min(total, 1), round(total / size)) for total, size in zip(sums, sizes, strict=True))


def headers_of(anatomy: Anatomy, sector_size: int) -> tuple[Headers, ...]:
    """Return the headers of an archive by what they are, in the order of their first bytes."""
    kinds: dict[str, _Kind] = {}
    for extent in anatomy.extents:
        if extent.part is Part.HEADERS and extent.end > extent.start:
            kinds.setdefault(named(extent), _Kind(extent.start)).add(extent, sector_size)
    return tuple(kind.headers(what, len(anatomy.members)) for what, kind in kinds.items())


class _Kind:
    """Headers of one kind, added up."""

    def __init__(self, start: int) -> None:
        self._start, self._end, self._size, self._pieces = start, start, 0, 0
        self._sectors, self._counted = 0, 0  # the sectors before `_counted` are counted
        self._stops: set[int] = set()
        self._least, self._most = 0, 0

    def add(self, extent: Extent, sector_size: int) -> None:
        first, end = extent.start // sector_size, -(-extent.end // sector_size)
        self._sectors += end - max(first, min(self._counted, end))
        self._counted = end
        self._end, self._pieces = extent.end, self._pieces + 1
        self._size += extent.end - extent.start
        self._stops.add(extent.stops)
        self._least = max(self._least, extent.least[1] - extent.least[0])
        self._most = max(self._most, extent.most[1] - extent.most[0])

    def headers(self, what: str, members: int) -> Headers:
        lost = Lost(members - min(self._stops), self._least, self._most)
        shared = self._stops == {0}  # each member's own headers stop a program at different members
        return Headers(what, self._pieces, self._start, self._end, self._size, self._sectors, lost, shared)


def header_cells(anatomy: Anatomy, headers: Iterable[Headers], cell_size: int) -> set[int]:
    """Return the numbers of the cells, of `cell_size` bytes, that hold headers all members depend on."""
    shared = {one.what for one in headers if one.shared}
    return {
        cell
        for extent in anatomy.extents
        if extent.part is Part.HEADERS and extent.end > extent.start and named(extent) in shared
        for cell in range(extent.start // cell_size, (extent.end - 1) // cell_size + 1)
    }
