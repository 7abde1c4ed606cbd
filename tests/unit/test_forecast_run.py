"""The conductor of a forecast on the schemes that are shipped, and the engine under the name that people know."""

import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache
from itertools import pairwise
from math import isclose

import pytest

from drill.errors import Mistakes
from drill.forecast import importance, minimal_cut_sets, probability
from drill.forecast.run import Options, forecast
from drill.forecastrecord import Forecast
from drill.report.forecast_text import forecast_text
from drill.scenario import load_scenarios, scheme_path, shipped_schemes
from drill.studio import load_studio

NOW = datetime(2026, 11, 26, 8, tzinfo=UTC)


@cache  # a forecast takes a second, and is only looked at
def told(name: str, *scenarios: str, day: date = date(2026, 11, 27)) -> Forecast:
    studio = load_studio(scheme_path(name))
    return forecast(studio, load_scenarios(scenarios), Options(started=NOW, now=NOW, day=day))


SLOW = {"checked-and-early", "home-archive-monthly-upload"}  # ten years of many steps take their time


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.deep if name in SLOW else ()) for name in shipped_schemes()]
)
def test_a_shipped_scheme_is_told_without_gaps(name: str) -> None:
    found = told(name, "stolen-bag", "house-fire")
    assert [life.away for life in found.lives] == [True, False]
    for life in found.lives:
        assert life.stages[0].begins_s == 0 and life.settled == len(life.stages) - 1
        assert all(one.ends_s == other.begins_s for one, other in pairwise(life.stages))
        assert life.stages[life.worst].survivable == min(stage.survivable for stage in life.stages)
        for band in life.bands:
            assert band.stretches[0].begins_s == 0 and band.stretches[-1].ends_s == life.stages[-1].ends_s
            assert all(one.ends_s == other.begins_s for one, other in pairwise(band.stretches))
    for chance in found.chances:
        assert 0 <= chance.low <= chance.middle <= chance.high <= 1
    for day in found.days:
        assert day.best_s <= day.worst_s
    for width in (60, 80, 120):
        text = forecast_text(found, width=width)
        assert max(map(len, text.splitlines())) <= width and " safe" not in text.lower()


@pytest.mark.parametrize("day", [date(9899, 12, 31), date(1, 1, 1)])
def test_a_day_too_near_an_end_of_the_calendar_is_told(day: date) -> None:
    studio = load_studio(scheme_path("card-and-tablet"))
    assert studio.scheme is not None
    late = tuple(replace(step, after_s=100 * 365.25 * 86400.0) for step in studio.scheme.steps)
    studio = replace(studio, scheme=replace(studio.scheme, steps=late, away_for_s=100 * 365.25 * 86400.0))
    with pytest.raises(Mistakes, match=f"--day: {day}: .* is too near an end of the calendar"):
        forecast(studio, (), Options(started=NOW, now=NOW, day=day))


def test_card_and_tablet_alone_are_not_enough() -> None:
    """Common practice, no source: two copies in one bag are one theft away from none."""
    found = told("card-and-tablet", "stolen-bag")
    assert found.falls_short
    away = found.lives[0]
    assert [band.stretches[-1].outcome for band in away.bands] == ["lost"]
    assert ("place:bag",) in away.stages[away.settled].cut_sets


@pytest.mark.deep  # as many steps as in SLOW
def test_a_fire_that_takes_the_cloud_with_the_phone_it_needs_says_why() -> None:
    studio = load_studio(scheme_path("home-archive-monthly-upload"))
    phone = replace(studio.media["archive-a"], id="phone", kind="phone")
    cloud = replace(studio.media["cloud"], needs=("phone",))
    studio = replace(studio, media={**studio.media, "phone": phone, "cloud": cloud})
    found = forecast(studio, load_scenarios(["house-fire"]), Options(NOW, NOW, date(2026, 11, 27), away=(True,)))
    why = "fire or burglary at house (cloud too, as it needs phone, which is there)"
    assert f"at last by {why}" in found.verdict
    assert why in " ".join(forecast_text(found).split())


@pytest.mark.deep  # as many steps as in SLOW
def test_a_monthly_upload_leaves_up_to_a_month_without_a_copy_off_site() -> None:
    """Common practice, no source: what is uploaded on the first waits up to 31 days, and then for the upload itself."""
    found = told("home-archive-monthly-upload", "stolen-bag", "house-fire")
    day = next(one for one in found.days if one.what == "nothing of it is off-site" and not one.away)
    assert 30 * 86400 < day.worst_s < 33 * 86400


def test_a_target_is_judged_by_the_worst_day_whichever_is_shown() -> None:
    kept = [
        tuple(
            (target.name, target.met, target.day)
            for target in told("third-copy-in-the-field", day=day).lives[0].targets
        )
        for day in (date(2026, 11, 27), date(2026, 12, 15))
    ]
    assert {name for name, _, _ in kept[0]} == {name for name, _, _ in kept[1]}
    assert [met for _, met, _ in kept[0]] == [met for _, met, _ in kept[1]]


def test_the_engine_by_the_names_that_people_know() -> None:
    """Two out of three, by hand: 3 p² (1 - p) + p³ = 0.028 at p = 0.1."""
    gates = {"top": (2, ["a", "b", "c"])}
    chance = dict.fromkeys("abc", 0.1)
    assert minimal_cut_sets("top", gates) == {frozenset("ab"), frozenset("ac"), frozenset("bc")}
    assert isclose(probability("top", gates, chance), 0.028)
    assert isclose(importance("top", gates, chance)["a"].birnbaum, 0.18)


def test_the_engine_alone_loads_nothing_of_studios_and_calendars() -> None:
    asked = "import sys; from drill.forecast import minimal_cut_sets, probability, importance; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", asked], check=True, capture_output=True, text=True).stdout.split()
    rooms = {name.split(".")[1] for name in loaded if name.startswith("drill.")}
    assert rooms <= {"forecast", "faulttree", "errors"}
