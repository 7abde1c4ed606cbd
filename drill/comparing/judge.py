"""The judge of copies that disagree: who is likely right, and why. It is a judgement and never a proof.

Flows in: a comparison, and of each group which media hold it and what a look inside said. Flows out: a Judgement. Must
not know: bytes, promises. When in doubt it says that it cannot be told.

The reasons, the strongest first:
1. one opens, and every other does not;
2. one is whole, where another is the same cut short, has zeros in its place or cannot be read; or one opens, and of no
   other that can be told;
3. more than half of the independent media have it. A mirror repeats what it was given and does not count beside it.
1 stands alone: a damaged file that was copied has many media. 2 and 3 must not contradict each other, nor the only one
that opens. Common practice, no source; what a look notices was measured (see `drill.soundness`).
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from drill.comparing.differing import Difference
from drill.comparing.lockstep import Comparison
from drill.phrases import in_a_row
from drill.soundness import Outcome

_FEWEST_BLOCKS = 4  # of less than that, nothing alike says nothing: a sidecar is one block
_OPEN_QUESTION = "it cannot be told which is right"


@dataclass(frozen=True, slots=True)
class Side:
    """One group: its name in words, the independent media that hold it, what a look inside came to (None: no look)."""

    name: str
    media: frozenset[str]
    looks: Outcome | None = None


@dataclass(frozen=True, slots=True)
class Judgement:
    """The number of the group that is likely right, None where that cannot be told; and why, in words."""

    likely_right: int | None
    why: str


def judge(comparison: Comparison, sides: Sequence[Side]) -> Judgement:
    """Say which group of a comparison is likely right."""
    every = range(len(sides))
    opening = [n for n in every if sides[n].looks is Outcome.OPENS]
    closed = [n for n in every if sides[n].looks in (Outcome.DAMAGED, Outcome.UNREADABLE)]
    left = [n for n in every if n not in closed] if opening else list(every)
    if opening and len(left) == 1:
        others = [sides[n].name for n in every if n != left[0]]
        return _right(left[0], sides, f"it opens, and {in_a_row(others)} {'does' if len(others) == 1 else 'do'} not")
    if are_unlike(comparison, left):
        return Judgement(None, "next to nothing in them is alike: two different files of one name, or one of them was "
                               f"overwritten from end to end; {_OPEN_QUESTION}")  # fmt: skip
    worse = _worse(comparison, left)
    standing = [n for n in left if n not in worse]
    only = opening[0] if len(opening) == 1 else None
    most = _most(sides)
    answer, why = _by_wholeness(standing, worse, only, sides)
    if answer is None and most is not None and most in standing:
        votes = _votes(sides)
        answer, why = most, f"{votes[most]} of {sum(votes)} independent media have it"
    against = [n for n in (most, only) if n is not None and n != answer]
    if against and (answer is not None or worse):
        return Judgement(None, f"what speaks for one is against what speaks for another: {_OPEN_QUESTION}")
    if answer is None:
        return Judgement(None, f"nothing speaks for one more than for another: {_OPEN_QUESTION}")
    return _right(answer, sides, why)


def _right(number: int, sides: Sequence[Side], why: str) -> Judgement:
    return Judgement(number, f"likely right is the one on {sides[number].name}: {why}")


def _by_wholeness(
    standing: Sequence[int], worse: dict[int, str], only: int | None, sides: Sequence[Side]
) -> tuple[int | None, str]:
    if worse and len(standing) == 1:
        return standing[0], "; ".join(f"{sides[n].name} {why}" for n, why in sorted(worse.items()))
    if only is not None and only in standing:
        return only, "it opens, and of the others that cannot be told"
    return None, ""


def _worse(comparison: Comparison, among: Iterable[int]) -> dict[int, str]:
    """Return the groups that are another one with a part of it lost, and what they lost in words."""
    worse: dict[int, str] = {}
    inside = set(among)
    for each in comparison.differences:
        if each.one in inside and each.other in inside:
            found = _lost_part(comparison, each)
            if found is not None:
                worse.setdefault(*found)
    return worse


def _lost_part(comparison: Comparison, difference: Difference) -> tuple[int, str] | None:
    whole = {n: _is_whole(comparison, n) for n in (difference.one, difference.other)}
    if not all(whole.values()):
        hurt = [n for n in whole if not whole[n]]
        return (hurt[0], "cannot be read in places") if len(hurt) == 1 and not difference.blocks else None
    if difference.beginning is not None:
        return None if difference.blank_beyond else (difference.beginning, "is its beginning, cut short")
    for number, zeroed in zip((difference.one, difference.other), difference.zeroed, strict=True):
        if zeroed and zeroed == difference.blocks:
            return number, "has zeros where they differ"
    return None


def _is_whole(comparison: Comparison, group: int) -> bool:
    return comparison.readings[comparison.groups[group][0]].is_whole


def are_unlike(comparison: Comparison, among: Sequence[int]) -> bool:
    """Say whether every two of these groups have nothing in common, as two pictures of one name have."""
    inside = set(among)
    pairs = [each for each in comparison.differences if each.one in inside and each.other in inside]
    return bool(pairs) and all(
        not each.alike and each.unlike >= _FEWEST_BLOCKS and not any(each.zeroed) and not each.flipped
        for each in pairs
    )  # fmt: skip


def _votes(sides: Sequence[Side]) -> list[int]:
    """Return how many independent media hold each group; one that holds several speaks for none."""
    held = Counter(medium for side in sides for medium in side.media)
    return [sum(held[medium] == 1 for medium in side.media) for side in sides]


def _most(sides: Sequence[Side]) -> int | None:
    """Return the group that more than half of all independent media hold, and two at least."""
    votes = _votes(sides)
    return next((n for n, count in enumerate(votes) if count > 1 and count * 2 > sum(votes)), None)


def say_block_majority(comparison: Comparison) -> str:
    """Return in words that most agree everywhere and yet none of them has it all; empty where that is not so."""
    tally = comparison.tally
    if tally is None or not tally.blocks or tally.settled < tally.blocks or max(tally.with_most) == tally.blocks:
        return ""
    return (
        "wherever they differ most of them agree, but none has what most have in all of these places: "
        "perhaps no single copy is right"
    )
