"""Law: removing a fault never loses a file (in the checked restore)."""

from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import fitting, hazards, laid_out, run, verified

from drill.model import Hazard, Selector
from drill.testing.strategies import worlds
from drill.testing.world import CopyPlan, World


@settings(max_examples=40)
@given(world=worlds(), chosen=st.lists(hazards(), min_size=1, max_size=3), which=st.integers(0, 2))
def test_removing_a_fault_never_loses_a_file(world: World, chosen: list[Hazard], which: int) -> None:
    here = fitting(world, chosen)
    fewer = [hazard for number, hazard in enumerate(here) if number != which % max(len(here), 1)]
    with laid_out(world) as studio:
        assert verified(run(studio, here)) <= verified(run(studio, fewer))


def test_by_hand_the_law_can_break() -> None:
    """The worked example: the first copy is rotten. While it is gone the second serves; once back, it is believed."""
    both = frozenset({0})
    world = World(1, (CopyPlan("m0", "bag", both, rotten=both), CopyPlan("m1", "home", both)))
    with laid_out(world) as studio:
        (with_fault,) = run(studio, [Hazard("gone", Selector(medium=("m0",)))]).drills
        (without,) = run(studio, []).drills
    assert (with_fault.unchecked.right, with_fault.unchecked.silently_wrong) == (1, 0)
    assert (without.unchecked.right, without.unchecked.silently_wrong) == (0, 1)
    assert with_fault.verdict == without.verdict == "restored"
