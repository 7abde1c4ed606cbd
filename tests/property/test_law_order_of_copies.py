"""Law: the order of copies in the studio file changes no verdict."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import fitting, hazards, laid_out, run, verified

from drill.model import Hazard
from drill.testing.strategies import worlds
from drill.testing.world import World


@settings(max_examples=30)
@given(world=worlds(), chosen=st.lists(hazards(), max_size=2), shuffle=st.randoms(use_true_random=False))
def test_the_order_of_copies_changes_no_verdict(world: World, chosen: list[Hazard], shuffle: object) -> None:
    here = fitting(world, chosen)
    copies = list(world.copies)
    shuffle.shuffle(copies)  # type: ignore[attr-defined]
    with laid_out(world) as studio:
        one = run(studio, here)
    with laid_out(replace(world, copies=tuple(copies))) as studio:
        other = run(studio, here)
    assert verified(one) == verified(other)
    for ours, theirs in zip(one.drills, other.drills, strict=True):
        assert (ours.verdict, ours.score, ours.sources) == (theirs.verdict, theirs.score, theirs.sources)
        assert ours.seconds.projected == theirs.seconds.projected
