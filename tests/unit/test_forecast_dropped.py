"""A plan that itself lets go of the last copy: it is the first thing said, and it falls short, whichever day is
shown."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from drill.forecast.run import Options, forecast
from drill.forecastrecord import Forecast
from drill.report.forecast_text import forecast_text
from drill.scenario import load_scenarios
from drill.studio import load_studio

NOW = datetime(2026, 6, 1, 8, tzinfo=UTC)
PLAN = """
shoots = []
[studio]
name = "Reed"
[[media]]
id = "card"
kind = "card"
place = "bag"
[[media]]
id = "cloud"
kind = "cloud"
place = "far"
[scheme]
made_on = ["card"]
zone = "UTC"
[[steps]]
id = "upload"
do = "copy"
from = "card"
to = "cloud"
every = "month"
[[steps]]
id = "format"
do = "erase"
from = "card"
after = "20 days"
"""


def told(folder: Path, *scenarios: str, plan: str = PLAN, away: tuple[bool, ...] = (True, False)) -> Forecast:
    """Return the forecast of a shoot of 20 June, which the upload of 1 July reaches before its card is formatted."""
    (folder / "studio.toml").write_text(plan, encoding="utf-8")
    studio = load_studio(folder / "studio.toml")
    options = Options(started=NOW, now=NOW, day=date(2026, 6, 20), away=away)
    return forecast(studio, load_scenarios(scenarios), options)


def test_a_card_formatted_before_the_upload_is_told_though_the_day_shown_is_fine(tmp_path: Path) -> None:
    """By hand: of 1 July 09:00 the upload of 1 July 12:00 comes before its end at 18:00 and has nothing to follow; the
    card goes on 21 July, the next upload comes on 1 August."""
    found = told(tmp_path, "lost-tablet", away=(False,))
    assert found.lives[0].stages[-1].copies, "the shoot that is shown keeps a copy"
    assert found.verdict.startswith("The plan itself loses shoots made at home on some days: of one made on 2026-07-01")
    assert "no copy is left after 20 days" in found.verdict and "safe" not in found.verdict
    assert found.falls_short
    guarded = PLAN + 'only_once_on = ["cloud"]\nagain = "7 days"\n'
    kept = told(tmp_path, "lost-tablet", plan=guarded, away=(False,))
    assert not kept.falls_short and "The plan itself" not in kept.verdict


@pytest.mark.parametrize("scenario", ["silent-rot", "dead-card"])
def test_what_has_no_copy_any_more_is_not_held(scenario: str, tmp_path: Path) -> None:
    found = told(tmp_path, scenario, plan=PLAN.replace('every = "month"', 'every = "year"'))
    assert "The plan itself loses shoots made away or at home on some days" in found.verdict
    for life in found.lives:
        assert not life.stages[-1].copies
        assert {band.stretches[-1].outcome for band in life.bands} == {"lost"}
    text = " ".join(forecast_text(found).split())
    assert "no copy of it is left" in text and "then held" not in text


def test_one_attack_that_takes_all_is_named_where_no_failure_does(tmp_path: Path) -> None:
    plan = PLAN.partition("[scheme]")[0].replace('kind = "c', 'attached = true\nkind = "c')
    plan += (
        '[scheme]\nmade_on = ["card", "cloud"]\n[[steps]]\nid = "check"\ndo = "verify"\nto = "card"\nafter = "1 h"\n'
    )
    verdict = told(tmp_path, "dead-card", plan=plan).verdict
    assert verdict.startswith("No single failure of a medium, a place or an account takes a shoot at any moment")
    assert "one alone can still take it to the end (malicious encryption of all that is attached)" in verdict


def test_a_studio_where_nothing_ever_happens_is_told_all_the_same(tmp_path: Path) -> None:
    plan = PLAN.replace('place = "', 'fails_per_year = 0\nplace = "')
    plan += "[risks]\n" + "\n".join(f"{name} = 0" for name in ("theft", "fire", "lockout", "deletion", "attack", "rot"))
    found = told(tmp_path, "dead-card", plan=plan.replace('every = "month"', 'every = "day"'))
    assert any(weight.raw is None for told in found.weights for weight in told.events)
    assert "no end" in forecast_text(found, measures=True)
