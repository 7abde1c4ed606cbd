"""Law: with no fault, faithful copies verify everything that any of them holds, however it is named."""

from hypothesis import given, settings
from worlds import laid_out, run, verified

from drill.testing.strategies import worlds
from drill.testing.world import World


@settings(max_examples=30)
@given(world=worlds())
def test_no_fault_on_faithful_copies_verifies_all(world: World) -> None:
    faithful = world.sound()
    held = frozenset().union(*(copy.holds for copy in faithful.copies))
    with laid_out(faithful) as studio:
        record = run(studio, [])
    assert verified(record) == {f"raw/A{number:04d}.dng" for number in held}
    assert record.drills[0].unchecked.silently_wrong == 0
