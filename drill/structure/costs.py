"""What a lost stretch of a block costs, counted in members: the arithmetic that the formats' readers share.

Flows in: where members lie among a block's bytes, what stretches cost. Flows out: Extents. Must not know: archives,
streams, promises.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from drill.extents import Extent, Members, Part

NO_MEMBERS: Members = (0, 0)


class Cost(NamedTuple):
    """A stretch of bytes and what it costs, as an Extent has it, still without its place in the archive."""

    start: int
    end: int
    part: Part
    stops: int
    least: Members
    most: Members
    why: str = ""

    @property
    def extent(self) -> Extent:
        """Return it as an Extent."""
        return Extent(*self)


class Places:
    """Where the members of one block lie among its unpacked bytes; they are numbered from `first` on."""

    def __init__(self, first: int, spans: Sequence[tuple[int, int]]) -> None:
        self.first, self.past = first, first + len(spans)
        self._starts = [start for start, _ in spans]
        self._ends = [end for _, end in spans]

    @property
    def all(self) -> Members:
        """Return the block's members."""
        return self.first, self.past

    def at(self, offset: int) -> int:
        """Return the member at that byte, or the next one after it."""
        return self.first + bisect_right(self._ends, offset)

    def over(self, start: int, end: int) -> Members:
        """Return the members that have bytes from start to end."""
        first = bisect_right(self._ends, start)
        return self.first + first, self.first + max(first, bisect_left(self._starts, end))

    def span(self, number: int) -> tuple[int, int]:
        """Return where a member's bytes begin and end."""
        return self._starts[number - self.first], self._ends[number - self.first]


def hull(one: Members, other: Members) -> Members:
    """Return the smallest range over both; an empty range adds nothing."""
    if one[0] >= one[1]:
        return other
    if other[0] >= other[1]:
        return one
    return min(one[0], other[0]), max(one[1], other[1])


def merged(costs: Iterable[Cost]) -> Iterator[Cost]:
    """Put neighbours that cost the same together, so that millions of chunks take no millions of extents."""
    last: Cost | None = None
    for cost in costs:
        if cost.start >= cost.end:
            continue
        if last is not None and last.end == cost.start and last[2:] == cost[2:]:
            last = last._replace(end=cost.end)
            continue
        if last is not None:
            yield last
        last = cost
    if last is not None:
        yield last


def moved(costs: Iterable[Cost], by: int) -> Iterator[Cost]:
    """Shift stretches to where their block begins."""
    for cost in costs:
        yield cost._replace(start=cost.start + by, end=cost.end + by)


def spread(costs: Iterable[Cost], *, grain: int, size: int) -> Iterator[Cost]:
    """Return what encrypted bytes cost where damage in one grain spoils that grain and the next one.

    `costs` are those of the bytes in plain, without gaps; `size` is how many bytes are encrypted. Bytes of a grain that
    spoil several stretches cost what these cost together.
    """
    at, window = 0, list[Cost]()
    waiting = iter(costs)
    coming = next(waiting, None)
    while at < size:
        while coming is not None and coming.start < at + 2 * grain:
            window.append(coming)
            coming = next(waiting, None)
        window = [cost for cost in window if cost.end > at]
        if not window:
            return
        end = at + grain
        if len(window) == 1:  # far inside one stretch: all grains that see nothing else cost the same
            end = max(end, (window[0].end - 2 * grain) // grain * grain + grain) if coming is not None else size
        yield _together(window)._replace(start=at, end=min(end, size))
        at = end


def _together(window: Sequence[Cost]) -> Cost:
    first = window[0]
    least, most = first.least, first.most
    for cost in window[1:]:
        least, most = hull(least, cost.least), hull(most, cost.most)
    return Cost(0, 0, Part.ENCRYPTED, min(cost.stops for cost in window), least, most, first.why)
