"""Edits in a search: who brings them along, what loses them, how it is told, kept and saved.

That card, tablet and a monthly upload leave a week of edits on the tablet alone is common practice, no source.
"""

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from schemes import DAY_S, HOUR_S, NEVER_S, medium, step
from schemes import studio as scheme_of

from drill.edits import Brings
from drill.errors import Mistakes
from drill.globs import matcher
from drill.model import Digest, Promised, Rhythm, Shoot, Step, Studio, Targets
from drill.odds.blows import ROTTEN
from drill.odds.statuses import LOST_STATE
from drill.report.search_text import search_text
from drill.scenario import load_scenario
from drill.search import Options, Outcome, check_left_out, file_of, kept_stories, scenario_text, search_scheme
from drill.search.legs import Course, Turn, course_of
from drill.search.scenes import Scenes
from drill.searchrecord import Life
from drill.timeline import horizon, life

NOW = datetime(2026, 9, 11, 12, tzinfo=UTC)
DAY = date(2026, 9, 12)
OPTIONS = Options(NOW, NOW, DAY, (False,), 2, 1, 0.0, ("rot", "place"), 7, None)
IMPORT = step("import", "copy", "card", "tablet", after_s=HOUR_S)
TO_KILN = step("to-kiln", "copy", "tablet", "kiln", after_s=2 * HOUR_S)
EDIT = step("retouch", "edit", None, "tablet", after_s=2 * DAY_S)
WEEKLY = Rhythm("week", (6,), 20 * HOUR_S)  # on Sundays; the shoot is on a Saturday, its edits come on Monday at six


def studio(*steps: Step, **more: object) -> Studio:
    media = [medium("card", "card"), medium("tablet", "tablet"), medium("kiln"), medium("heron")]
    return scheme_of(media, steps, ["card"], **({"replaced_within_s": NEVER_S} | more))


def outcome(here: Studio, **more: object) -> Outcome:
    return search_scheme(here, replace(OPTIONS, **more))  # type: ignore[arg-type]


def of_edits(here: Studio, **more: object) -> Life:
    [found] = [one for one in outcome(here, **more).record.lives if one.edit]
    return found


def course(here: Studio, edit: Step = EDIT) -> Course:
    return course_of(
        life(here, DAY, away=False, until=horizon(here.scheme, DAY, 1)),  # type: ignore[arg-type]
        here,
        here.scheme,  # type: ignore[arg-type]
        (),
        edit=edit,
    )


def stories(here: Studio, **more: object) -> list[tuple[str, ...]]:
    return [story.mishaps for story in of_edits(here, **more).levels[0].stories]


def test_the_pictures_are_on_three_copies_and_the_edits_on_one() -> None:
    here = studio(IMPORT, TO_KILN, EDIT)
    shoot, edits = outcome(here, after_s=3 * DAY_S, depth=3).record.lives
    assert shoot.edit is None and shoot.levels[0].mishaps == 3
    assert edits.edit and edits.edit.local == "Mon 14 Sep 2026 18:00"
    assert [story.mishaps for story in edits.levels[0].stories] == [("medium:tablet",)]
    last = edits.levels[0].stories[0].happenings[-1]
    assert last.words == "tablet broken or lost: these edits gone"
    assert {end.medium: end.left for end in edits.levels[0].stories[0].ends} == {
        "card": "not there",
        "tablet": "failed",
        "kiln": "not there",
    }


@pytest.mark.parametrize(
    ("copying", "brings"),
    [
        (replace(TO_KILN, rhythm=WEEKLY), True),
        (replace(TO_KILN, follows="retouch"), True),
        (replace(TO_KILN, after_s=3 * DAY_S), True),
        (replace(TO_KILN, again_s=DAY_S), False),  # nobody copies again what is copied
        (replace(TO_KILN, follows="again", after_s=0.0), False),
        (replace(TO_KILN, follows="sundays", after_s=0.0), True),
        (replace(TO_KILN, do="move", after_s=3 * DAY_S), True),
    ],
)
def test_which_copies_bring_what_was_edited(copying: Step, brings: bool) -> None:
    again = step("again", "copy", "card", "tablet", after_s=2 * HOUR_S, again_s=DAY_S)
    sundays = step("sundays", "copy", "tablet", "heron", rhythm=WEEKLY)
    on_kiln = step("first", "copy", "card", "kiln", after_s=HOUR_S)
    here = studio(IMPORT, on_kiln, again, sundays, copying, EDIT)
    found = course(here)
    state = found.first
    for leg in found.legs:
        state = leg.change[state] if isinstance(leg, Turn) else state
    assert found.edited is not None
    edits = found.edited.unpack(state)[1]
    assert edits is not None
    assert (found.shelf.letters(edits, ["kiln"]) == ("G",)) is brings


