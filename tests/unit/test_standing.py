"""How the shoots of today stand, on paper: over real folders and lists, held against counting by hand and the drill."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from described import Copy, Place, Studio
from hand import FILES, A, copy, held, media, shoot
from schemes import NEVER_S, usual_studio
from studios import build

from drill.ledger import Ledger
from drill.model import Hazard, Scenario, Selector
from drill.odds import odds, rates
from drill.rehearse import Options, rehearse
from drill.report.sections import laid_out
from drill.report.standing_text import stands
from drill.scenario import load_scenarios
from drill.standing import standing
from drill.standing.chances import Chances
from drill.standingrecord import ShootStands, Standing, to_json
from drill.studio import load_studio
from drill.timeline import life

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)


def scenario(name: str, effect: str, **settings: Any) -> Scenario:
    hits = settings.pop("hits", {})
    return Scenario(name, name, "", (Hazard(effect, Selector(**hits), **settings),))


def stand(folder: Path, *scenarios: Scenario, **parts: Any) -> Standing:
    return standing(load_studio(build(folder, Studio(**parts)).file), scenarios, now=NOW)


def of(found: Standing, shoot_id: str) -> ShootStands:
    return next(one for one in found.shoots if one.shoot == shoot_id)


def test_by_hand(tmp_path: Path) -> None:
    found = stand(
        tmp_path / "s",
        scenario("x-gone", "gone", hits={"medium": ("x",)}),
        scenario("rot", "altered", hits={"kind": ("ssd",)}, each="copy", count=1),
        scenario("phones", "gone", hits={"kind": ("phone",)}),
        media=media("x", "y"),
        shoots=(shoot(*FILES), shoot(FILES[0], id="herons")),
        copies=(copy("x", FILES[0], FILES[1], says=True), copy("y", FILES[0], out_of_reach="no at", says=True)),
    )
    assert [one.shoot for one in found.shoots] == ["terns", "herons"]
    terns = of(found, "terns")
    assert (terns.files, terns.on_no_copy, terns.fewest, terns.survivable, terns.weakest) == (3, 1, (), -1, ())
    assert terns.chance.middle == 1.0
    assert [(fall.scenario, fall.variant, fall.lost_files, fall.doubtful_files) for fall in terns.falls] == [
        ("x-gone", None, 1, 0),
        ("rot", "x", 0, 1),
    ]
    herons = of(found, "herons")
    assert (herons.fewest, herons.survivable, herons.falls, herons.falls_short) == (("x", "y"), 1, (), False)
    assert ("medium:x", "medium:y") in herons.weakest and "x broken or lost and y" in herons.weakest_words
    assert found.not_applicable == ("phones",)
    assert found.away == ("y",)
    assert found.falls_short
    total = next(one for one in found.scenarios if one.scenario == "x-gone")
    assert (total.shoots_hit, total.lost_files, total.lost_bytes) == (1, 1, len(FILES[1][1]))


def test_every_event_that_takes_files_alone_is_named(tmp_path: Path) -> None:
    parts: dict[str, Any] = {"media": media("x", "y", attached=False), "shoots": (shoot(*FILES),)}
    found = stand(tmp_path / "s", copies=(copy("x", *FILES),), **parts)
    alone = found.shoots[0].alone
    assert {"x broken or lost", "bytes gone bad unnoticed on x"} <= set(alone) and not any(
        "on y" in one for one in alone
    )
    told = " ".join(laid_out(stands(found), width=80).split())
    assert f"each of these alone takes that: {'; '.join(alone)}" in told
    assert "Where you are today is not known" in told
    both = stand(tmp_path / "t", copies=(copy("x", *FILES), copy("y", *FILES)), **parts).shoots[0]
    assert "x broken or lost" not in both.alone
    gone = stand(tmp_path / "u", copies=(copy("x", FILES[0]),), **parts).shoots[0]
    assert gone.on_no_copy and not gone.alone  # its weakest files need no event any more


def test_what_only_a_fire_at_home_takes_says_when() -> None:
    studio = usual_studio()
    events = dict(Chances(studio, years=1).alone((frozenset({"card", "kiln"}),)))
    assert events.get("place:house") is True and "place:bag" not in events
    assert dict(Chances(studio, years=1).alone((frozenset({"kiln"}),)))["place:house"] is False


def test_the_chance_of_one_medium_and_of_two(tmp_path: Path) -> None:
    """1 - exp(-(the rates of all that hits the one copy)) for one; the product where nothing hits both."""
    parts: dict[str, Any] = {"media": media("x", "y", attached=False), "shoots": (shoot(*FILES),)}
    alone = stand(tmp_path / "s", copies=(copy("x", *FILES),), **parts).shoots[0].chance
    both = stand(tmp_path / "t", copies=(copy("x", *FILES), copy("y", *FILES)), **parts).shoots[0].chance
    per_year = rates(load_studio(tmp_path / "s" / "studio.toml")).per_year
    rate = per_year["medium:x"] + per_year["place:at-x"] + per_year["rot:x"]
    assert alone.middle == pytest.approx(-(2.718281828459045**-rate) + 1)
    assert both.middle == pytest.approx(alone.middle**2)
    assert alone.low < alone.middle < alone.high


def test_a_place_takes_both_and_is_the_worse_of_away_and_at_home(tmp_path: Path) -> None:
    one_bag = {"places": (Place(id="at-x", carried=True),), "shoots": (shoot(*FILES),)}
    first, second = media("x", "y")
    together = (first, type(second)(id="y", place="at-x"))
    apart = stand(tmp_path / "s", media=(first, second), copies=(copy("x", *FILES), copy("y", *FILES)), **one_bag)
    beside = stand(tmp_path / "t", media=together, copies=(copy("x", *FILES), copy("y", *FILES)), **one_bag)
    assert beside.shoots[0].survivable == 0 and beside.shoots[0].weakest == (("place:at-x",),)
    assert beside.shoots[0].chance.middle > 3 * apart.shoots[0].chance.middle


def test_what_a_reading_refuted_is_on_that_copy_no_more(tmp_path: Path) -> None:
    parts: dict[str, Any] = {"media": media("x"), "shoots": (shoot(*FILES),)}
    built = build(tmp_path / "s", Studio(copies=(copy("x", holds=held((FILES[0][0], A[::-1]), *FILES[1:])),), **parts))
    studio = load_studio(built.file)
    with Ledger.open(studio.ledger) as ledger:
        rehearse(studio, [scenario("slow", "slow", factor=0.5)], Options(seed=1, now=NOW, ledger=ledger))
    assert standing(studio, [], now=NOW).shoots[0].on_no_copy == 0
    with Ledger.read(studio.ledger) as ledger:
        assert standing(studio, [], now=NOW, ledger=ledger).shoots[0].on_no_copy == 1


def test_on_paper_and_in_the_drill(tmp_path: Path) -> None:
    """Over sound copies with lists: what is lost on paper is lost in the drill, and what the drill loses was lost or in
    doubt on paper, in every shipped scenario."""
    copies: tuple[Copy, ...] = (
        copy("card", FILES[0], says=True),
        copy("tablet", FILES[0], says=True),
        copy("kiln", FILES[1], form=".zip", says=True),
        copy("cloud", FILES[2], says=True, out_of_reach="no at"),
    )
    kinds = {"card": "card", "tablet": "tablet", "kiln": "hard-disk", "cloud": "cloud"}
    plain = tuple(type(m)(id=m.id, kind=kinds[m.id], place=p) for m, p in zip(media(*kinds), "bbhc", strict=True))
    places = (Place(id="b", carried=True), Place(id="h"))
    built = build(tmp_path / "s", Studio(media=plain, shoots=(shoot(*FILES),), copies=copies, places=places))
    studio, scenarios = load_studio(built.file), load_scenarios([])
    found = standing(studio, scenarios, now=NOW)
    falls = {(fall.scenario, fall.variant): fall for fall in found.shoots[0].falls}
    record = rehearse(studio, scenarios, Options(seed=3, now=NOW))
    assert record.drills and len(falls) > 5
    for drill in record.drills:
        fall = falls.get((drill.scenario, drill.variant))
        lost, doubtful = (fall.lost_files, fall.doubtful_files) if fall else (0, 0)
        assert lost <= drill.files.lost <= lost + doubtful, (drill.scenario, drill.variant)


def test_the_text(tmp_path: Path) -> None:
    found = stand(
        tmp_path / "s",
        scenario("x-gone", "gone", hits={"medium": ("x",)}),
        scenario("rot", "altered", each="copy", count=1),
        media=media("x", "y"),
        shoots=(shoot(*FILES), shoot(FILES[0], id="herons")),
        copies=(copy("x", *FILES), copy("y", FILES[0])),
    )
    text = laid_out(stands(found), width=100)
    assert "Of 2 shoots, 1 would lose pictures in one of the scenarios tried. Most in danger: terns" in text
    assert "each of these alone takes that: x broken or lost" in " ".join(text.split())
    assert "safe" not in text
    assert all(len(line) <= 100 for line in text.splitlines())
    assert to_json(found)["shoots"][0]["falls"][0]["lost_files"] == 2


def test_nothing_to_stand(tmp_path: Path) -> None:
    found = standing(load_studio(_empty(tmp_path)), load_scenarios([]), now=NOW)
    assert not found.shoots and not found.falls_short
    assert "no shoot in the studio file yet" in laid_out(stands(found), width=80)


def _empty(folder: Path) -> Path:
    path = folder / "studio.toml"
    path.write_text('shoots = []\n[studio]\nname = "Reed"\n[[media]]\nid = "card"\nkind = "card"\nplace = "bag"\n')
    return path


def test_the_chance_is_that_of_a_year_without_steps() -> None:
    """The engine of the forecast comes to the same, for a shoot on these media with which nothing is ever done."""
    whole = usual_studio()
    for on in (("kiln",), ("computer", "kiln"), ("kiln", "heron", "cloud"), ("computer", "kiln", "heron", "cloud")):
        assert whole.scheme is not None
        still = replace(whole, scheme=replace(whole.scheme, made_on=on, steps=(), replaced_within_s=NEVER_S))
        lived = life(still, date(2026, 3, 2), away=False, until=moment_after(still, 365.25 * 86400))
        exactly = odds(lived, still, rates(still), [lived.until]).lost[0]
        assert Chances(still, years=1).of((frozenset(on),)).middle == pytest.approx(exactly, rel=1e-5)


def moment_after(studio: Any, span_s: float) -> datetime:
    begins = life(studio, date(2026, 3, 2), away=False, until=datetime(2027, 3, 2, tzinfo=UTC)).begins
    return begins + timedelta(seconds=span_s)
