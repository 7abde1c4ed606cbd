"""The search: what it finds, how it is told, what it leaves out and keeps."""

import json
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import schemes
from planned import copy
from planned import studio as plain
from planted import NOISE, PLANTED, WITHOUT, planted_studio
from schemes import usual_studio

from drill.errors import Mistakes
from drill.model import Step, Studio
from drill.report.search_text import search_text
from drill.scenario import load_scenario
from drill.search import (
    Options,
    all_mishaps,
    check_left_out,
    file_of,
    kept_stories,
    scenario_text,
    search_scheme,
)
from drill.search.by_chance import Tried, by_chance
from drill.search.corpus import KeptStory, kept_story, marks_of
from drill.search.exhaustive import marks, search
from drill.search.judge import judging
from drill.search.legs import Course, Turn, course_of
from drill.search.mishaps import keeps_a_copy
from drill.search.play import Ways
from drill.search.scenes import Scenes, picture
from drill.searchrecord import Search, dump
from drill.timeline import horizon, life

DAY = date(2026, 9, 12)
NOW = datetime(2026, 9, 11, 12, tzinfo=UTC)
OPTIONS = Options(
    started=NOW,
    now=NOW,
    day=DAY,
    away=(False,),
    depth=3,
    years=1,
    after_s=0.0,
    without=(),
    seed=7,
    budget_s=None,
)
FORMAT = Step(id="format", do="erase", source="card", after_s=86400.0, takes_s=0.0)


def course(studio: Studio, without: tuple[str, ...] = ()) -> Course:
    assert studio.scheme
    until = horizon(studio.scheme, DAY, 1)
    return course_of(life(studio, DAY, away=False, until=until), studio, studio.scheme, without)


def searched(studio: Studio, **more: object) -> Search:
    return search_scheme(studio, replace(OPTIONS, **more)).record  # type: ignore[arg-type]


def card_and_tablet() -> Studio:
    return plain(copy("import", "card", "tablet", after_s=3600.0), FORMAT)


def test_a_planted_story_of_three_is_found_and_proved_shortest() -> None:
    found = course(planted_studio(), WITHOUT)
    levels = search(found.legs, found.first, depth=3).levels
    assert [(level.mishaps, [names for names, _ in level.ways]) for level in levels] == [(3, [PLANTED])]
    assert {name for _, name in marks(levels[0].ways[0][1])} == set(PLANTED)


def test_one_mishap_less_is_searched_in_vain() -> None:
    found = course(planted_studio(), WITHOUT)
    assert search(found.legs, found.first, depth=2).levels == []
    assert search(found.legs, found.first, depth=2).complete == 2


@pytest.mark.deep  # a search by chance for tens of thousands of steps
def test_the_planted_story_is_found_by_chance_at_length_three(tmp_path: Path) -> None:
    """Within 400 stories from a fixed seed; the time is no part of it, so that the test holds on a slow machine."""
    studio = planted_studio()
    found = course(studio, WITHOUT)
    scenes = Scenes(studio, found)
    names = [name for name in all_mishaps(studio) if name not in WITHOUT and name.partition(":")[0] not in WITHOUT]
    assert len(names) > 20  # the noise
    with judging(studio, scenes, tmp_path) as judge:
        tried = by_chance(
            Ways(found, scenes, 0),
            judge,
            names,
            seldom=keeps_a_copy(studio),
            most=20,
            seed_=7,
            budget_s=600,
            home=tmp_path,
            examples=400,
        )
    assert tried.marks is not None
    assert sorted(name for _, name in tried.marks) == sorted(PLANTED)


def test_a_story_is_dated_in_the_schemes_zone_and_counts_what_is_gone() -> None:
    [level] = searched(card_and_tablet(), without=("medium", "place", "rot", "early")).lives[0].levels
    [story] = level.stories
    assert story.mishaps == ("forget:import",)
    told = [(one.local, one.what, one.by_plan) for one in story.happenings]
    assert told == [
        ("Sat 12 Sep 2026 09:00", "first picture", True),
        ("Sat 12 Sep 2026 19:00", "forget:import", False),
        ("Sun 13 Sep 2026 18:00", "format", True),
    ]
    assert story.happenings[-1].words == "format: card erased: all 1,000 pictures gone"
    assert story.lost_at == "2026-09-13T17:00:00Z"  # Lisbon in summer