def test_a_copy_under_way_while_edits_are_made_has_none() -> None:
    weekly = Rhythm("week", (0,), 17.5 * HOUR_S)  # on Monday from half past five for an hour; edited at six
    slow = replace(TO_KILN, rhythm=weekly, takes_s=HOUR_S)
    first = of_edits(studio(IMPORT, slow, EDIT), without=("rot", "place", "forget"), depth=1)
    assert [story.mishaps for story in first.levels[0].stories] == [("medium:tablet",)]
    assert first.clear_from_local == "Mon 21 Sep 2026 18:30"


def test_what_a_copy_brings_is_asked_each_time_by_bytes_too() -> None:
    """The first Monday's is under way when edits are made; the next finds the drive alike, and brings them."""
    mondays = replace(TO_KILN, id="mondays", rhythm=Rhythm("week", (0,), 17.5 * HOUR_S), takes_s=HOUR_S)
    here = studio(IMPORT, TO_KILN, mondays, EDIT)
    found = course(here)
    scenes, left = Scenes(here, found), []
    scene = scenes.first
    for leg in found.legs:
        scene = scenes.turn(scene, leg) if isinstance(leg, Turn) else scene
        left += [scenes.left(scene)["kiln"]] if isinstance(leg, Turn) and leg.step == mondays else []
    assert left[:3] == ["not there", "right", "right"]


def test_a_tried_again_copy_that_finds_no_folder_takes_edits_along() -> None:
    """Forgotten on the day, done three days later: with the whole folder come the edits."""
    late = replace(TO_KILN, again_s=3 * DAY_S)
    found = of_edits(studio(IMPORT, late, EDIT), depth=2, after_s=4 * DAY_S)
    assert found.levels[0].mishaps == 1  # by plan they are on the tablet alone
    early = of_edits(studio(IMPORT, late, EDIT), depth=2)
    assert ("forget:to-kiln",) not in [story.mishaps for story in early.levels[0].stories]


def test_who_looks_for_the_pictures_does_not_see_that_edits_are_missing() -> None:
    clear = step("clear", "erase", "tablet", after_s=10 * DAY_S, only_once_on=("kiln",))
    edits = of_edits(studio(IMPORT, TO_KILN, EDIT, clear))
    assert [level.mishaps for level in edits.levels] == [0]
    said = search_text(outcome(studio(IMPORT, TO_KILN, EDIT, clear)).record, width=200)
    assert "clear: tablet erased: these edits gone" in said
    assert "It goes as planned, and nothing is left" in said


def test_a_check_puts_right_edits_that_went_bad() -> None:
    both = (IMPORT, TO_KILN, EDIT, replace(TO_KILN, id="edits-to-kiln", follows="retouch", after_s=HOUR_S))
    check = step("check", "verify", None, "kiln", after_s=6 * DAY_S)
    clear = step("clear", "erase", "tablet", after_s=10 * DAY_S)
    only_rot = ("place", "medium", "forget", "early")
    without_check = of_edits(studio(*both, clear), without=only_rot, depth=1)
    assert without_check.levels[0].stories[0].mishaps == ("rot:kiln",)
    checked = of_edits(studio(*both, check, clear), without=only_rot, depth=1).levels[0]
    story = next(one for one in checked.stories if one.mishaps == ("rot:kiln",))
    assert (story.earliest, story.latest) == ("Fri 18 Sep 2026 18:00", "Sun 12 Sep 2027 09:00")


def test_a_check_puts_edits_where_a_copy_was_forgotten() -> None:
    both = (IMPORT, TO_KILN, EDIT, replace(TO_KILN, id="edits-to-kiln", follows="retouch", after_s=HOUR_S))
    check = step("check", "verify", None, "kiln", after_s=6 * DAY_S)
    clear = step("clear", "erase", "tablet", after_s=10 * DAY_S)
    assert ("forget:edits-to-kiln",) in stories(studio(*both, clear), depth=1)
    assert ("forget:edits-to-kiln",) not in stories(studio(*both, check, clear), depth=1)


