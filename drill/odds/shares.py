"""How much of the risk is each event's.

Flows in: a life, its studio, rates, a moment. Flows out: for each event the part of the chance of loss that would not
be there if it never happened. Must not know: words. What takes two events to lose is counted with both, so the parts
add up to more than the whole.
"""

from collections.abc import Mapping
from datetime import datetime

from drill.model import Studio
from drill.odds.engine import odds_at
from drill.odds.published import Rates, without
from drill.timeline import Life

_PRECISION = 1e-3


def shares(life: Life, studio: Studio, rates: Rates, mark: datetime) -> Mapping[str, float]:
    """Return the part of P(lost by `mark`) that each event has, the biggest first; an event that has none is left out.

    One reckoning for each event with a rate, to a thousandth of the whole.
    """
    events = [event for event, rate in rates.per_year.items() if rate > 0]
    worlds = [rates, *(without(rates, event) for event in events)]
    whole, *rests = odds_at(life, studio, worlds, [mark], precision=_PRECISION)
    found: dict[str, float] = {}
    for event, rest in zip(events, rests, strict=True):
        less = whole.lost[0] - rest.lost[0]
        if less > whole.left_out + rest.left_out:  # less than that may come of what was left out
            found[event] = less
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))