def test_later_on_it_takes_more() -> None:
    life_ = searched(plain(copy("import", "card", "tablet", after_s=3600.0)), without=("rot", "place")).lives[0]
    assert [level.mishaps for level in life_.levels] == [1, 2]
    assert life_.levels[1].begins_local == "Sat 12 Sep 2026 19:00"


def earliest(studio: Studio, name: str, **more: object) -> str:
    """Return when the first mishap of the story of one mishap may come at the earliest."""
    stories = searched(studio, depth=1, **more).lives[0].levels[0].stories
    return next(story.earliest for story in stories if story.mishaps == (name,))


def test_a_fire_at_home_takes_the_bag_when_it_is_back() -> None:
    """Card and tablet are carried; the photographer is away for three days."""
    fire, theft = "place:house", "place:bag"
    assert earliest(usual_studio(), fire, away=(False,)) == "Sat 12 Sep 2026 09:00"
    assert earliest(usual_studio(), fire, away=(True,)) == "Tue 15 Sep 2026 18:00"
    assert earliest(usual_studio(), theft, away=(True,)) == "Sat 12 Sep 2026 09:00"


def test_a_drive_that_is_replaced_in_time_costs_nothing() -> None:
    """What is replaced after two days and after four is filled from the card; that is erased after five."""
    media = [schemes.medium("card", "card"), schemes.medium("kiln")]
    steps = [
        schemes.step("to-kiln", "copy", "card", "kiln", after_s=schemes.HOUR_S),
        schemes.step("format", "erase", "card", after_s=5 * schemes.DAY_S),
    ]
    never = schemes.studio(media, steps, ["card"], replaced_within_s=schemes.NEVER_S)
    soon = schemes.studio(media, steps, ["card"], replaced_within_s=2 * schemes.DAY_S)
    assert earliest(never, "medium:kiln", without=("rot", "place")) == "Sat 12 Sep 2026 19:00"
    assert earliest(soon, "medium:kiln", without=("rot", "place")) == "Wed 16 Sep 2026 09:00"


def test_the_wrong_card_is_erased_whatever_the_step_waits_for() -> None:
    waits = replace(FORMAT, only_once_on=("tablet",))
    found = searched(plain(copy("import", "card", "tablet", after_s=3600.0), waits), depth=1, without=("medium",))
    assert ("early:format",) in [story.mishaps for story in found.lives[0].levels[0].stories]


def test_what_becomes_of_real_bytes() -> None:
    """A broken drive stays broken whatever comes; a mirror that keeps versions keeps what is erased on the other; a
    check fills a drive that ought to have it."""
    check = schemes.step("check", "verify", None, "kiln", after_s=2 * schemes.HOUR_S)
    steps = [
        schemes.step("to-kiln", "copy", "card", "kiln", after_s=schemes.HOUR_S),
        check,
        schemes.step("clear", "erase", "kiln", after_s=9 * schemes.DAY_S),
    ]
    mirrors = [
        schemes.medium("reed", mirrors="kiln"),
        schemes.medium("heron", mirrors="kiln", keeps_versions_s=schemes.DAY_S),
    ]
    studio = schemes.studio([schemes.medium("card", "card"), schemes.medium("kiln"), *mirrors], steps, ["card"])
    found = course(studio)
    scenes = Scenes(studio, found)
    turns = {leg.step.id: leg for leg in found.legs if isinstance(leg, Turn) and leg.step is not None}
    broken = scenes.befall(scenes.first, "medium:card", away=False)
    assert scenes.left(scenes.befall(broken, "rot:card", away=False))["card"] == "failed"
    full = scenes.turn(scenes.first, turns["to-kiln"])
    assert scenes.left(full) == dict.fromkeys(("card", "kiln", "reed", "heron"), "right")
    cleared = scenes.turn(full, turns["clear"])
    assert scenes.left(cleared) == {"card": "right", "kiln": "not there", "reed": "not there", "heron": "right"}
    assert scenes.left(scenes.turn(scenes.first, turns["check"]))["kiln"] == "right"


