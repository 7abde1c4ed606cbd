"""Law: a spot check says of every file what the whole drill says, or that it is on paper; it never promises more."""

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import fitting, hazards, laid_out, run, verified

from drill.model import Hazard
from drill.record import Run, to_json
from drill.sampling import Budget, Spot
from drill.testing.strategies import worlds
from drill.testing.world import World, content

pytestmark = pytest.mark.deep  # test_sampling.py is quick

EVERY = frozenset(range(5))
SPOTS = st.one_of(
    st.builds(
        Spot,
        st.none(),
        st.sampled_from([Fraction(1, 2), Fraction(19, 20), Fraction(1)]),
        st.sampled_from([Fraction(0), Fraction(1, 5), Fraction(1, 2)]),
    ),
    st.builds(Spot, st.builds(Budget, st.none(), st.integers(1, 60_000)), st.none(), st.just(Fraction(1, 100))),
)


def lost(record: Run) -> set[str]:
    (drill,) = record.drills
    return {note.path for note in drill.lost_files}


def on_paper(record: Run) -> set[str]:
    (drill,) = record.drills
    return {note.path for note in drill.on_paper_files}


def plain(record: Run) -> dict[str, Any]:
    (drill,) = to_json(record)["drills"]
    del drill["seconds"]["measured"]
    drill.pop("sample", None)
    return dict(drill)


@settings(max_examples=60)
@given(world=worlds(), chosen=st.lists(hazards(), min_size=0, max_size=3), spot=SPOTS)
def test_a_spot_check_says_what_the_whole_drill_says_or_nothing(world: World, chosen: list[Hazard], spot: Spot) -> None:
    with laid_out(world) as studio:
        whole = run(studio, fitting(world, chosen))
        some = run(studio, fitting(world, chosen), spot=spot)
    assert verified(some) <= verified(whole)
    assert lost(some) <= lost(whole)
    assert (verified(whole) - verified(some)) | (lost(whole) - lost(some)) <= on_paper(some)
    (drill,), (full,) = some.drills, whole.drills
    sample = drill.sample
    assert sample is not None and full.sample is None
    assert drill.files.on_paper <= sample.left_out + sample.not_back
    unchecked = drill.unchecked
    assert unchecked.right + unchecked.silently_wrong + unchecked.failed == sample.chosen
    assert (drill.further_failures.survivable == -1) == bool(lost(some))
    # A copy that only reading finds is not looked for while another one is good: fewer further failures are claimed.
    if sample.chosen == drill.files.promised and not any(copy.renamed for copy in world.copies):
        assert plain(whole) == plain(some)
    if spot.confidence == 1 and spot.at_most == 0:
        assert (sample.chosen, sample.not_back_at_most) == (drill.files.promised, full.files.lost)


@settings(max_examples=40)
@given(world=worlds(), chosen=st.lists(hazards(), min_size=0, max_size=3))
def test_at_full_confidence_the_bound_is_certain(world: World, chosen: list[Hazard]) -> None:
    """Two of five may be bad, so not all are tried; whatever was drawn, no more are lost than the bound says."""
    with laid_out(world) as studio:
        (full,) = run(studio, fitting(world, chosen)).drills
        (drill,) = run(studio, fitting(world, chosen), spot=Spot(None, Fraction(1), Fraction(2, 5))).drills
    assert drill.sample is not None and drill.sample.not_back_at_most is not None
    assert full.files.lost <= drill.sample.not_back_at_most
    assert drill.sample.chosen < drill.files.promised or drill.files.promised < 3


@given(world=worlds(), amount=st.integers(1, 40_000))
def test_a_budget_buys_no_more_than_it_has(world: World, amount: int) -> None:
    """Files that no name leads to are looked for whatever the budget: else they would count as lost."""
    world = replace(world, copies=tuple(replace(copy, holds=EVERY, renamed=False) for copy in world.copies))
    world = replace(world, files=max(EVERY) + 1)
    with laid_out(world) as studio:
        (drill,) = run(studio, [], spot=Spot(Budget(None, amount), None, Fraction(1, 100))).drills
    assert drill.sample is not None
    assert (drill.sample.confidence, drill.sample.not_back_at_most) == (None, None)
    assert drill.bytes.verified <= min(amount, sum(len(content(n)) for n in range(world.files)))
