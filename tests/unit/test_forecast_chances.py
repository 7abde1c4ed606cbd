"""Of which shoots the odds are told: the worst and the best day by the middle rates, ten years of the worst of all."""

from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache

import pytest
from forecasted import forecast as by_hand

from drill.forecast.advised import with_advice
from drill.forecast.chances import later, ranked
from drill.forecast.run import Options, forecast
from drill.forecastrecord import Chance, Forecast
from drill.model import Studio
from drill.scenario import scheme_path
from drill.studio import load_studio

NOW = datetime(2026, 11, 26, 8, tzinfo=UTC)
ONE = replace(by_hand().chances[0], which="any day")


def of(day: str, middle: float) -> Chance:
    return replace(ONE, day=day, low=middle / 3, middle=middle, high=middle * 3)


@cache
def card_and_tablet() -> tuple[Studio, Forecast]:
    studio = load_studio(scheme_path("card-and-tablet"))
    return studio, forecast(studio, (), Options(started=NOW, now=NOW, day=date(2026, 11, 27)))


@pytest.mark.parametrize(
    ("middles", "said"),
    [
        ((0.002, 0.001), [("worst day", "a"), ("best day", "b")]),
        ((0.001, 0.002), [("worst day", "b"), ("best day", "a")]),
        ((0.002, 0.001995), [("any day", "a")]),
        ((0.001995, 0.002), [("any day", "a")]),
        ((0.0, 0.0), [("any day", "a")]),
    ],
)
def test_the_worst_day_is_the_likelier_loss(middles: tuple[float, float], said: list[tuple[str, str]]) -> None:
    assert [(one.which, one.day) for one in ranked([of("a", middles[0]), of("b", middles[1])])] == said


def test_a_shoot_is_never_less_likely_lost_in_more_years() -> None:
    then = later(replace(of("a", 0.002), which="worst day"), replace(of("a", 0.001999), years=10))
    assert (then.which, then.years, then.middle) == ("worst day", 10, 0.002)


def test_ten_years_and_advice_are_of_the_shoot_that_is_likeliest_lost_here_one_at_home() -> None:
    studio, found = card_and_tablet()
    first = {one.away: one.middle for one in found.chances if one.years == 1}
    assert first[False] > first[True]
    assert [one.away for one in found.chances if one.years == 10] == [False]
    advised = with_advice(found, studio).advice
    assert advised is not None and not advised.away