def test_a_drive_that_is_replaced_gets_what_the_plan_has_there() -> None:
    both = (IMPORT, TO_KILN, EDIT, replace(TO_KILN, id="edits-to-kiln", follows="retouch", after_s=HOUR_S))
    clear = step("clear", "erase", "tablet", after_s=10 * DAY_S)
    soon = studio(*both, clear, replaced_within_s=DAY_S)
    assert ("medium:kiln",) in stories(soon, depth=1)
    story = next(s for s in of_edits(soon, depth=1).levels[0].stories if s.mishaps == ("medium:kiln",))
    assert story.earliest == "Tue 22 Sep 2026 09:00"  # replaced each morning; before, the tablet has them


def test_a_drive_that_is_replaced_gets_no_edits_that_the_plan_has_elsewhere() -> None:
    here = studio(IMPORT, TO_KILN, EDIT)
    found = course(here)
    assert found.edited is not None
    tablet, kiln = found.shelf.bits(["tablet"]), found.shelf.bits(["kiln"])
    failed = found.edited.pack(tablet | 3 * kiln, tablet)
    assert found.edited.unpack(found.edited.replaced(tablet | kiln, tablet)[failed]) == (tablet | kiln, tablet)
    assert found.edited.unpack(found.edited.replaced(tablet | kiln, tablet | kiln)[failed])[1] == tablet | kiln


def test_a_copy_writes_nothing_over_edits_that_went_bad() -> None:
    """Nobody copies what is there already, right or not: by bytes and by states alike."""
    home = replace(TO_KILN, id="edits-to-kiln", follows="retouch", after_s=HOUR_S)
    here = studio(IMPORT, TO_KILN, EDIT, home)
    found = course(here)
    assert found.edited is not None
    scenes, state = Scenes(here, found), found.first
    scene, turns = scenes.first, [leg for leg in found.legs if isinstance(leg, Turn)]
    for leg in turns:
        scene, state = scenes.turn(scene, leg), leg.change[state]
    [copying] = [leg for leg in turns if leg.step == home]
    rotten = scenes.befall(scene, "rot:kiln", away=False)
    assert [scenes.left(one)["kiln"] for one in (scene, rotten, scenes.turn(rotten, copying))] == [
        "right",
        "wrong",
        "wrong",
    ]
    fallen = found.edited.fall((("kiln", ROTTEN),))[state]
    assert fallen != state and copying.change[fallen] == fallen


def test_edits_that_are_lost_are_not_made_anew_where_the_step_comes_again() -> None:
    """Every Sunday the card is copied, and an edit follows: what was edited first is gone for good."""
    sundays = step("sundays", "copy", "card", "tablet", rhythm=WEEKLY)
    edit = replace(EDIT, follows="sundays", after_s=HOUR_S)
    here = studio(sundays, edit, step("clear", "erase", "tablet", after_s=300 * DAY_S))
    found = course(here, edit)
    scenes, state = Scenes(here, found), found.first
    scene, again = scenes.first, [leg for leg in found.legs if isinstance(leg, Turn)][:2]
    assert [leg.step for leg in again] == [sundays, edit]
    for leg in again:
        scene, state = scenes.turn(scene, leg), leg.change[state]
    assert not scenes.is_lost(scene) and state != LOST_STATE
    scene = scenes.befall(scene, "early:clear", away=False)
    for leg in again:
        scene = scenes.turn(scene, leg)
    assert scenes.is_lost(scene) and scenes.left(scene)["tablet"] == "not there"


