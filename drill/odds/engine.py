"""The exact engine: a distribution over the states of all media, taken from stop to stop.

Flows in: a life, its studio, rates, the moments that are asked about. Flows out: the probability that the shoot is lost by
each of them. Must not know: words, advice.

- Within a stretch each event has happened with q = 1 - exp(-rate × years), a year 365.25 days. Statuses only get worse
  there, so it does not matter how often, or in which order.
- The shoot is lost once no medium is good, at the end of a stretch or by a step, and stays so. What is asked for a moment
  counts what is done at that very moment too.
- States that hardly matter are left out: those whose probability × a bound on what can still come of them (`bound`)
  is least. All that was left out is summed, and stays under 1e-12, or a millionth of the loss found so far where that is
  more. The truth lies between `lost` and `lost + left_out`, but for rounding.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import expm1

from drill.model import Studio
from drill.odds.blows import blows
from drill.odds.bound import Bound, NoBound
from drill.odds.course import Stop, stops
from drill.odds.published import Rates
from drill.odds.statuses import LOST_STATE, Change, Shelf, fall, shelf_of
from drill.timeline import Life

LOST = ()  # the key of a distribution for what is lost
YEAR_S = 365.25 * 86400
_LEAST_LEFT_OUT = 1e-12
_RELATIVE_LEFT_OUT = 1e-6
_SHARE = 256  # a new state is left out when it is that small a part of what still may be
_FEW = 40  # so many states are gone through sooner than sorted
_BOUND_AGES = 0.6  # a bound for a longer rest is still one, only weaker


@dataclass(frozen=True, slots=True)
class Odds:
    """P(lost) by each of the `marks` asked for, and how much more it may be for what was left out."""

    lost: tuple[float, ...]
    left_out: float


@dataclass(frozen=True, slots=True)
class _Event:
    """An event that hits a medium of the shelf: its rate per year, what it does, and whom it hits when at home."""

    per_year: float
    away: Change
    home: Change
    hits: int


def odds(life: Life, studio: Studio, rates: Rates, marks: Sequence[datetime]) -> Odds:
    """Return the probability that the shoot is lost by each of the marks.

    Errors: ValueError for a studio without a scheme, or a mark after the life's end.
    """
    march = _March(life, studio, rates, marks, whole=False)
    lost = {at: march.states.get(LOST_STATE, 0.0) for at in march.go()}
    return Odds(tuple(lost.get(mark, 0.0) for mark in marks), march.left_out)


def distribution(life: Life, studio: Studio, rates: Rates, at: datetime) -> Mapping[tuple[str, ...], float]:
    """Return how likely each combination of statuses is just after a moment: "G", "R", "F", "N" for every medium of the
    studio, in its order. What is lost is one, under the key LOST.

    Errors: as `odds`.
    """
    march = _March(life, studio, rates, [at], whole=True)
    for _ in march.go():
        pass
    found = {march.shelf.letters(state, studio.media): p for state, p in march.states.items() if state}
    if LOST_STATE in march.states:
        found[LOST] = march.states[LOST_STATE]
    return found


class _March:
    """One way through a life: the distribution as it stands, and what was left out of it."""

    def __init__(self, life: Life, studio: Studio, rates: Rates, marks: Sequence[datetime], *, whole: bool) -> None:
        if studio.scheme is None:
            raise ValueError("this studio has no scheme")
        self.shelf = shelf_of(studio, studio.scheme)
        self.states: dict[int, float] = {self.shelf.start(studio.scheme): 1.0}
        self.left_out = 0.0
        self._begins = life.begins
        self._stops = stops(life, studio, studio.scheme, self.shelf, marks)
        self._events = _events(studio, self.shelf, rates)
        self._allowed = 0.0
        self._whole = whole
        self._bound: Bound | NoBound = NoBound()
        self._bound_for = (-1, 0.0)

    def go(self) -> Iterator[datetime]:
        """Take the distribution from stop to stop; each is given once it is reached."""
        before = self._begins
        for number, stop in enumerate(self._stops, 1):
            least = max(_LEAST_LEFT_OUT, _RELATIVE_LEFT_OUT * self.states.get(LOST_STATE, 0.0))
            self._allowed = least * number / len(self._stops)
            self._renew_bound(before, stop)
            self._stretch((stop.at - before).total_seconds() / YEAR_S, away=stop.away)
            self._stop(stop)
            self._trim()
            before = stop.at
            yield stop.at

    def _renew_bound(self, before: datetime, stop: Stop) -> None:
        left = (self._stops[-1].at - before).total_seconds() / YEAR_S
        doomed, known_for = self._bound_for
        if self._whole or (doomed == stop.doomed and left > known_for * _BOUND_AGES):
            return
        self._bound_for = (stop.doomed, left)
        self._bound = Bound([(event.hits, -expm1(-event.per_year * left)) for event in self._events], stop.doomed)

    def _stretch(self, years: float, *, away: bool) -> None:
        """Let each event happen or not in so many years."""
        states, bound, left_out, allowed = self.states, self._bound, self.left_out, self._allowed
        for event in self._events:
            q = -expm1(-event.per_year * years)
            change = event.away if away else event.home
            least = (allowed - left_out) / _SHARE
            for state, p in list(states.items()):
                worse = change[state]
                if worse == state:
                    continue
                part = p * q
                states[state] = p - part
                if worse in states:
                    states[worse] += part
                elif (weight := part * bound[worse]) > least or left_out + weight > allowed:
                    states[worse] = part
                else:
                    left_out += weight
        self.left_out = left_out

    def _stop(self, stop: Stop) -> None:
        for step in stop.steps:
            self._change(self.shelf.done(step, stop.planned), step.done)
        if stop.replaces:
            self._change(self.shelf.replaced(stop.planned), 1.0)

    def _change(self, change: Change, done: float) -> None:
        """Make a change with some probability."""
        states = self.states
        moved = [(state, p) for state, p in states.items() if change[state] != state]
        for state, p in moved:
            states[state] = p * (1.0 - done)
            if done == 1.0:
                del states[state]
        for state, p in moved:
            states[change[state]] = states.get(change[state], 0.0) + p * done

    def _trim(self) -> None:
        """Leave out what matters least, as far as that may be."""
        if len(self.states) <= _FEW:
            return
        weights = sorted((p * self._bound[state], state) for state, p in self.states.items() if state != LOST_STATE)
        for weight, state in weights:
            if self.left_out + weight > self._allowed:
                return
            self.left_out += weight
            del self.states[state]


def _events(studio: Studio, shelf: Shelf, rates: Rates) -> list[_Event]:
    """Return what can happen to the media of the shelf, the likeliest first."""
    away, home = blows(studio, away=True), blows(studio, away=False)
    found: list[_Event] = []
    for event, blow in home.items():
        per_year = rates.per_year.get(event, 0.0)
        hits = shelf.bits(medium for medium, _ in blow)
        if hits and per_year > 0:
            at_home = fall(blow, shelf)
            found.append(_Event(per_year, at_home if away[event] == blow else fall(away[event], shelf), at_home, hits))
    return sorted(found, key=lambda event: -event.per_year)
