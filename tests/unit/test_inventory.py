"""The record of a survey: what falls short, and its JSON."""

import json
from dataclasses import replace

import pytest

from drill.inventory import (
    Checked,
    CopyStock,
    Disagreement,
    Exposure,
    Missing,
    OtherSize,
    Practice,
    Rule321,
    ShootStock,
    Survey,
    Tally,
    dump,
)

SHOOT = ShootStock(
    shoot="terns",
    date="2026-09-01",
    client=None,
    promised=Tally(2, 10, 1),
    by_class={"originals": Tally(2, 10, 1)},
    there=2,
    on_paper=0,
    on_no_copy=(),
    on_one_copy=(),
    copies={"x": 2},
    places=("home",),
    kinds=("ssd",),
    exposure=Exposure(2, 2, 2, 0),
    sizes_disagree=(),
    rule_3_2_1=Rule321(False, 2, 2, 2, 2),
    ndsa_storage_level=0,
    practice=Practice(False, 2, 0),
    lacks_classes=(),
    unpaired=(),
    colliding=(("a", "A"),),
    verified=Checked(None, None, True, 2, ()),
)
COPY = CopyStock(
    copy="x",
    medium="x",
    kind="ssd",
    place="home",
    form="folder",
    state="here",
    reason="",
    listed=2,
    found=2,
    promised=2,
    there=2,
    by_name=0,
    missing=(),
    other_size=(),
    other_bytes=(),
    extra=("b",),
    expires=None,
    expires_in_seconds=None,
    last_verified=None,
    never_verified=2,
    refuted=(),
)


def survey(shoot: ShootStock = SHOOT, copy: CopyStock = COPY) -> Survey:
    return Survey("Terns", "2026-11-24T20:00:00Z", (shoot,), (copy,))


def test_rules_practice_extra_and_collisions_are_advice() -> None:
    assert not survey().falls_short


@pytest.mark.parametrize(
    "shoot",
    [
        replace(SHOOT, on_no_copy=("a",)),
        replace(SHOOT, sizes_disagree=(Disagreement("a", {"x": 1, "y": 2}),)),
        replace(SHOOT, verified=Checked(86400.0, None, False, 2, ())),
    ],
)
def test_a_shoot_falls_short(shoot: ShootStock) -> None:
    assert survey(shoot).falls_short


@pytest.mark.parametrize(
    ("copy", "short"),
    [
        (replace(COPY, missing=(Missing("a"),)), True),
        (replace(COPY, other_size=(OtherSize("a", 1, 2),)), True),
        (replace(COPY, state="refuses"), True),
        (replace(COPY, state="expired", expires_in_seconds=-1.0), True),
        (replace(COPY, state="away"), False),
        (replace(COPY, state="answers", expires_in_seconds=60.0), False),
    ],
)
def test_a_copy_falls_short(copy: CopyStock, short: bool) -> None:
    assert survey(copy=copy).falls_short is short


def test_the_json_is_plain_and_keeps_names_that_are_no_unicode() -> None:
    text = dump(survey(replace(SHOOT, on_no_copy=("caf\udce9.dng",))))
    assert text.isascii()
    value = json.loads(text)
    assert value["schema"] == "restore-survey/1"
    assert value["falls_short"] is True
    (shoot,), (copy,) = value["shoots"], value["copies"]
    assert shoot["on_no_copy"] == ["caf\udce9.dng"]
    assert shoot["by_class"] == {"originals": {"files": 2, "bytes": 10, "unknown_files": 1}}
    assert (copy["last_verified"], copy["expired"], copy["falls_short"]) == (None, False, False)