@pytest.mark.parametrize("is_planned", [False, True])
def test_bytes_are_filled_in_where_the_plan_has_them_and_nowhere_else(is_planned: bool) -> None:
    """As a drive is replaced, and as it is checked: the pictures always, the edits where the plan has them."""
    check = step("check", "verify", None, "kiln", after_s=6 * DAY_S)
    here = studio(IMPORT, TO_KILN, EDIT, check)
    found = course(here)
    scenes, shelf = Scenes(here, found), found.shelf
    pictures = shelf.bits(["tablet", "kiln"])
    edits = shelf.bits(["tablet", "kiln"] if is_planned else ["tablet"])
    scene, turns = scenes.first, [leg for leg in found.legs if isinstance(leg, Turn)]
    for leg in turns:
        scene = scenes.turn(scene, leg) if leg.step is not None and leg.step.id != "check" else scene
    of_check = next(leg for leg in turns if leg.step is not None and leg.step.id == "check")
    replacing = replace(of_check, step=None, planned=pictures, edits_planned=edits)
    checking = replace(of_check, planned=pictures, edits_planned=edits, brings=Brings.WHAT_IS_NEW)
    failed = scenes.befall(scene, "medium:kiln", away=False)
    assert (scenes.left(scene)["kiln"], scenes.left(failed)["kiln"]) == ("not there", "failed")
    expected = "right" if is_planned else "not there"
    assert scenes.left(scenes.turn(failed, replacing))["kiln"] == expected
    assert scenes.left(scenes.turn(scene, checking))["kiln"] == expected
    kept = dict(zip(scenes.media, scenes.of(scenes.turn(failed, replacing)).kept, strict=True))
    assert kept["kiln"].files == scenes.pictures


def test_edits_that_the_plan_never_makes_are_not_asked_about_and_it_is_said() -> None:
    nowhere = studio(IMPORT, replace(EDIT, target="heron"))
    assert [one.edit for one in outcome(nowhere).record.lives] == [None]
    assert "The step retouch edits nothing of a shoot made at home in" in search_text(
        outcome(nowhere).record, width=400
    )
    assert outcome(nowhere, without=("rot", "edit")).record.notes == ()
    late = studio(IMPORT, replace(EDIT, after_s=500 * DAY_S))
    assert [one.edit for one in outcome(late).record.lives] == [None]
    assert len(outcome(late, years=2).record.lives) == 2


def test_edits_can_be_left_out_all_or_some() -> None:
    here = studio(IMPORT, EDIT, replace(EDIT, id="proofs", after_s=5 * DAY_S))

    def asked(*without: str) -> list[str]:
        check_left_out(here, without)
        lives = outcome(here, without=("rot", "place", *without)).record.lives
        return [one.edit.step for one in lives if one.edit]

    assert asked() == ["retouch", "proofs"]
    assert asked("edit:retouch") == ["proofs"]
    assert asked("edit") == []
    with pytest.raises(Mistakes, match=r"edit:import.*is no mishap"):
        check_left_out(here, ("edit:import",))
    with pytest.raises(Mistakes, match="forget:retouch"):
        check_left_out(here, ("forget:retouch",))


def test_what_a_check_is_taken_to_know_is_said_where_edits_and_checks_are() -> None:
    check = step("check", "verify", None, "kiln", after_s=6 * DAY_S)
    words = "A check is taken to know of edits"
    assert words in search_text(outcome(studio(IMPORT, TO_KILN, EDIT, check)).record, width=400)
    assert words not in search_text(outcome(studio(IMPORT, TO_KILN, EDIT)).record, width=400)
    assert words not in search_text(outcome(studio(IMPORT, TO_KILN, check)).record, width=400)


def test_edits_alone_are_asked_about() -> None:
    here = studio(IMPORT, TO_KILN, EDIT)
    assert [one.edit and one.edit.step for one in outcome(here, edits_alone=True).record.lives] == ["retouch"]
    with pytest.raises(Mistakes, match="--edits: no step of this scheme edits;"):
        outcome(studio(IMPORT), edits_alone=True)
    with pytest.raises(Mistakes, match="--edits: no step edits anything in the time that is looked at"):
        outcome(studio(IMPORT, replace(EDIT, target="heron")), edits_alone=True)
    with pytest.raises(Mistakes, match="--without: leaves out all edits"):
        outcome(here, edits_alone=True, without=("edit",))
    with pytest.raises(Mistakes, match="no mishap is left that may come"):
        outcome(here, edits_alone=True, after_s=366 * DAY_S)


