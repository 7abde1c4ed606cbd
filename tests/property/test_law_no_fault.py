"""Law: with no fault, faithful copies verify everything that any of them holds, however it is named."""

from hypothesis import given, settings
from worlds import World, laid_out, run, sound, verified, worlds


@settings(max_examples=30)
@given(world=worlds())
def test_no_fault_on_faithful_copies_verifies_all(world: World) -> None:
    faithful = sound(world)
    held = frozenset().union(*(copy.holds for copy in faithful.copies))
    with laid_out(faithful) as studio:
        record = run(studio, [])
    assert verified(record) == {f"raw/A{number:04d}.dng" for number in held}
    assert record.drills[0].unchecked.silently_wrong == 0
