"""The judge of letting go: each reason alone makes a no, and no proof more ever makes one."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drill.model import Targets
from drill.retire.judge import Elsewhere, Matter, Stake, is_enough, judge
from drill.retirerecord import Named

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)
EVENTS = {
    "medium:x": frozenset({"x"}),
    "medium:y": frozenset({"y"}),
    "medium:z": frozenset({"z"}),
    "place:home": frozenset({"x", "y"}),
    "place:away": frozenset({"z"}),
}


def stake(*copies: str, path: str = "a.dng", days: int = 0) -> Stake:
    proofs = {id_: Elsewhere(NOW - timedelta(days), not days) for id_ in copies}
    return Stake("reed", path, 1000, proofs, len(copies), "" if copies else "nowhere")


GOOD = Matter(
    stakes=[stake("x", "z"), stake("y", path="b.dng", days=3)],
    targets={"reed": Targets(), "kiln": Targets()},
    extra=(),
    unreadable=(),
    unread=(),
    unknown=(),
    needed=(),
    medium_of={id_: id_ for id_ in "xyz"},
    events=EVENTS,
    projected_s={"reed": 10.0},
)


def whys(matter: Matter) -> list[str]:
    return [reason.why for reason in judge(matter)[0]]


def test_what_is_proven_elsewhere_may_go() -> None:
    reasons, (left,) = judge(GOOD)
    assert reasons == []
    assert (left.at_stake, left.verified, left.read_now, left.fewest, left.survivable) == (2, 2, 1, 1, 0)
    assert left.oldest == "2026-11-21T20:00:00Z" and left.sources == {"x": 1, "y": 1, "z": 1}


def test_nothing_on_it_may_go() -> None:
    assert judge(replace(GOOD, stakes=[])) == ([], [])


NAMED = (Named("card", "late.dng", ""),)


@pytest.mark.parametrize(
    ("matter", "why"),
    [
        (replace(GOOD, unknown=["card cannot be reached"]), "not_known"),
        (replace(GOOD, extra=NAMED), "extra"),
        (replace(GOOD, unreadable=NAMED), "unreadable"),
        (replace(GOOD, unread=NAMED), "not_read"),
        (replace(GOOD, needed=NAMED), "needed"),
        (replace(GOOD, stakes=[*GOOD.stakes, stake(path="c.dng")]), "not_verified"),
        (replace(GOOD, stakes=[*GOOD.stakes, replace(stake(path="c.dng"), weak=True)]), "weak"),
        (replace(GOOD, targets={"reed": Targets(further_failures=1)}), "too_few"),
        (replace(GOOD, targets={"reed": Targets(restore_within_s=9.0)}), "too_slow"),
    ],
)
def test_each_reason_alone_is_a_no(matter: Matter, why: str) -> None:
    assert whys(matter) == [why]


def test_targets_that_are_just_met() -> None:
    both = [stake("x", "z"), stake("y", "z", path="b.dng")]
    targets = {"reed": Targets(restore_within_s=10.0, further_failures=1)}
    assert whys(replace(GOOD, stakes=both, targets=targets)) == []
    same_place = replace(GOOD, stakes=[stake("x", "y")], targets=targets)
    reasons, (left,) = judge(same_place)
    assert [reason.why for reason in reasons] == ["too_few"] and left.weakest == (("place:home",),)
    assert "(weakest: place home)" in reasons[0].detail and left.places == ("home",)
    assert "survive 0 further failures" in reasons[0].detail and "mending" not in reasons[0].detail
    assert "mending" in judge(replace(same_place, mendable=["reed"]))[0][0].detail


@given(
    held=st.lists(st.frozensets(st.sampled_from("xyz"), min_size=1), min_size=1, max_size=4), target=st.integers(1, 4)
)
def test_as_many_copies_as_are_lacking_each_at_a_new_place_are_enough(held: list[frozenset[str]], target: int) -> None:
    """What the report advises."""
    targets = {"reed": Targets(further_failures=target)}
    before = replace(GOOD, targets=targets, stakes=[stake(*sorted(h), path=str(n)) for n, h in enumerate(held)])
    _, (left,) = judge(before)
    new = [f"new-{number}" for number in range(target - left.survivable)]
    events = EVENTS | {f"{kind}:{id_}": frozenset({id_}) for id_ in new for kind in ("medium", "place")}
    medium_of = {**GOOD.medium_of, **dict.fromkeys(new, "new")}
    stakes = [stake(*sorted(h), *new, path=str(n)) for n, h in enumerate(held)]
    assert whys(replace(before, stakes=stakes, events=events, medium_of=medium_of)) == []


def test_one_failure_is_singular() -> None:
    two = replace(GOOD, stakes=[stake("x", "z")], targets={"reed": Targets(further_failures=2)})
    assert "survive 1 further failure," in judge(two)[0][0].detail


def test_a_copy_in_one_place_is_not_enough_for_one_more_failure() -> None:
    assert is_enough({"x"}, None, EVENTS) and is_enough({"x"}, 0, EVENTS) and not is_enough({"x"}, 1, EVENTS)
    assert not is_enough({"x", "y"}, 1, EVENTS) and is_enough({"x", "z"}, 1, EVENTS)
    assert not is_enough(set(), None, EVENTS) and not is_enough(set(), 0, EVENTS)


copies = st.frozensets(st.sampled_from("xyz"))


@given(
    held=st.lists(copies, min_size=1, max_size=4),
    more=copies,
    at=st.integers(0, 3),
    target=st.none() | st.integers(0, 2),
)
def test_one_more_proof_never_turns_yes_into_no(
    held: list[frozenset[str]], more: frozenset[str], at: int, target: int | None
) -> None:
    targets = {"reed": Targets(further_failures=target, restore_within_s=10.0)}
    before = replace(GOOD, targets=targets, stakes=[stake(*sorted(h), path=str(n)) for n, h in enumerate(held)])
    grown = [h | more if n == at else h for n, h in enumerate(held)]
    after = replace(before, stakes=[stake(*sorted(h), path=str(n)) for n, h in enumerate(grown)])
    assert whys(before) or not whys(after)
    assert bool(whys(after)) is not all(is_enough(h, target, EVENTS) for h in grown)
