"""What a state matters at most: never below the chance that the engine itself finds, and not far above it."""

from datetime import date, timedelta
from math import expm1

import pytest
from schemes import DAY_S, HOUR_S, QUARTERLY, YEAR_S, medium, step, studio

from drill.model import Rhythm
from drill.odds import Rates, odds
from drill.odds.bound import Hazard, bound_for
from drill.odds.course import checks_s
from drill.timeline import life

DAY = date(2026, 9, 11)
TWO = (medium("kiln"), medium("reed"))
KILN, REED = 0b01, 0b0100  # lower bits: both are good in the state KILN | REED
YEARS, RATE, REPLACED = 8.0, 0.05, 30 * DAY_S / YEAR_S
DONE = 0.5
CHECKS = [step(f"check-{name}", "verify", None, name, rhythm=QUARTERLY, done=DONE) for name in ("kiln", "reed")]


def checked_years() -> float:
    """Return for how long bytes that changed are reckoned to stay so."""
    found = life(studio(TWO, CHECKS, ["kiln", "reed"]), DAY, away=False)
    (longest_s,) = set(checks_s(found, found.begins + timedelta(seconds=YEARS * YEAR_S)).values())
    return longest_s / YEAR_S


def lost(rates: dict[str, float]) -> float:
    of = studio(TWO, CHECKS, ["kiln", "reed"])
    found = life(of, DAY, away=False)
    return odds(found, of, Rates(rates, {}), [found.begins + timedelta(seconds=YEARS * YEAR_S)]).lost[0]


def test_what_fails_is_bad_for_a_replacement_at_most() -> None:
    bound = bound_for([Hazard(KILN, RATE, REPLACED), Hazard(REED, RATE, REPLACED)], 0, YEARS, REPLACED)
    true = lost({"medium:kiln": RATE, "medium:reed": RATE})
    assert true <= bound[KILN | REED] <= 5 * true  # both within two replacements: four times as likely as within one


def test_what_rots_is_bad_until_it_is_checked() -> None:
    bound = bound_for([Hazard(KILN, RATE, checked_years()), Hazard(REED, RATE, checked_years())], 0, YEARS, REPLACED)
    true = lost({"rot:kiln": RATE, "rot:reed": RATE})
    assert true <= bound[KILN | REED] <= 15 * true


def test_what_is_mended_by_nothing_is_bad_from_then_on() -> None:
    bound = bound_for([Hazard(KILN, RATE, YEARS), Hazard(REED, RATE, YEARS)], 0, YEARS, 10 * YEARS)
    of = studio(TWO, [], ["kiln", "reed"])
    found = life(of, DAY, away=False)
    end = found.begins + timedelta(seconds=YEARS * YEAR_S)
    true = odds(found, of, Rates({"rot:kiln": RATE, "rot:reed": RATE}, {}), [end]).lost[0]
    assert bound[KILN | REED] == pytest.approx(true, rel=1e-9)


def test_a_failed_medium_counts_again_after_its_replacement() -> None:
    hazards = [Hazard(KILN, RATE, REPLACED), Hazard(REED, RATE, REPLACED)]
    failed = KILN | 3 * REED
    assert bound_for(hazards, 0, YEARS, REPLACED)[failed] < bound_for(hazards, REED, YEARS, REPLACED)[failed]
    assert bound_for(hazards, REED, YEARS, REPLACED)[failed] >= -expm1(-RATE * YEARS)  # alone for eight years


@pytest.mark.parametrize(("done", "longest_days"), [(1.0, 365), (0.25, 4 * 365)])
def test_the_longest_time_without_a_check(done: float, longest_days: float) -> None:
    yearly = Rhythm("year", (911,), 9 * HOUR_S)
    guarded = step("guarded", "verify", None, "reed", rhythm=QUARTERLY, only_once_on=("kiln",))
    of = studio(TWO, [step("check", "verify", None, "kiln", rhythm=yearly, done=done), guarded], ["kiln", "reed"])
    found = life(of, DAY, away=False)
    told = checks_s(found, found.begins + timedelta(days=3 * 365))
    assert told == {"kiln": pytest.approx(longest_days * DAY_S, rel=0.005)}
