"""An archive's own bytes, read around what cannot be read.

Flows in: a stream that gives zeros for holes. Flows out: pieces with their holes. Must not know: formats, members.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator

from drill.copies.raw import BLOCK, Steady
from drill.salvage.claims import Gap, Pieces
from drill.salvage.lockstep import Packed
from drill.salvage.patched import Around


def read_around(around: Around, ranges: Iterable[tuple[int, int]]) -> Iterator[Packed]:
    """Yield the bytes of each range, zeros for what cannot be read; ends where the archive does."""
    steady = Steady(around)
    for start, end in ranges:
        steady.seek(start)
        data = steady.read(end - start)
        if not data:
            return
        yield Packed(data, holes_within(around.holes, start, start + len(data)))


def holes_within(holes: list[tuple[int, int]], start: int, end: int) -> tuple[tuple[int, int], ...]:
    """Return the parts of sorted holes that lie in [start, end), counted from `start`."""
    found = []
    for number in range(bisect_left(holes, start + 1, key=lambda hole: hole[1]), len(holes)):
        first, last = holes[number]
        if first >= end:
            break
        found.append((max(first, start) - start, min(last, end) - start))
    return tuple(found)


def stored(around: Around, start: int, end: int) -> Pieces:
    """Yield the bytes from `start` to `end`, gaps for what cannot be read."""
    blocks = ((at, min(at + BLOCK, end)) for at in range(start, end, BLOCK))
    for packed in read_around(around, blocks):
        at = 0
        for first, last in (*packed.holes, (len(packed.data), 0)):
            if first > at:
                yield packed.data[at:first]
            if last > first:
                yield Gap(last - first)
            at = last
