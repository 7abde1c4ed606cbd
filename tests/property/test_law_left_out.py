"""What is left out of the odds is no less than what it could have come to.

A rough reckoning leaves out whatever a bound says matters little; a fine one leaves out next to nothing. The fine one
has to lie between what the rough one found lost and what it says that may be at most, at every mark.
"""

from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from drill.odds import Rates, odds, rates
from drill.testing.draft import DAYS, Draft
from drill.testing.strategies import schemes
from drill.timeline import life

ROUNDING = 1e-9


@settings(max_examples=max(1, settings.default.max_examples // 3))
@given(schemes(), st.sampled_from(DAYS), st.booleans(), st.sampled_from([0.02, 0.2, 1.0]), st.sampled_from([4, 20, 90]))
def test_the_truth_lies_between(draft: Draft, day: date, away: bool, gentler: float, weeks: int) -> None:
    studio = draft.load()
    begins = life(studio, day, away=away).begins
    lived = life(studio, day, away=away, until=begins + timedelta(weeks=weeks))
    marks = [begins + timedelta(weeks=weeks) / n for n in (8, 2, 1)]
    happens = Rates({event: rate * gentler for event, rate in rates(studio).per_year.items()}, {})
    fine = odds(lived, studio, happens, marks, precision=1e-9)
    for precision in (0.05, 0.5, 1e4):
        rough = odds(lived, studio, happens, marks, precision=precision)
        for lost, least, most in zip(fine.lost, rough.lost, rough.at_most, strict=True):
            assert least <= lost + fine.left_out + ROUNDING
            assert lost <= most + ROUNDING
