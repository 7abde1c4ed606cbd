"""The odds: closed forms on the smallest schemes, each rule of the statuses, and words that never promise too much."""

from datetime import date, datetime, timedelta
from math import expm1

import pytest

from drill.model import Studio
from drill.odds import Rates, odds
from drill.timeline import Life, life
from tests.shared.schemes import (
    NEVER_S,
    YEAR_S,
    medium,
    studio,
)

FRIDAY = date(2026, 9, 11)


def after(found: Life, years: float) -> datetime:
    return found.begins + timedelta(seconds=years * YEAR_S)


def only(**per_year: float) -> Rates:
    """Return rates where nothing else happens; "_" stands for ":" in names of events."""
    return Rates({event.replace("_", ":", 1): rate for event, rate in per_year.items()}, {})


def lost_by(of: Studio, happens: Rates, years: float, *, away: bool = False) -> float:
    found = life(of, FRIDAY, away=away)
    return odds(found, of, happens, [after(found, years)]).lost[0]


def test_one_medium_alone_is_lost_when_it_fails() -> None:
    one = studio([medium("kiln")], [], ["kiln"])
    assert lost_by(one, only(medium_kiln=0.2), 3.0) == pytest.approx(-expm1(-0.6), rel=1e-9)


def test_two_media_are_lost_when_both_have_failed() -> None:
    two = studio([medium("kiln"), medium("reed")], [], ["kiln", "reed"], replaced_within_s=NEVER_S)
    happens = only(medium_kiln=0.2, medium_reed=0.5)
    assert lost_by(two, happens, 3.0) == pytest.approx(expm1(-0.6) * expm1(-1.5), rel=1e-6)