def test_a_scheme_that_erases_everything_needs_no_mishap() -> None:
    found = searched(plain(FORMAT))
    assert found.lives[0].levels[0].mishaps == 0
    assert "It goes as planned" in search_text(found)
    assert found.is_complete


def test_nothing_before_the_time_that_is_asked_for() -> None:
    found = searched(card_and_tablet(), after_s=2 * 3600.0, without=("medium", "place", "rot", "forget"), depth=1)
    assert [story.mishaps for story in found.lives[0].levels[0].stories] == [("early:format",)]
    later = searched(card_and_tablet(), after_s=11 * 3600.0, without=("medium", "place", "rot", "early"), depth=1)
    assert later.shortest is None
    assert "does not say that it is safe" in search_text(later, width=200)


def test_no_mishap_is_told_before_the_time_that_is_asked_for() -> None:
    """Nothing is done between the import at 19:00 and the erasing a day later: 30 hours lie within that stretch."""
    level = searched(card_and_tablet(), after_s=30 * 3600.0, depth=1).lives[0].levels[0]
    assert level.begins_local == "Sun 13 Sep 2026 15:00"
    for story in level.stories:
        first = next(one for one in story.happenings if not one.by_plan)
        assert datetime.fromisoformat(first.at) >= datetime(2026, 9, 13, 14, tzinfo=UTC), story  # Lisbon in summer
        assert story.earliest == level.begins_local or story.mishaps[0].startswith("forget")


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_a_day_too_near_an_end_of_the_calendar_is_a_mistake(day: str) -> None:
    with pytest.raises(Mistakes, match=f"--day: {day}: .* is too near an end of the calendar"):
        searched(plain(FORMAT, zone=None), day=date.fromisoformat(day))


def test_what_never_happens_is_told_last() -> None:
    studio = card_and_tablet()
    media = {**studio.media, "card": replace(studio.media["card"], fails_per_year=0.0)}
    stories = searched(replace(studio, media=media), depth=1).lives[0].levels[0].stories
    assert stories[-1].mishaps == ("medium:card",)
    assert len(stories) > 2


def test_what_is_no_mishap_is_refused_with_what_there_is() -> None:
    with pytest.raises(Mistakes) as raised:
        check_left_out(card_and_tablet(), ["rot", "rot:card", "rot:kilm", "flood"])
    assert [mistake.at for mistake in raised.value.mistakes] == ["rot:kilm", "flood"]
    assert "rot:kiln" in raised.value.mistakes[0].advice


def test_time_that_is_over_proves_nothing() -> None:
    found = search(course(card_and_tablet()).legs, course(card_and_tablet()).first, depth=3, until_s=-1.0)
    assert (found.complete, found.levels) == (-1, [])
    record = searched(card_and_tablet(), budget_s=0.0)
    assert not record.is_complete
    assert "Not all stories" in search_text(record, width=200)


def test_the_judge_is_the_drills_own(tmp_path: Path) -> None:
    """It brings back what is right on any medium, nothing from rotten copies, and leaves scratch empty."""
    studio = card_and_tablet()
    scenes = Scenes(studio, course(studio))
    rotten = scenes.befall(scenes.first, "rot:card", away=False)
    empty = scenes.befall(scenes.first, "medium:card", away=False)
    with judging(studio, scenes, tmp_path) as judge:
        assert [judge.back(scene) for scene in (scenes.first, rotten, empty)] == [3, 0, 0]
    assert not list(tmp_path.iterdir())
    assert len({picture(number) for number in range(3)}) == 3


