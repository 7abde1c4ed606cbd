"""Differing: what the differences of two readings look like, kept as their blocks go by.

Flows in: blocks. Flows out: differences, and what most readings have where not all are alike. Must not know: where
blocks come from, who is right. The kinds of damage are those that are seen on drives and cards: an end that is missing,
whole sectors of zeros, single bits that turned over; everything else is other bytes. Common practice, no source.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

BLOCK = 4096  # what disks and file systems lose at once
SECTOR = 512  # the smallest unit that drives and cards hand out
MOST_RANGES = 64

Ranges = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Difference:
    """Where two groups, `one` and `other`, differ: ranges of whole blocks, [from, to), the first 64 of them.

    `blocks` differ in all and `alike` are equal and not blank; `same_until` is the first byte that differs, None where
    none does. Of the blocks, `zeroed` are zeros in one and in the other just where they differ; `flipped` differ in
    a single bit; `beyond` lie past the end of the shorter, and are `blank_beyond` where they are all zeros; the rest is
    `unlike`. Bytes that could not be read in either are in none of these.
    """

    one: int
    other: int
    ranges: Ranges
    ranges_left_out: int
    blocks: int
    alike: int
    same_until: int | None
    zeroed: tuple[int, int]
    flipped: int
    beyond: int
    blank_beyond: bool
    unlike: int
    shorter: int | None

    @property
    def beginning(self) -> int | None:
        """Return the group that is the beginning of the other, cut short; None where neither is."""
        return self.shorter if self.beyond and self.beyond == self.blocks else None


class RangeList:
    """Ranges in rising order, joined where they touch; the first ones are kept, the others counted."""

    def __init__(self, most: int | None = None) -> None:
        self._most = most
        self._ranges: list[tuple[int, int]] = []
        self._last_end = -1
        self.left_out = 0

    def add(self, start: int, end: int) -> None:
        """Add a range behind all others."""
        touches = start == self._last_end
        self._last_end = end
        if not touches and self._most is not None and len(self._ranges) >= self._most:
            self.left_out += 1
        elif not touches:
            self._ranges.append((start, end))
        elif not self.left_out:
            self._ranges[-1] = self._ranges[-1][0], end

    def value(self) -> Ranges:
        """Return those that were kept."""
        return tuple(self._ranges)


class Differing:
    """The differences of two readings, as their blocks come."""

    def __init__(self) -> None:
        self.blocks = self.alike = 0
        self._ranges = RangeList(MOST_RANGES)
        self._same_until: int | None = None
        self._zeroed = [0, 0]
        self._flipped = self._beyond = self._unlike = 0
        self._blank_beyond = True
        self._shorter: int | None = None

    def take(self, at: int, mine: bytes, yours: bytes) -> None:
        """Take one block of each, from byte `at`; empty, or less than a block, where a reading ends."""
        if mine == yours:
            self.alike += not is_blank(mine)
            return
        if self._same_until is None:
            same = (n for n, (a, b) in enumerate(zip(mine, yours, strict=False)) if a != b)
            self._same_until = at + next(same, min(len(mine), len(yours)))
        self.blocks += 1
        self._ranges.add(at, at + max(len(mine), len(yours)))
        if len(mine) != len(yours):
            self._take_end(mine, yours)
        else:
            self._take_alike_long(mine, yours)

    def _take_end(self, mine: bytes, yours: bytes) -> None:
        short, long = sorted((mine, yours), key=len)
        self._shorter = 0 if short is mine else 1
        if long.startswith(short):
            self._beyond += 1
            self._blank_beyond = self._blank_beyond and is_blank(long[len(short) :])
        else:
            self._unlike += 1

    def _take_alike_long(self, mine: bytes, yours: bytes) -> None:
        if _is_zeroed(mine, yours):
            self._zeroed[0] += 1
        elif _is_zeroed(yours, mine):
            self._zeroed[1] += 1
        elif (int.from_bytes(mine, "big") ^ int.from_bytes(yours, "big")).bit_count() == 1:
            self._flipped += 1
        else:
            self._unlike += 1

    def value(self, one: int, other: int) -> Difference:
        """Return what was found, between the groups of these numbers."""
        return Difference(
            one=one,
            other=other,
            ranges=self._ranges.value(),
            ranges_left_out=self._ranges.left_out,
            blocks=self.blocks,
            alike=self.alike,
            same_until=self._same_until,
            zeroed=(self._zeroed[0], self._zeroed[1]),
            flipped=self._flipped,
            beyond=self._beyond,
            blank_beyond=bool(self._beyond) and self._blank_beyond,
            unlike=self._unlike,
            shorter=None if self._shorter is None else (one, other)[self._shorter],
        )


def is_blank(block: bytes) -> bool:
    """Say whether a block is all zeros."""
    return block.count(0) == len(block)


def _is_zeroed(hurt: bytes, other: bytes) -> bool:
    """Say whether every sector in which two blocks differ is all zeros in one, and whole."""
    for at in range(0, len(hurt), SECTOR):
        sector = hurt[at : at + SECTOR]
        if not is_blank(sector) and sector != other[at : at + SECTOR]:
            return False
    return True


# --- what most readings have -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Tally:
    """Of the `blocks` in which not all readings are alike, most voters agree in the `settled` ones; `with_most` says
    for each reading in how many of those it has what most have."""

    blocks: int
    settled: int
    with_most: tuple[int, ...]


class Tallying:
    """Counts, block by block, what most voters have; several readings of one voter count once."""

    def __init__(self, voters: Sequence[frozenset[str]]) -> None:
        self._voters = voters
        self._blocks = self._settled = 0
        self._with_most = [0] * len(voters)

    def take(self, blocks: Sequence[bytes | None]) -> None:
        """Take one block of each reading: None where it cannot be read, empty past its end."""
        having: dict[bytes, set[str]] = defaultdict(set)
        for block, voters in zip(blocks, self._voters, strict=True):
            if block is not None:
                having[block] |= voters
        if len(having) < 2:
            return
        self._blocks += 1
        every = len(set().union(*having.values()))
        most = [block for block, voters in having.items() if len(voters) * 2 > every]
        if len(most) == 1:
            self._settled += 1
            for number, block in enumerate(blocks):
                self._with_most[number] += block == most[0]

    def value(self) -> Tally:
        """Return what was counted."""
        return Tally(self._blocks, self._settled, tuple(self._with_most))
