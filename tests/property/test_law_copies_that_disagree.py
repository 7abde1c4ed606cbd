"""Law: copies are alike exactly when their bytes are, every byte that differs is told and no block that is alike, and a
damaged copy is never called right where the intact one has most media or is the only one that opens."""

from collections.abc import Callable
from typing import NamedTuple

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from drill.comparing import BLOCK, Side, compare, judge
from drill.comparing.differing import MOST_RANGES
from drill.copies.raw import Steady
from drill.soundness import Outcome
from drill.streams import InMemory

pytestmark = pytest.mark.deep  # test_comparing.py is quick

MOST_BLOCKS = 200  # more than the three chunks of 64 blocks that are read at once


class Hurt(NamedTuple):
    how: str
    place: float
    length: int
    salt: int


HURTS = st.builds(
    Hurt,
    st.sampled_from(["cut", "zeros", "garbage", "flip", "longer", "blank end"]),
    st.floats(0, 0.999),
    st.integers(1, 3 * BLOCK),
    st.integers(1, 255),
)
CONTENTS = st.builds(
    lambda size, seed: bytes((n * seed + n // 251 * 7 + n // BLOCK) % 256 for n in range(size)),
    st.integers(0, 12 * BLOCK) | st.just(MOST_BLOCKS * BLOCK) | st.just(64 * BLOCK),
    st.integers(1, 97),
)


def hurt_by(content: bytes, hurt: Hurt) -> bytes:
    at = int(len(content) * hurt.place)
    end = min(len(content), at + hurt.length)
    changed = bytearray(content)
    match hurt.how:
        case "cut":
            return content[:at]
        case "zeros":
            start = at - at % 512
            changed[start : start + 4096] = bytes(len(changed[start : start + 4096]))
        case "garbage":
            changed[at:end] = bytes((byte + hurt.salt) % 256 for byte in changed[at:end])
        case "flip" if content:
            changed[at] ^= 1 << hurt.salt % 8
        case "longer":
            changed += bytes([hurt.salt]) * hurt.length
        case "blank end":
            changed += bytes(hurt.length)
    return bytes(changed)


def opener(content: bytes) -> Callable[[], Steady]:
    return lambda: Steady(InMemory(content))


def differing_blocks(one: bytes, other: bytes) -> set[int]:
    longest = max(len(one), len(other))
    return {n for n in range(0, longest, BLOCK) if one[n : n + BLOCK] != other[n : n + BLOCK]}


@given(CONTENTS, st.lists(st.lists(HURTS, max_size=3), min_size=1, max_size=3))
def test_groups_and_ranges_are_exact(content: bytes, damages: list[list[Hurt]]) -> None:
    copies = [content]
    for damage in damages:
        hurt = content
        for each in damage:
            hurt = hurt_by(hurt, each)
        copies.append(hurt)
    found = compare([opener(copy) for copy in copies])
    assert [reading.size for reading in found.readings] == [len(copy) for copy in copies]
    different = list(dict.fromkeys(copies))
    assert found.groups == tuple(tuple(n for n, copy in enumerate(copies) if copy == one) for one in different), (
        "each group is the copies of one content"
    )
    assert len(found.differences) == len(different) * (len(different) - 1) // 2
    for each in found.differences:
        one, other = different[each.one], different[each.other]
        right = differing_blocks(one, other)
        told = {n for start, end in each.ranges for n in range(start, end, BLOCK)}
        assert each.blocks == len(right)
        assert told == right if not each.ranges_left_out else told < right and len(each.ranges) == MOST_RANGES
        assert all(end <= max(len(one), len(other)) for _, end in each.ranges)
        same = next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
        assert each.same_until == same
        is_beginning = one.startswith(other) or other.startswith(one)
        assert (each.beginning is not None) == is_beginning
        if each.beginning is not None:
            assert different[each.beginning] == min(one, other, key=len)
        assert sum(each.zeroed) + each.flipped + each.beyond + each.unlike == each.blocks
        bits = [sum((a ^ b).bit_count() for a, b in zip(one[n : n + BLOCK], other[n : n + BLOCK], strict=False))
                for n in right if len(one[n : n + BLOCK]) == len(other[n : n + BLOCK])]  # fmt: skip
        assert each.flipped <= bits.count(1)
    if found.tally is not None:
        places = [[copy[n : n + BLOCK] for copy in copies] for n in range(0, max(map(len, copies)), BLOCK)]
        unlike = [blocks for blocks in places if len(set(blocks)) > 1]
        settled = [(b, m) for b in unlike for m in set(b) if b.count(m) * 2 > len(b)]
        assert (found.tally.blocks, found.tally.settled) == (len(unlike), len(settled))
        assert found.tally.with_most == tuple(sum(b[n] == m for b, m in settled) for n in range(len(copies)))


LOOKS = st.sampled_from([Outcome.OPENS, Outcome.CANNOT_CHECK, Outcome.DAMAGED])


@given(
    CONTENTS,
    st.lists(st.tuples(HURTS, LOOKS, st.integers(1, 3)), min_size=1, max_size=3),
    st.sampled_from([Outcome.OPENS, Outcome.CANNOT_CHECK]),
    st.integers(1, 7),
    st.booleans(),
)
def test_a_damaged_copy_is_not_called_right(
    content: bytes, damages: list[tuple[Hurt, Outcome, int]], looks: Outcome, votes: int, with_looks: bool
) -> None:
    kinds = {content: (looks, votes)}
    for hurt, look, count in damages:
        kinds.setdefault(hurt_by(content, hurt), (look, count))
    found = compare([opener(copy) for copy in kinds])
    media = iter(range(100))
    sides = [
        Side(f"kiln-{n}", frozenset(f"m{next(media)}" for _ in range(count)), look if with_looks else None)
        for n, (look, count) in enumerate(kinds.values())
    ]
    said = judge(found, sides)
    has_most = votes > 1 and votes > sum(count for _, count in list(kinds.values())[1:])
    opens = [side.looks is Outcome.OPENS for side in sides]
    event(f"{'most' if has_most else 'no majority'}, right: {said.likely_right}")
    if has_most or (opens[0] and sum(opens) == 1):
        assert said.likely_right in (0, None), said
    if len(kinds) > 1 and opens[0] and all(side.looks is Outcome.DAMAGED for side in sides[1:]):
        assert said.likely_right == 0, said
    assert said.why
