"""Law: the same seed, moment and copies give the same record, what the clock measured aside."""

from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import comparable, fitting, hazards, laid_out, run

from drill.model import Hazard
from drill.testing.strategies import worlds
from drill.testing.world import World


@settings(max_examples=25)
@given(world=worlds(), chosen=st.lists(hazards(), max_size=3), seed=st.integers(0, 1 << 32))
def test_same_seed_same_record(world: World, chosen: list[Hazard], seed: int) -> None:
    here = fitting(world, chosen)
    with laid_out(world) as studio:
        assert comparable(run(studio, here, seed)) == comparable(run(studio, here, seed))
