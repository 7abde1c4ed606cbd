"""Stretches: extents of bytes become runs of sectors that cost the same.

Flows in: an Anatomy, the size of a sector. Flows out: stretches from the first sector to the last, without gaps.
Must not know: formats, files. A sector over several extents loses what each of them loses.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from drill.extents import Anatomy, Extent, Members, Part

WORDS = {
    Part.HEADERS: "headers",
    Part.STORED: "stored files",
    Part.COMPRESSED: "compressed files",
    Part.ENCRYPTED: "encrypted files",
    Part.NOTHING: "padding",
}


@dataclass(frozen=True, slots=True)
class Stretch:
    """Sectors [first, first + sectors), any one of which costs the same.

    `stops`: the number of the first member lost to a program that stops. `least`, `most`: ranges of members in order,
    that neither touch nor overlap. `what`: what lies there, in words.
    """

    first: int
    sectors: int
    stops: int
    least: tuple[Members, ...]
    most: tuple[Members, ...]
    what: str


def count(ranges: Iterable[Members]) -> int:
    """Return how many members are in ranges that do not overlap."""
    return sum(end - start for start, end in ranges)


def named(extent: Extent) -> str:
    """Return what lies in an extent, in words."""
    return extent.why or WORDS[extent.part]


def stretches(anatomy: Anatomy, sector_size: int) -> Iterator[Stretch]:
    """Give the sectors of an archive as runs that cost the same; neighbours that cost the same are one."""
    held: Stretch | None = None
    for one in _pieces(anatomy.extents, sector_size):
        if held is None:
            held = one
        elif (one.stops, one.least, one.most, one.what) == (held.stops, held.least, held.most, held.what):
            held = replace(held, sectors=held.sectors + one.sectors)
        else:
            yield held
            held = one
    if held is not None:
        yield held


def _pieces(extents: Iterable[Extent], sector_size: int) -> Iterator[Stretch]:
    at = 0  # the sector that is being gathered: all before it are given
    held: list[Extent] = []  # the extents that its bytes are in, as far as they are known
    for extent in extents:
        if extent.end <= extent.start:
            continue
        if held:
            held.append(extent)
            if extent.end < (at + 1) * sector_size:
                continue
            yield _joined(at, held)
            at, held = at + 1, []
        whole = extent.end // sector_size
        if whole > at:
            yield Stretch(at, whole - at, extent.stops, _some(extent.least), _some(extent.most), named(extent))
            at = whole
        if extent.end > at * sector_size:
            held = [extent]
    if held:
        yield _joined(at, held)


def _joined(sector: int, extents: Sequence[Extent]) -> Stretch:
    least, most = union([e.least for e in extents]), union([e.most for e in extents])
    costliest = max(extents, key=lambda e: (e.most[1] - e.most[0], e.least[1] - e.least[0], -e.stops))
    return Stretch(sector, 1, min(e.stops for e in extents), least, most, named(costliest))


def _some(members: Members) -> tuple[Members, ...]:
    return (members,) if members[1] > members[0] else ()


def union(ranges: Iterable[Members]) -> tuple[Members, ...]:
    """Return ranges of members as ranges in order that neither touch nor overlap."""
    merged: list[Members] = []
    for start, end in sorted(range_ for range_ in set(ranges) if range_[1] > range_[0]):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return tuple(merged)
