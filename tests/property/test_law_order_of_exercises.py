"""Law: in a studio opened once, exercises in any order, and any part of them, come to what the whole run comes to."""

from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import NOW, fitting, hazards, laid_out

from drill.model import Hazard, Scenario, Selector
from drill.record import Drill, drill_from_json, drill_to_json
from drill.rehearse import Options, Rehearsal, exercises, rehearse
from drill.studio import load_studio
from drill.testing.strategies import worlds
from drill.testing.world import World

EACH = Scenario("drive-gone", "T", "S", (Hazard("gone", Selector(), each="medium"),))


def told(drill: Drill) -> object:
    """Return what a drill came to, the clock's part and sizes that a later exercise may teach aside."""
    value = drill_to_json(drill)
    del value["seconds"], value["bytes"]
    return value


@settings(max_examples=40)
@given(world=worlds(), chosen=st.lists(hazards(), min_size=1, max_size=3), data=st.data())
def test_exercises_in_any_order_come_to_what_the_whole_run_comes_to(
    world: World, chosen: list[Hazard], data: st.DataObject
) -> None:
    one_each = [Scenario(f"s{n}", "T", "S", (hazard,)) for n, hazard in enumerate(fitting(world, chosen))]
    scenarios = [*one_each, EACH]
    with laid_out(world) as file:
        studio, options = load_studio(file), Options(seed=5, now=NOW)
        run = rehearse(studio, scenarios, options)
        whole = {(one.shoot, one.scenario, one.variant): told(one) for one in run.drills}
        listed = exercises(studio, scenarios, studio.shoots)
        assert {one.key for one in listed} == set(whole)
        order = data.draw(st.permutations(listed))[: data.draw(st.integers(1, len(listed)))]
        with Rehearsal(studio, scenarios, options, studio.shoots) as rehearsal:
            found = {exercise.key: rehearsal.drill(exercise) for exercise in order}
        assert {key: told(record) for key, record in found.items()} == {key: whole[key] for key in found}
        assert not list(file.parent.glob("scratch/*"))
        for record in found.values():  # as reports carry it from one process to another
            assert drill_to_json(drill_from_json(drill_to_json(record))) == drill_to_json(record)
