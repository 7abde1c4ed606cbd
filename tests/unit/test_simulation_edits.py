"""The second engine's edits, held against cases worked out by hand from the README's words."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from brute import fewest
from simulation.blows import after_blow
from simulation.days import days_of
from simulation.edits import (
    NOT_MADE,
    Marks,
    are_lost,
    marks_after_blow,
    marks_after_replacement,
    marks_after_step,
    planned_edits,
)
from simulation.statuses import Statuses, after_replacement, after_step, at_first

from drill.model import Costs, Medium, Place, Rhythm, Risks, Scheme, Step, Studio

HOUR, DAY = 3600.0, 86400.0
REED = date(2026, 10, 20)
MEDIA = ("card", "tablet", "drive", "cloud")
DAILY = Rhythm("day", (), 20 * HOUR)
EDIT = Step("edit", "edit", target="tablet", after_s=30 * HOUR, takes_s=0.0)


def step(id_: str, do: str, source: str | None, target: str | None, after_h: float, **more: Any) -> Step:
    return Step(id_, do, source, target, after_s=after_h * HOUR, takes_s=0.0, **more)


IMPORT = step("import", "copy", "card", "tablet", 1)
BACKUP = step("backup", "copy", "tablet", "drive", 2)


def studio_of(*steps: Step, mirrors: Mapping[str, str] | None = None, keeps: Sequence[str] = ()) -> Studio:
    pairs = mirrors or {}
    media = {
        id_: Medium(
            id_,
            "ssd",
            f"at-{id_}",
            attached=False,
            offsite=False,
            carried=False,
            fails_per_year=0.0,
            mirrors=pairs.get(id_),
            keeps_versions_s=30 * DAY if id_ in keeps else None,
        )
        for id_ in MEDIA
    }
    scheme = Scheme(
        made_on=("card",),
        steps=steps,
        begins_s=9 * HOUR,
        ends_s=18 * HOUR,
        zone="UTC",
        away_for_s=0.0,
        home=None,
        size=None,
        files=None,
        replaced_within_s=4 * DAY,
        risks=Risks(theft=0, fire=0, lockout=0, deletion=0, attack=0, rot=0),
        costs=Costs(),
    )
    file = Path("reed.toml")
    return Studio(
        file=file,
        name="Reed",
        scratch=None,
        ledger=file,
        reports=file,
        weights={},
        places={f"at-{id_}": Place(f"at-{id_}") for id_ in MEDIA},
        media=media,
        buses={},
        shoots=(),
        copies=(),
        scheme=scheme,
    )


def played(studio: Studio, *, days: float = 3, befalls: Mapping[str, str] | None = None, forgotten: str = "") -> str:
    """Play a shoot so many days long, with an event just before the first act of a step; return the marks at the end.

    Of the steps named in `forgotten` the first act alone is. An event before "replaced" comes before the replacement.
    """
    until = datetime(2026, 10, 20, 18, tzinfo=UTC) + timedelta(days=days)
    life = days_of(studio, REED, away=False, until=until)
    now, marks = at_first(studio), NOT_MADE
    left, skipped = dict(befalls or {}), forgotten.split()
    for act, plan in zip(life.acts, planned_edits(studio, life, "edit"), strict=True):
        name = act.step.id if act.step else "replaced"
        if name in left:
            now, marks = struck(studio, left.pop(name), now, marks)
        if name in skipped:
            skipped.remove(name)
        elif act.step is None:
            marks = marks_after_replacement(studio, now, marks, plan)
            now = after_replacement(studio, now, plan.shoot)
        else:
            marks = marks_after_step(studio, act, now, marks, plan, edit="edit")
            now = after_step(studio, act.step, now, plan.shoot)
    assert not left and not skipped
    return "".join(marks)


def struck(studio: Studio, event: str, now: Statuses, marks: Marks) -> tuple[Statuses, Marks]:
    after = after_blow(studio, event, now, away=False)
    return after, marks_after_blow(studio, event, now, marks, away=False)


def test_edits_are_made_where_the_shoot_is_thought_to_be() -> None:
    assert played(studio_of(IMPORT, EDIT)) == "NGNN"
    assert played(studio_of(IMPORT, EDIT), forgotten="import") == ""
    assert played(studio_of(IMPORT, EDIT), befalls={"edit": "rot:tablet"}) == "NGNN"
    assert played(studio_of(IMPORT, EDIT), befalls={"edit": "medium:tablet"}) == ""


def test_edits_are_not_made_where_no_medium_has_the_shoot_right() -> None:
    assert played(studio_of(IMPORT, EDIT), befalls={"import": "rot:card"}) == ""


def test_edits_are_made_the_first_time_that_they_can_be() -> None:
    every_day = Step("edit", "edit", target="tablet", follows="nightly", takes_s=0.0)
    again = step("import", "copy", "card", "tablet", 25, again_s=DAY)
    assert played(studio_of(again, NIGHTLY, every_day), days=1) == ""
    assert played(studio_of(again, NIGHTLY, every_day), days=1.1) == "NGNN"
    assert played(studio_of(again, NIGHTLY, every_day), days=1.1, forgotten="import") == ""
    assert played(studio_of(again, NIGHTLY, every_day), days=3, forgotten="import") == "NGNN"


def test_what_is_begun_before_the_shoot_is_there_is_left_out() -> None:
    early = Step("edit", "edit", target="tablet", after_s=0.5 * HOUR, takes_s=HOUR)
    assert played(studio_of(IMPORT, early)) == ""


def test_mirrors_get_edits_where_they_hold_the_shoot() -> None:
    chain = {"drive": "tablet", "cloud": "drive"}
    assert played(studio_of(IMPORT, EDIT, mirrors=chain)) == "NGGG"
    assert played(studio_of(IMPORT, EDIT, mirrors=chain), befalls={"edit": "medium:drive"}) == "NGNN"
    assert played(studio_of(IMPORT, EDIT, mirrors=chain), befalls={"edit": "medium:cloud"}) == "NGGN"


NIGHTLY = step("nightly", "verify", None, "card", 2, rhythm=DAILY)
ERASE = step("erase", "erase", "tablet", None, 40)
AFTER = step("after", "copy", "tablet", "drive", 31)


@pytest.mark.parametrize(
    ("copying", "marks"),
    [
        ((BACKUP,), "NGNN"),
        ((AFTER,), "NGGN"),
        ((BACKUP, AFTER), "NGGN"),
        ((step("backup", "copy", "tablet", "drive", 2, again_s=DAY),), "NGNN"),
        ((step("backup", "copy", "tablet", "drive", 2, rhythm=DAILY),), "NGGN"),
        ((NIGHTLY, step("backup", "copy", "tablet", "drive", 0, follows="nightly")), "NGGN"),
        ((BACKUP, step("move", "move", "tablet", "drive", 31)), "NNGN"),
        ((BACKUP, step("move", "move", "tablet", "drive", 29)), ""),
        ((step("after", "copy", "tablet", "drive", 31, only_once_on=("cloud",)),), "NGNN"),
        ((AFTER, step("next", "copy", "drive", "cloud", 31)), "NGGG"),
        ((step("next", "copy", "drive", "cloud", 31), AFTER), "NGGN"),
        ((AFTER, step("erase", "erase", "tablet", None, 32)), "NNGN"),
    ],
    ids=lambda value: value if isinstance(value, str) else "+".join(one.id for one in value),
)  # fmt: skip
def test_what_a_copy_brings(copying: tuple[Step, ...], marks: str) -> None:
    again = step("import", "copy", "card", "tablet", 1)
    assert played(studio_of(again, EDIT, *copying)) == marks


def test_a_first_copy_brings_the_edits_with_the_whole_folder() -> None:
    """Where the tries before the edits were forgotten, the next one copies all there is."""
    tries = step("backup", "copy", "tablet", "drive", 2, again_s=DAY)
    assert played(studio_of(IMPORT, EDIT, tries)) == "NGNN"
    assert played(studio_of(IMPORT, EDIT, tries), forgotten="backup backup") == "NGGN"


def test_a_move_brings_what_is_new_whenever_it_was_first_due() -> None:
    cloud = step("cloud", "copy", "card", "cloud", 32)
    moved = step("move", "move", "tablet", "drive", 29, again_s=DAY, only_once_on=("cloud",))
    assert played(studio_of(IMPORT, BACKUP, EDIT, cloud, moved)) == "NNGN"
    assert played(studio_of(IMPORT, BACKUP, EDIT, cloud, replace(moved, do="copy"))) == "NGNN"
    assert played(studio_of(IMPORT, BACKUP, EDIT, replace(moved, only_once_on=()))) == ""


def test_rotten_edits_are_copied_rotten_and_mended_by_a_check() -> None:
    check = step("check", "verify", None, "drive", 32)
    assert played(studio_of(IMPORT, EDIT, AFTER), befalls={"after": "rot:tablet"}) == "NRRN"
    assert played(studio_of(IMPORT, EDIT, AFTER, check), befalls={"check": "rot:drive"}) == "NGGN"
    assert played(studio_of(IMPORT, EDIT, AFTER, check), befalls={"after": "rot:tablet"}) == "NRRN"
    assert played(studio_of(IMPORT, EDIT, AFTER, check), forgotten="after") == "NGGN"
    early = step("check", "verify", None, "drive", 30.5)
    assert played(studio_of(IMPORT, EDIT, AFTER, early), befalls={"check": "rot:drive"}) == "NGGN"


def test_what_takes_the_shoot_takes_the_edits() -> None:
    versions = studio_of(IMPORT, EDIT, AFTER, mirrors={"cloud": "drive"}, keeps=["cloud"])
    assert played(versions) == "NGGG"
    erase = step("erase", "erase", "drive", None, 33)
    steps = (IMPORT, EDIT, AFTER, erase)
    assert played(studio_of(*steps, mirrors={"cloud": "drive"})) == "NGNN"
    assert played(studio_of(*steps, mirrors={"cloud": "drive"}, keeps=["cloud"])) == "NGNG"


def test_what_is_filled_again_gets_the_edits_that_the_plan_has_there() -> None:
    steps = (IMPORT, EDIT, AFTER)
    assert played(studio_of(*steps), days=5, befalls={"replaced": "medium:drive"}) == "NGGN"
    assert played(studio_of(*steps), days=5, befalls={"replaced": "medium:card"}) == "NGGN"
    assert played(studio_of(IMPORT, EDIT), days=5, befalls={"replaced": "medium:tablet"}) == "NNNN"


def test_edits_are_lost_once_they_were_made() -> None:
    assert not are_lost(NOT_MADE)
    assert are_lost(("N", "R"))
    assert not are_lost(("R", "G"))


@pytest.mark.parametrize(
    ("steps", "without", "mishaps"),
    [
        ((IMPORT, EDIT), (), 1),
        ((IMPORT, EDIT, ERASE), (), 0),
        ((IMPORT, EDIT), ("medium", "place", "rot", "attack"), None),
        ((IMPORT, BACKUP, EDIT, ERASE), (), 0),
        ((IMPORT, EDIT, AFTER, ERASE), ("medium", "place", "rot"), 1),
        ((IMPORT, EDIT, AFTER, replace(ERASE, only_once_on=("drive",))), ("medium", "place", "rot", "early"), None),
    ],
)  # fmt: skip
def test_the_fewest_mishaps_by_hand(steps: tuple[Step, ...], without: tuple[str, ...], mishaps: int | None) -> None:
    studio = studio_of(*steps)
    until = datetime(2026, 10, 23, 18, tzinfo=UTC)
    days = days_of(studio, REED, away=False, until=until)
    assert fewest(studio, days, most=2, without=without, edit="edit") == mishaps
