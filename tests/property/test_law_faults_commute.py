"""Law: faults on different files commute."""

from hypothesis import given, settings
from worlds import comparable, laid_out, run

from drill.model import Hazard, Selector
from drill.testing.strategies import worlds
from drill.testing.world import World

# Fixed places, no draws: a draw's key holds the hazard's number in its scenario: equal hazards draw differently.
ONE = Hazard("altered", Selector(), offsets=(5,), files=("*0000*",))
OTHER = Hazard("truncated", Selector(), keep=0.5, files=("*0001*",))
THIRD = Hazard("deleted", Selector(), files=("*0002*",))


@settings(max_examples=20)
@given(world=worlds())
def test_faults_on_different_files_commute(world: World) -> None:
    with laid_out(world) as studio:
        one = comparable(run(studio, [ONE, OTHER, THIRD]))
        assert comparable(run(studio, [THIRD, OTHER, ONE])) == one