def test_a_story_after_which_the_drill_brings_something_back_is_not_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drill.search.judge.Judge.back", lambda judge, scene: 1)
    with pytest.raises(AssertionError, match="brings back 1 pictures after this story"):
        searched(card_and_tablet(), depth=1)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "[" * 100_000,
        '{"schema": "restore-search-story/1", "away": 1, "mishaps": []}',
        *(
            '{"schema": "restore-search-story/1", "away": true, "mishaps": [{"what": "rot:card", "after_s": '
            + text
            + "}]}"
            for text in ("-1", "NaN", "1e999", "9" * 400, '"soon"', "null")
        ),
    ],
)
def test_a_file_that_is_no_story_is_passed_over_and_named(text: str, tmp_path: Path) -> None:
    (tmp_path / "odd.json").write_text(text, encoding="utf-8")
    stories, wrong = kept_stories(tmp_path)
    assert stories == []
    assert len(wrong) == 1 and "odd.json" in wrong[0]


def test_a_kept_forgetting_is_of_the_time_that_is_nearest() -> None:
    found = course(plain(copy("upload", "card", "kiln", after_s=3600.0, again_s=10 * schemes.DAY_S)))
    kept = KeptStory(False, (("medium:card", 21 * schemes.DAY_S), ("forget:upload", 18 * schemes.DAY_S)))
    at = marks_of(kept, found, plain(copy("upload", "card", "kiln")))
    assert at is not None
    assert [name for _, name in at] == ["forget:upload", "medium:card"]
    turn = found.legs[at[0][0]]
    assert isinstance(turn, Turn)
    assert 19 < (turn.at - found.life.begins).total_seconds() / schemes.DAY_S < 22


def test_a_kept_story_comes_again_on_another_day(tmp_path: Path) -> None:
    studio = card_and_tablet()
    outcome = search_scheme(studio, replace(OPTIONS, without=("medium", "place", "rot", "early")))
    for story, words in outcome.to_keep:
        name, text = file_of(story, words)
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "broken.json").write_text('{"schema": 1}', encoding="utf-8")
    stories, wrong = kept_stories(tmp_path)
    assert [[name for name, _ in story.mishaps] for story in stories] == [["forget:import"]]
    assert len(wrong) == 1
    again = search_scheme(studio, replace(OPTIONS, kept=tuple(stories), day=date(2027, 1, 30))).record.lives[0]
    assert (again.known, again.outlived) == (1, 0)
    better = plain(copy("import", "card", "tablet", after_s=3600.0))
    after = search_scheme(better, replace(OPTIONS, kept=tuple(stories))).record.lives[0]
    assert (after.known, after.outlived) == (0, 1)


def test_kept_stories_that_are_not_asked_about_are_not_outlived() -> None:
    """That a story is not tried now says nothing about whether it loses the shoot still."""
    early, late = KeptStory(False, (("place:house", 100.0),)), KeptStory(False, (("medium:card", 4e7),))

    def told(kept: KeptStory, **more: object) -> tuple[int, int]:
        life_ = searched(card_and_tablet(), kept=(kept,), depth=1, **more).lives[0]
        return life_.known, life_.outlived

    assert told(early) == (1, 0)
    assert told(early, after_s=86400.0) == told(early, without=("place",)) == told(early, away=(True,)) == (0, 0)
    assert told(late) == (0, 0)
    assert told(late, years=3) == (0, 1)  # the card is erased by then, and the tablet is there


