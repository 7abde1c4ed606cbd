"""Price: what a change costs a year, in money and in minutes of a person's attention.

Flows in: a studio before and after a change. Flows out: money, minutes. Must not know: what the change is good for.
A medium costs what its kind costs to buy, spread over the years it lasts, and what its kind costs each year. A step
with a rhythm costs its minutes each time that comes, whatever was shot; any other its minutes with every shoot.
"""

from collections.abc import Iterable

from drill.model import Costs, Rhythm, Step, Studio
from drill.units import YEAR_S

USUAL_SHOOTS = 26  # a year, where the studio file names none: every other week; a round figure, no source
_TIMES = {"day": 365, "week": 52, "month": 12, "quarter": 4, "year": 1}


def shoots_a_year(studio: Studio) -> tuple[int, bool]:
    """Return how many shoots a year brings, and whether the studio file says so: those of the year before its last."""
    dates = [shoot.date.toordinal() for shoot in studio.shoots]
    if not dates:
        return USUAL_SHOOTS, False
    last = max(dates)
    return sum(last - day < 365 for day in dates), True


def money_a_year(before: Studio, after: Studio, costs: Costs) -> float | None:
    """Return what the media that are new, or of another kind, cost a year; None where one has no price."""
    total = 0.0
    for id_, medium in after.media.items():
        old = before.media.get(id_)
        if old is not None and old.kind == medium.kind:
            continue
        if medium.kind not in costs.buy and medium.kind not in costs.yearly:
            return None
        total += costs.buy.get(medium.kind, 0.0) * YEAR_S / costs.lasts_s + costs.yearly.get(medium.kind, 0.0)
    return total


def minutes_a_year(steps: Iterable[Step], shoots: int) -> float:
    """Return the minutes that steps ask for in a year."""
    return sum(step.minutes * (_times(step.rhythm) if step.rhythm else shoots) for step in steps)


def _times(rhythm: Rhythm) -> int:
    return _TIMES[rhythm.every] * max(1, len(rhythm.on))
