"""Likely: what may be right where versions differ, the likeliest first, and the combinations in that order.

Flows in: stretches and bytes. Flows out: ranked alternatives, combinations. Must not know: digests, bounds.

More copies are likelier than fewer; a stretch that is one byte over and over, as a lost block is, is less likely than
one that is not; noise is less likely than what has a pattern, where another version has one. Common practice, no
source.
"""

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from drill.stitching.lockstep import Stretch
from drill.stitching.versions import Bytes

_SAMPLE = 16 * 1024
_FEWER, _BLANK, _NOISE = 4, 2, 1
_PATTERN, _RANDOM = 0.90, 0.98  # packed to so much of its size it has a pattern, or has none


@dataclass(frozen=True, slots=True)
class Choice:
    """A stretch with its alternatives (each a version that has these bytes, or None for zeros), the likeliest first,
    and how much less likely each is than the first."""

    stretch: Stretch
    versions: tuple[int | None, ...]
    costs: tuple[int, ...]

    @property
    def undecided(self) -> bool:
        """Say whether as many copies have one alternative as another."""
        return self.stretch.differs and self.costs[1] < _FEWER


def ranked(stretch: Stretch, content: Bytes, sizes: Sequence[int]) -> Choice:
    """Rank what a stretch may be. Where no version has it, it may be what they gave in place of it, or zeros."""
    if not stretch.groups:
        return _unknown(stretch, content, sizes)
    if len(stretch.groups) == 1:
        return Choice(stretch, (stretch.groups[0][0],), (0,))
    until = min(stretch.end, stretch.start + _SAMPLE)
    samples = [content.read(group[0], stretch.start, until) for group in stretch.groups]
    shares = [len(zlib.compress(sample, 1)) / len(sample) for sample in samples]
    patterned = min(shares) < _PATTERN and len(samples[0]) >= 64
    most = max(map(len, stretch.groups))
    costs = [
        _FEWER * (most - len(group))
        + _BLANK * _is_blank(sample)
        + _NOISE * (patterned and share > _RANDOM and not _is_blank(sample))
        for group, sample, share in zip(stretch.groups, samples, shares, strict=True)
    ]
    order = sorted(range(len(costs)), key=lambda number: (costs[number], stretch.groups[number]))
    least = costs[order[0]]
    return Choice(
        stretch, tuple(stretch.groups[number][0] for number in order), tuple(costs[number] - least for number in order)
    )


def _is_blank(sample: bytes) -> bool:
    return sample.count(sample[0]) == len(sample)


def _unknown(stretch: Stretch, content: Bytes, sizes: Sequence[int]) -> Choice:
    """Take what was given in place of bytes that could not be read: where a salvage was only in doubt, it is right."""
    found: list[int | None] = [None]
    for number, size in enumerate(sizes):
        if size >= stretch.end and not any(_same(content, number, other, stretch) for other in found):
            found.append(number)
    return Choice(stretch, tuple(found), (0,) * len(found))


def _same(content: Bytes, one: int, other: int | None, stretch: Stretch) -> bool:
    pairs = zip(
        content.pieces(one, stretch.start, stretch.end),
        content.pieces(other, stretch.start, stretch.end),
        strict=True,
    )
    return all(left == right for left, right in pairs)


def combinations(costs: Sequence[Sequence[int]]) -> Iterator[tuple[int, ...]]:
    """Yield, for each row of costs, which one to take: all combinations, those of least total cost first, and of equal
    ones those that differ late before those that differ early. Costs are small whole numbers, rising, from 0 on."""
    reach = [1]  # by bits: the totals that the rows from one on can come to
    for row in reversed(costs):
        bits = 0
        for cost in set(row):
            bits |= reach[-1] << cost
        reach.append(bits)
    reach.reverse()
    for total in range(reach[0].bit_length()):
        if reach[0] >> total & 1:
            yield from _of_total(costs, reach, total)


def _of_total(costs: Sequence[Sequence[int]], reach: Sequence[int], total: int) -> Iterator[tuple[int, ...]]:
    taken = [-1] * len(costs)
    left = [total] * (len(costs) + 1)
    row = 0
    while row >= 0:
        if row == len(costs):
            yield tuple(taken)
            row -= 1
            continue
        taken[row] += 1
        if taken[row] == len(costs[row]):
            taken[row] = -1
            row -= 1
            continue
        rest = left[row] - costs[row][taken[row]]
        if rest >= 0 and reach[row + 1] >> rest & 1:
            left[row + 1] = rest
            row += 1
