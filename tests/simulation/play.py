"""A shoot's life played out: steps forgotten by the dice, events after exponential waiting times.

The same seed gives the same life. Steps and events that change nothing are passed over without a throw: what is not
looked at needs no dice, as each throw is independent of the others.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import accumulate
from random import Random

from drill.model import Studio

from .blows import YEAR_S, after_blow, rates_of
from .days import Act, Days, days_of
from .planned import planned_before
from .statuses import Statuses, after_replacement, after_step, at_first, is_lost

Outcome = Callable[[Act], bool]  # whether this instant of a step is done


@dataclass(frozen=True, slots=True)
class Course:
    """How one life went: the statuses from each moment at which they changed, and when it was lost, if ever."""

    changes: tuple[tuple[datetime, Statuses], ...]
    lost_at: datetime | None

    def at(self, moment: datetime) -> Statuses:
        """Return the statuses at a moment, after all that happens at it."""
        return [statuses for since, statuses in self.changes if since <= moment][-1]


@dataclass(slots=True)
class Stage:
    """A shoot's days and what they hold in store, with what was worked out before kept for the next life."""

    studio: Studio
    days: Days
    rates: dict[str, float]
    planned: list[frozenset[str]] = field(init=False)
    at_s: list[float] = field(init=False)
    _after: dict[tuple[int, Statuses], Statuses] = field(init=False, default_factory=dict)
    _next: dict[tuple[int, Statuses], int] = field(init=False, default_factory=dict)
    _struck: dict[tuple[str, bool, Statuses], Statuses] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.planned = planned_before(self.studio, self.days)
        self.at_s = [self.seconds(act.at) for act in self.days.acts]

    def seconds(self, moment: datetime) -> float:
        """Return how long after the first picture a moment is."""
        return (moment - self.days.begins).total_seconds()

    def after_act(self, number: int, statuses: Statuses) -> Statuses:
        """Return the statuses after an act that is done."""
        key = number, statuses
        if key not in self._after:
            step, planned = self.days.acts[number].step, self.planned[number]
            if step is None:
                self._after[key] = after_replacement(self.studio, statuses, planned)
            else:
                self._after[key] = after_step(self.studio, step, statuses, planned)
        return self._after[key]

    def next_act(self, number: int, statuses: Statuses) -> int:
        """Return the first act from `number` on that would change these statuses, or how many acts there are."""
        key, here = (number, statuses), number
        if key not in self._next:
            while here < len(self.at_s) and self.after_act(here, statuses) == statuses:
                here += 1
            self._next[key] = here
        return self._next[key]

    def struck(self, event: str, after_s: float, statuses: Statuses) -> Statuses:
        """Return the statuses after an event so long after the first picture."""
        key = event, after_s < self.seconds(self.days.home_at), statuses
        if key not in self._struck:
            self._struck[key] = after_blow(self.studio, event, statuses, away=key[1])
        return self._struck[key]


def stage(
    studio: Studio, day: date, *, away: bool, until: datetime | None = None, rates: dict[str, float] | None = None
) -> Stage:
    """Set up a shoot's life; `rates` by event and year, the studio file's where left out."""
    return Stage(studio, days_of(studio, day, away=away, until=until), rates_of(studio) if rates is None else rates)


def simulate(
    studio: Studio,
    day: date,
    *,
    away: bool,
    until: datetime | None = None,
    seed: int = 0,
    chances: bool = True,
    outcome: Outcome | None = None,
) -> Course:
    """Play one life. Without `chances` nothing goes wrong, and every step is done unless `outcome` says it is not."""
    rates = None if chances else {}
    told = outcome or (None if chances else _always)
    return play(stage(studio, day, away=away, until=until, rates=rates), Random(seed), told)


def _always(_: Act) -> bool:
    return True


def play(stage: Stage, dice: Random, outcome: Outcome | None = None) -> Course:
    """Play one life; a step is done as `outcome` says, else as the dice fall."""
    changes = [(0.0, at_first(stage.studio))]
    end_s = stage.seconds(stage.days.until)
    waits = _Waits(stage.rates, dice)
    number, (event_s, event) = 0, waits.following(0.0)
    while True:
        statuses = changes[-1][1]
        number = stage.next_act(number, statuses)
        act_s = stage.at_s[number] if number < len(stage.at_s) else end_s + 1
        if min(act_s, event_s) > end_s:
            break
        if event_s < act_s:
            after, now_s = stage.struck(event, event_s, statuses), event_s
            number = bisect_right(stage.at_s, now_s)
            event_s, event = waits.following(now_s)
        else:
            after, now_s = statuses, act_s
            if _is_done(stage.days.acts[number], dice, outcome):
                after = stage.after_act(number, statuses)
            number += 1
        if after != statuses:
            changes.append((now_s, after))
    lost_s = next((since_s for since_s, statuses in changes if is_lost(statuses)), None)
    begins = stage.days.begins
    told = tuple((begins + timedelta(seconds=since_s), statuses) for since_s, statuses in changes)
    return Course(told, None if lost_s is None else begins + timedelta(seconds=lost_s))


def _is_done(act: Act, dice: Random, outcome: Outcome | None) -> bool:
    if act.step is None:
        return True
    return outcome(act) if outcome else act.step.done == 1 or dice.random() < act.step.done


class _Waits:
    """Events one after the other: the wait for the next of any, then which one it is."""

    def __init__(self, rates: dict[str, float], dice: Random) -> None:
        self._names = [event for event, rate in rates.items() if rate > 0]
        self._sums = list(accumulate(rates[event] / YEAR_S for event in self._names))
        self._dice = dice

    def following(self, now_s: float) -> tuple[float, str]:
        if not self._names:
            return float("inf"), ""
        wait_s = self._dice.expovariate(self._sums[-1])
        return now_s + wait_s, self._dice.choices(self._names, cum_weights=self._sums)[0]


@dataclass(frozen=True, slots=True)
class Tally:
    """What many lives came to: how many were lost by each mark, and how many had which statuses at a moment."""

    runs: int
    lost: tuple[int, ...]
    seen: Counter[Statuses]


def tally(stage: Stage, *, runs: int, seed: int, marks: Sequence[datetime], at: datetime) -> Tally:
    """Play many lives, all from one seed."""
    dice = Random(seed)
    lost, seen = [0] * len(marks), Counter[Statuses]()
    for _ in range(runs):
        course = play(stage, dice)
        seen[course.at(at)] += 1
        for number, mark in enumerate(marks):
            lost[number] += course.lost_at is not None and course.lost_at <= mark
    return Tally(runs, tuple(lost), seen)