def test_edits_are_told_after_the_shoot_and_at_home_only_what_differs() -> None:
    said = search_text(outcome(studio(IMPORT, TO_KILN, EDIT), away=(True, False)).record, width=400)
    away, home = "A shoot made away", "A shoot made at home"
    heads = [
        said.index(text) for text in (away, home, "The edits of a shoot made away", "The edits of a shoot made at")
    ]
    assert heads == sorted(heads)
    assert "(retouch: made on tablet by Mon 14 Sep 2026 18:00): one mishap can lose them, and no fewer" in said
    assert said.count("! ") == 1 + 2 + 1  # the shoot's two levels away, the edits' one; at home it is the same
    nothing = search_text(outcome(studio(IMPORT, EDIT), without=("rot", "place", "medium", "early", "deleted")).record)
    assert "no story was found that loses them" in nothing and "they are" in nothing


def test_by_chance_edits_are_lost_too() -> None:
    found = of_edits(studio(IMPORT, TO_KILN, EDIT), budget_s=600.0, examples=40, depth=1)
    assert found.chance is not None and found.chance.mishaps == 1


def test_a_kept_story_of_edits_is_tried_for_edits_alone(tmp_path: Path) -> None:
    here = studio(IMPORT, TO_KILN, EDIT)
    kept = outcome(here, after_s=3 * DAY_S).to_keep
    for story, words in kept:
        name, text = file_of(story, words)
        (tmp_path / name).write_text(text, encoding="utf-8")
    read, wrong = kept_stories(tmp_path)
    assert not wrong and [one.edit for one in read] == ["retouch"]
    again = outcome(here, after_s=3 * DAY_S, kept=tuple(read)).record.lives
    assert [(one.known, one.outlived) for one in again if one.edit] == [(1, 0)]
    assert [(one.known, one.outlived) for one in again if not one.edit] == [(0, 0)]
    mended = studio(IMPORT, TO_KILN, EDIT, replace(TO_KILN, id="edits-to-kiln", follows="retouch", after_s=HOUR_S))
    after = outcome(mended, after_s=3 * DAY_S, kept=tuple(read)).record.lives
    assert [(one.known, one.outlived) for one in after if one.edit] == [(0, 1)]


def promised(*paths_and_kinds: tuple[str, str]) -> Shoot:
    files = tuple(Promised(path, (Digest("md5", "0" * 32),), 1, kind) for path, kind in paths_and_kinds)
    return Shoot("reed", DAY, None, files, Targets())


def saved(here: Studio, file: Path) -> dict[str, tuple[str, ...] | None]:
    [story] = [one.shortest for one in outcome(here, after_s=3 * DAY_S).record.lives if one.edit]
    assert story is not None and story.edit == "retouch"
    file.write_text(scenario_text(story, here), encoding="utf-8")
    return {hazard.effect: hazard.files for hazard in load_scenario(file).hazards}


def test_saved_it_takes_the_files_that_edits_are_in_and_leaves_the_pictures(tmp_path: Path) -> None:
    here = studio(IMPORT, TO_KILN, EDIT)
    assert saved(here, tmp_path / "story.toml") == {"gone": None, "deleted": ("*.xmp",)}
    guess = "# No promise shows which files edits are in: *.xmp is a guess."
    assert guess in (tmp_path / "story.toml").read_text("utf-8")
    alike = promised(("R1.TIF", "originals"), ("R1-edited.tif", "edits"))  # nothing tells them from originals
    assert saved(replace(here, shoots=(alike,)), tmp_path / "alike.toml")["deleted"] == ("*.xmp",)
    assert guess in (tmp_path / "alike.toml").read_text("utf-8")
    shoot = promised(
        ("R1.DNG", "originals"),
        ("R1.JPG", "originals"),
        ("R1.edit", "edits"),
        ("deliver/R1.jpg", "deliverables"),
        ("deliver/R1.tif", "deliverables"),
        ("R1-final.jpg", "deliverables"),  # not told from an original by its ending or its folder: left out
    )
    odd = promised(("R1.DNG", "originals"), ("for [client]/R1.dng", "deliverables"), ("R1.[2]", "edits"))
    files = saved(replace(here, shoots=(odd,)), tmp_path / "odd.toml")["deleted"]
    assert files is not None and all(map(matcher(files), ("x/for [client]/R1.dng", "R1.[2]")))
    with_promise = replace(here, shoots=(shoot,))
    assert saved(with_promise, tmp_path / "own.toml")["deleted"] == ("**/deliver/**", "*.edit", "*.tif")
    assert guess not in (tmp_path / "own.toml").read_text("utf-8")
