"""How a story ends, as a scenario: it takes at least what every mishap of the story took, whatever the scheme knows."""

from dataclasses import replace
from pathlib import Path

import pytest
from schemes import medium, step, studio

from drill.faults import aim
from drill.model import Copy, Place, Studio
from drill.odds import blows
from drill.scenario import load_scenario
from drill.search import scenario_text
from drill.searchrecord import End, Happening, Story

BAG, DESK = {"place": "bag", "carried": True}, {"attached": True}
MEDIA = (
    medium("card", "card", **BAG),
    medium("field-ssd", "ssd", **BAG),  # no step names it
    medium("computer", "computer", **DESK),
    medium("shadow", mirrors="computer"),
    medium("vault", mirrors="computer", keeps_versions_s=86400.0),
    medium("cloud", "cloud", place="far-away", account="cloud-login", needs=("phone",)),
    medium("phone", "phone", **BAG, **DESK),
    medium("shelf", account="cloud-login"),
)


def heron() -> Studio:
    """A copy is on each medium, whatever the two steps of the scheme know of."""
    plan = studio(MEDIA, [step("import", "copy", "card", "computer")], ["card"])
    copies = tuple(Copy(one.id, one.id, None, None, "folder", None, None) for one in MEDIA)
    places = {**plan.places, "bag": Place("bag", carried=True)}
    return replace(plan, copies=copies, places=places)


def story_of(*mishaps: str, away: bool, ends: tuple[End, ...] = ()) -> Story:
    told = tuple(Happening("", "", name, f"{name} came: all 3 pictures gone", False, away) for name in mishaps)
    return Story(mishaps, "", "", "", told, ends)


def hit_by(text: str, file: Path, plan: Studio) -> set[str]:
    file.write_text(text, encoding="utf-8")
    fates = aim(load_scenario(file), plan, None)
    return {id_ for id_, fate in fates.items() if fate.removed or fate.blows}


@pytest.mark.parametrize("away", [True, False])
def test_what_each_mishap_reaches_is_taken_whether_a_step_names_it_or_not(away: bool, tmp_path: Path) -> None:
    plan = heron()
    for name, blow in blows(plan, away=away).items():
        hit = hit_by(scenario_text(story_of(name, away=away), plan), tmp_path / "story.toml", plan)
        assert hit == {id_ for id_, _ in blow}, name


def test_a_theft_takes_what_no_step_knows_of(tmp_path: Path) -> None:
    left = (End("card", "failed"), End("computer", "not there"))
    text = scenario_text(story_of("place:bag", away=True, ends=left), heron())
    assert 'effect = "gone"\nhits = { place = ["bag"] }' in text
    assert hit_by(text, tmp_path / "story.toml", heron()) >= {"card", "field-ssd", "phone", "cloud"}


def test_a_fire_at_home_takes_what_is_carried_only_while_one_is_there(tmp_path: Path) -> None:
    for away in (True, False):
        hit = hit_by(scenario_text(story_of("place:house", away=away), heron()), tmp_path / "fire.toml", heron())
        assert ("field-ssd" in hit) is not away


def test_the_title_says_more_only_where_more_follows() -> None:
    one = scenario_text(story_of("medium:card", away=False), heron())
    assert 'title = "A story of 1 mishap: medium:card came: all 3 pictures gone"' in one
    two = scenario_text(story_of("medium:card", "medium:shelf", away=False), heron())
    assert 'title = "A story of 2 mishaps: medium:card came: all 3 pictures gone …"' in two
