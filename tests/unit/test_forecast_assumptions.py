"""What a forecast reckons with, in sentences: the hours of a shoot, what is forgotten, how long steps last."""

from dataclasses import replace

from schemes import HOUR_S, medium, step, studio

from drill.forecast.saying import assumptions
from drill.model import Step

CARD = medium("card", "card", place="bag", carried=True)
SKY = medium("sky", "cloud", place="provider", offsite=True)
UP = step("up", "copy", "card", "sky", takes_s=None)


def told(*steps: Step, sky_bps: float | None = None, **more: object) -> str:
    one = studio([CARD, replace(SKY, reads_at_bps=sky_bps)], steps, ["card"], **more)
    assert one.scheme is not None
    return " ".join(assumptions(one, one.scheme, size=60_000_000_000, files=1500))


def test_how_long_a_step_lasts_and_by_which_rates() -> None:
    """1,500 files of 0.2 s each and 60 GB at 10 MB/s: 6,300 s."""
    said = told(UP)
    assert "slower medium needs: up 1 h 45 min." in said
    assert "card 80 MB/s, cloud 10 MB/s." in said and "An upload is often far slower: give it takes." in said
    own = told(UP, sky_bps=5e6)
    assert "up 3 h 25 min" in own and "both ways (round figures): card 80 MB/s." in own
    assert "slower medium" not in told(replace(UP, takes_s=HOUR_S), step("wipe", "erase", "card", takes_s=None))


def test_forgetting_is_said_to_be_in_the_odds_alone() -> None:
    assert "none is ever forgotten" in told(UP)
    said = told(replace(UP, done=0.85))
    assert "That a step may be forgotten is in the odds alone (up 85 % of the times)" in said


def test_a_shoot_past_midnight() -> None:
    assert "made from 14:00 to 02:00 the next day (Europe/Lisbon)" in told(UP, begins_s=14 * HOUR_S, ends_s=26 * HOUR_S)
    assert "made from 09:00 to 18:00 (Europe/Lisbon)" in told(UP)