def test_a_search_that_was_broken_off_is_not_complete(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is broken off in the first of two lives, all stories of which were tried by then."""
    broken = Tried(examples=1, interrupted=True)
    monkeypatch.setattr("drill.search.by_chance.by_chance", lambda *words, **more: broken)
    found = searched(card_and_tablet(), away=(True, False), budget_s=60.0, depth=1)
    assert [life_.complete for life_ in found.lives] == [1]
    assert found.interrupted and not found.is_complete
    assert "broken off" in search_text(found)


def test_broken_off_before_chance_begins_the_stories_found_stand(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*words: object, **more: object) -> Tried:
        raise KeyboardInterrupt

    monkeypatch.setattr("drill.search.by_chance.by_chance", broken)
    found = searched(card_and_tablet(), budget_s=60.0, depth=1)
    assert found.interrupted and not found.is_complete
    assert found.lives[0].levels and found.lives[0].chance is None


def test_not_all_tried_is_not_complete_and_what_is_not_told_is_counted() -> None:
    found = searched(usual_studio(), depth=1)
    assert found.is_complete and not replace(found, depth=2).is_complete
    [life_] = found.lives
    [level] = life_.levels
    many = replace(found, lives=(replace(life_, levels=(replace(level, different=40),)),))
    told = min(len(level.stories), 7)  # one in full, six in short
    assert f"… and {40 - told} more" in search_text(many)


def test_what_only_chance_found_is_kept() -> None:
    """All stories of one mishap are tried; it takes two, of which nearly every story of twenty has both."""
    both = plain(copy("import", "card", "tablet", after_s=3600.0))
    asked = replace(OPTIONS, without=("rot", "place", "deleted"), depth=1, after_s=11 * 3600.0)
    outcome = search_scheme(both, replace(asked, budget_s=600.0, examples=50))
    story = outcome.record.shortest
    assert story is not None
    assert sorted(story.mishaps) == ["medium:card", "medium:tablet"]
    assert "and no fewer (proved shortest: all stories of fewer were tried)" in search_text(outcome.record, width=200)
    assert [sorted(name for name, _ in kept.mishaps) for kept, _ in outcome.to_keep] == [sorted(story.mishaps)]


def test_what_chance_found_and_playing_does_not_is_no_nothing_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a fault of the program would be told as: none that loses it was found."""
    monkeypatch.setattr("drill.search.by_chance.by_chance", lambda *words, **more: Tried(examples=1, marks=()))
    with pytest.raises(AssertionError, match="loses nothing when it is played"):
        searched(card_and_tablet(), budget_s=60.0, depth=1)


def test_a_kept_story_stands_where_time_was_too_short() -> None:
    kept = KeptStory(False, (("place:house", 100.0),))
    found = searched(card_and_tablet(), kept=(kept,), budget_s=0.0)
    assert found.shortest is not None
    assert "kept from an earlier run" in search_text(found, width=200)
    assert "shortest found, which is no proof)" in search_text(found, width=200)


def test_a_kept_story_goes_to_its_legs_and_back() -> None:
    found = course(planted_studio(), WITHOUT)
    at = marks(search(found.legs, found.first, depth=3).levels[0].ways[0][1])
    assert marks_of(kept_story(found, at), found, planted_studio()) == at
    assert marks_of(KeptStory(False, (("rot:nowhere", 1.0),)), found, planted_studio()) is None


def test_the_ending_is_a_scenario(tmp_path: Path) -> None:
    story = searched(planted_studio(), without=WITHOUT).shortest
    assert story is not None
    file = tmp_path / "planted.toml"
    file.write_text(scenario_text(story, planted_studio()), encoding="utf-8")
    scenario = load_scenario(file)
    hit = {hazard.effect: set(hazard.hits.medium or ()) for hazard in scenario.hazards}
    assert hit == {"gone": {"marsh"}, "deleted": {"card", "kiln", "heron", *NOISE}}


def test_rot_ends_as_altered_bytes(tmp_path: Path) -> None:
    story = searched(card_and_tablet(), without=("medium", "place", "early", "forget")).shortest
    assert story is not None
    assert 'title = "A story of 1 mishap: bytes gone bad' in scenario_text(story, card_and_tablet())
    assert '"altered"\noffsets = [0]\nhits = { medium = ["card"] }' in scenario_text(story, card_and_tablet())


def test_without_hypothesis_the_rest_works(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "hypothesis", None)
    found = searched(card_and_tablet(), budget_s=60.0)
    chance = found.lives[0].chance
    assert chance is not None
    assert "restore-drill[search]" in chance.why_not
    assert found.lives[0].levels
    assert "restore-drill[search]" in search_text(found, width=200)


def test_the_record_is_json_and_every_line_fits() -> None:
    found = searched(planted_studio())
    assert json.loads(dump(found))["schema"] == "restore-search/1"
    assert max(map(len, search_text(found, width=72).splitlines())) <= 72
