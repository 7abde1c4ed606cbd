"""Extents in order, without gaps.

Flows in: extents as a format's reader finds them. Flows out: the same, clipped to the archive, neighbours that cost the
same made one, gaps filled. Must not know: formats.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence

from drill.extents import Extent, Members, Part

NONE: Members = (0, 0)


def gapless(found: Iterable[Extent], size: int, begins: Sequence[int], *, members: int) -> list[Extent]:
    """Return the extents from 0 to `size`, where of two that overlap the earlier ends at the later one's start.

    `begins` says where the bytes of each member that has any begin, in order: what comes after a gap is lost to a
    program that stops there. `members` is the number of all.
    """
    whole: list[Extent] = []
    at = 0
    for extent in found:
        start = min(max(extent.start, 0), size)
        if whole and start < at:
            _cut(whole, start)
        elif start > at:
            _put(whole, _gap(at, start, begins, members))
        at = min(extent.end, size)
        if start < at:
            _put(whole, extent if at == extent.end and start == extent.start else _clip(extent, start, at))
        else:
            at = max(at, start)
    if at < size:
        _put(whole, _gap(at, size, begins, members))
    return whole


def _gap(start: int, end: int, begins: Sequence[int], members: int) -> Extent:
    number = bisect_left(begins, start)
    return Extent(start, end, Part.NOTHING, number if number < len(begins) else members, NONE, NONE)


def _cut(whole: list[Extent], end: int) -> None:
    while whole and whole[-1].start >= end:
        whole.pop()
    if whole:
        whole[-1] = _clip(whole[-1], whole[-1].start, end)


def _put(whole: list[Extent], extent: Extent) -> None:
    if whole and _cost(whole[-1]) == _cost(extent):
        whole[-1] = _clip(extent, whole[-1].start, extent.end)
    else:
        whole.append(extent)


def _cost(extent: Extent) -> tuple[Part, int, Members, Members, str]:
    return extent.part, extent.stops, extent.least, extent.most, extent.why


def _clip(extent: Extent, start: int, end: int) -> Extent:
    return Extent(start, end, extent.part, extent.stops, extent.least, extent.most, extent.why)
