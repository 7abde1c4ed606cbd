"""Law: adding a faithful copy never loses a file, and a shoot with a faithful copy left comes back whole."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import fitting, hazards, laid_out, run, verified

from drill.model import Hazard
from drill.testing.strategies import worlds
from drill.testing.world import CopyPlan, World


@settings(max_examples=30)
@given(world=worlds(), chosen=st.lists(hazards(), max_size=2), renamed=st.booleans())
def test_adding_a_faithful_copy_never_loses_a_file(world: World, chosen: list[Hazard], renamed: bool) -> None:
    here = fitting(world, chosen)
    extra = CopyPlan("extra", "away", frozenset(range(world.files)), renamed=renamed)
    with laid_out(world) as studio:
        before = verified(run(studio, here))
    with laid_out(replace(world, copies=(*world.copies, extra))) as studio:
        record = run(studio, here)
    assert before <= verified(record)
    assert record.drills[0].verdict == "restored"
