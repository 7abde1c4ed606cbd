"""The same life solved instead of played: how likely each combination of statuses is, exactly.

Between acts the statuses are a Markov chain in continuous time. It is followed by uniformization (A. Jensen, "Markoff
chains as an aid in the study of Markoff processes", 1953; from memory): the number of events in a stretch is Poisson,
and each event is one of them by its share of all rates. So it needs no word on whether events commute, or on what a
stretch as a whole does to a medium, which the program's own engine is built on.
"""

from collections import defaultdict
from datetime import datetime
from math import exp

from .blows import YEAR_S
from .play import Stage
from .statuses import Statuses, at_first, is_lost

LEAST = 1e-15  # a chance that is left out
Chances = dict[Statuses, float]


def chances_at(stage: Stage, moment: datetime) -> Chances:
    """Return how likely which statuses are at a moment, after all that happens at it."""
    chances: Chances = {at_first(stage.studio): 1.0}
    cuts = [(stage.seconds(stage.days.home_at), -1), *((at_s, number) for number, at_s in enumerate(stage.at_s))]
    end_s, now_s = stage.seconds(moment), 0.0
    for at_s, number in sorted(cut for cut in cuts if cut[0] <= end_s):
        chances = _waited(stage, chances, now_s, at_s)
        now_s = at_s
        if number >= 0:
            chances = _acted(stage, chances, number)
    return _waited(stage, chances, now_s, end_s)


def lost_by(stage: Stage, moment: datetime) -> float:
    """Return how likely the shoot is lost by a moment."""
    return sum(chance for statuses, chance in chances_at(stage, moment).items() if is_lost(statuses))


def _acted(stage: Stage, chances: Chances, number: int) -> Chances:
    step = stage.days.acts[number].step
    done = 1.0 if step is None else step.done
    after: Chances = defaultdict(float)
    for statuses, chance in chances.items():
        after[stage.after_act(number, statuses)] += chance * done
        if done < 1:
            after[statuses] += chance * (1 - done)
    return after


def _waited(stage: Stage, chances: Chances, since_s: float, until_s: float) -> Chances:
    rates = {event: rate / YEAR_S for event, rate in stage.rates.items() if rate > 0}
    every = sum(rates.values())
    expected = every * (until_s - since_s)
    if expected <= 0:
        return chances
    weight, left, count = exp(-expected), 1.0, 0
    after: Chances = defaultdict(float)
    while left > LEAST:
        for statuses, chance in chances.items():
            after[statuses] += weight * chance
        left, count = left - weight, count + 1
        if count > expected and weight < LEAST:
            break
        weight *= expected / count
        chances = _struck_once(stage, chances, rates, since_s)
    return after


def _struck_once(stage: Stage, chances: Chances, rates: dict[str, float], since_s: float) -> Chances:
    every = sum(rates.values())
    after: Chances = defaultdict(float)
    for statuses, chance in chances.items():
        for event, rate in rates.items():
            after[stage.struck(event, since_s, statuses)] += chance * rate / every
    return after
