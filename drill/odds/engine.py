"""The exact engine: a distribution over the states of all media, taken from stop to stop.

Flows in: a life, its studio, rates, the moments that are asked about. Flows out: the probability that the shoot is
lost by each of them. Must not know: words, advice.

- Within a stretch each event has happened with q = 1 - exp(-rate × years), a year 365.25 days. Statuses only get worse
  there, so it does not matter how often, or in which order.
- A stop at which nothing is done in any state there may be is none: the stretches on both sides of it are one.
- The shoot is lost once no medium is good, at the end of a stretch or by a step, and stays so. What is asked for a
  moment counts what is done at that very moment too.
- States that hardly matter are left out: those whose probability × a bound on what can still come of them (`bound`)
  is least. What was left out is summed: the truth lies between `lost` and `lost + left_out`, but for rounding. It stays
  under 1e-12, or a millionth of the loss where that is more. Only where very much can happen (some 20 different events
  and more) so many states would take too long: then the most that matter are kept, and what is left out may come to a
  tenth of the loss of a year, and over ten years to many times the loss where rates are high: the bound is weak there.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import expm1, inf

from drill.model import Step, Studio
from drill.odds.blows import FAILED, NOT_THERE, ROTTEN, Blow, blows
from drill.odds.bound import Hazard, NoBound, bound_for
from drill.odds.course import Stop, checks_s, stops
from drill.odds.masses import Masses
from drill.odds.published import Rates
from drill.odds.statuses import Change, Shelf, fall, shelf_of
from drill.timeline import Life
from drill.units import YEAR_S

LOST = ()  # the key of a distribution for what is lost
PRECISION = 1e-6  # of the loss; of a loss of a millionth, the least that is ever told, where it is less
_LEAST = 1e-6
_WORK = 3_500_000_000  # events⁵ × states: more states than that take seconds (measured with 17, 22 and 31 events)
_BOUND_AGES = 0.6  # a bound for a longer rest is still one, only weaker


@dataclass(frozen=True, slots=True)
class Odds:
    """P(lost) by each of the `marks` asked for, the most that it may be for what was left out until then, and how much
    was left out in all."""

    lost: tuple[float, ...]
    at_most: tuple[float, ...]
    left_out: float


@dataclass(frozen=True, slots=True)
class _Event:
    """What hits the same media of the shelf in the same way: the names, what it does away and at home. Which media it
    hits (lower bits), from which of these it takes the copy without a trace, when what it does is mended (years)."""

    names: tuple[str, ...]
    away: Change
    home: Change
    hits: int
    takes: int
    mended_after: float


@dataclass(slots=True)
class _Busy:
    """How many of the slots are known to have a state in which a step rests; slots are given anew now and then."""

    rests: Callable[[int], bool]
    known: int = 0
    renewed: int = 0


@dataclass(frozen=True, slots=True)
class _Way:
    """What is the same at any rates: the media, the stops, what can happen."""

    shelf: Shelf
    start: int
    begins: datetime
    replaced_after: float  # years
    stops: Sequence[Stop]
    events: Sequence[_Event]


def odds(life: Life, studio: Studio, rates: Rates, marks: Sequence[datetime], *, precision: float = PRECISION) -> Odds:
    """Return the probability that the shoot is lost by each of the marks; `precision` is relative, see the module.

    Errors: ValueError for a studio without a scheme, or a mark after the life's end.
    """
    (found,) = odds_at(life, studio, [rates], marks, precision=precision)
    return found


def odds_at(
    life: Life, studio: Studio, by_rates: Iterable[Rates], marks: Sequence[datetime], *, precision: float = PRECISION
) -> list[Odds]:
    """Return the odds at each of several rates; quicker than one by one. Errors: as `odds`."""
    way = _way(life, studio, marks)
    found = []
    for rates in by_rates:
        march = _March(way, rates, precision, whole=False)
        by = {at: (march.masses.lost(), march.masses.left_out) for at in march.go()}
        told = [by.get(mark, (0.0, 0.0)) for mark in marks]
        at_most = tuple(min(1.0, lost + left_out) for lost, left_out in told)
        found.append(Odds(tuple(lost for lost, _ in told), at_most, march.masses.left_out))
    return found


def distribution(life: Life, studio: Studio, rates: Rates, at: datetime) -> Mapping[tuple[str, ...], float]:
    """Return how likely each combination of statuses is just after a moment: "G", "R", "F", "N" for every medium of the
    studio, in its order. What is lost is one, under the key LOST.

    Errors: as `odds`.
    """
    way = _way(life, studio, [at])
    march = _March(way, rates, PRECISION, whole=True)
    for _ in march.go():
        pass
    return {way.shelf.letters(state, studio.media) if state else LOST: p for state, p in march.masses}


class _March:
    """One way through a life: the distribution as it stands, and what was left out of it."""

    def __init__(self, way: _Way, rates: Rates, precision: float, *, whole: bool) -> None:
        per_year = [(sum(rates.per_year.get(name, 0.0) for name in event.names), event) for event in way.events]
        self._events = [(rate, event) for rate, event in per_year if rate > 0]
        self.masses = Masses(way.start, NoBound())
        self._way, self._precision, self._whole = way, precision, whole
        self._most = _WORK // max(1, len(self._events)) ** 5
        self._bound_for = (-1, 0.0)
        self._fading = 0
        for _, event in self._events:
            self._fading |= event.takes
        self._busy: dict[tuple[Step, int], _Busy] = {}

    def go(self) -> Iterator[datetime]:
        """Take the distribution from stop to stop; each is given once it is reached."""
        before, count = self._way.begins, len(self._way.stops)
        for number, stop in enumerate(self._way.stops, 1):
            if self._may_pass(stop):
                continue
            allowed = self._precision * max(_LEAST, self.masses.lost())
            self.masses.allow(allowed * number / count, len(self._events) + len(stop.steps) + 1)
            self._renew_bound(before, stop)
            self._stretch((stop.at - before).total_seconds() / YEAR_S, away=stop.away)
            self.masses.trim(self._most)
            self._stop(stop)
            before = stop.at
            yield stop.at

    def _may_pass(self, stop: Stop) -> bool:
        """Say whether nothing is done at a stop in any state that has a slot, or comes of one: the stretches on both
        sides of it are one then."""
        if stop.replaces or stop.is_asked:
            return False
        return not any(self._is_busy(step, planned) for step, planned in stop.steps)

    def _is_busy(self, step: Step, planned: int) -> bool:
        busy, states = self._busy.get((step, planned)), self.masses.states
        if busy is None:
            busy = self._busy[step, planned] = _Busy(self._way.shelf.resting(step, planned, self._fading))
        if busy.renewed != self.masses.renewed:
            busy.renewed, busy.known = self.masses.renewed, 0
        while busy.known < len(states):
            state = states[busy.known]
            if state and not busy.rests(state):
                return True
            busy.known += 1
        return False

    def _renew_bound(self, before: datetime, stop: Stop) -> None:
        left = (self._way.stops[-1].at - before).total_seconds() / YEAR_S
        doomed, known_for = self._bound_for
        if self._whole or (doomed == stop.doomed and left > known_for * _BOUND_AGES):
            return
        self._bound_for = (stop.doomed, left)
        hazards = [Hazard(event.hits, rate, event.mended_after) for rate, event in self._events]
        self.masses.bound = bound_for(hazards, stop.doomed, left, self._way.replaced_after)

    def _stretch(self, years: float, *, away: bool) -> None:
        """Let each event happen or not in so many years."""
        for rate, event in self._events:
            self.masses.move(event.away if away else event.home, -expm1(-rate * years))
            if len(self.masses.states) > 2 * self._most:
                self.masses.trim(self._most)

    def _stop(self, stop: Stop) -> None:
        for step, planned in stop.steps:
            self.masses.move(self._way.shelf.done(step, planned), step.done)
        if stop.replaces:
            self.masses.move(self._way.shelf.replaced(stop.planned), 1.0)


def _way(life: Life, studio: Studio, marks: Sequence[datetime]) -> _Way:
    if studio.scheme is None:
        raise ValueError("this studio has no scheme")
    shelf = shelf_of(studio, studio.scheme)
    end = max(marks, default=life.begins)
    replaced_after = studio.scheme.replaced_within_s / YEAR_S
    checked_after = {m: checked_s / YEAR_S for m, checked_s in checks_s(life, end).items()}
    mended = {FAILED: dict.fromkeys(shelf.media, replaced_after), ROTTEN: checked_after, NOT_THERE: {}}
    return _Way(
        shelf,
        shelf.start(studio.scheme),
        life.begins,
        replaced_after,
        stops(life, studio, studio.scheme, shelf, marks),
        _events(studio, shelf, mended),
    )


def _events(studio: Studio, shelf: Shelf, mended: Mapping[str, Mapping[str, float]]) -> list[_Event]:
    """Return what can happen to the media of the shelf; events that do the same are one. `mended` has after how many
    years each medium is mended, by the status that it fell to."""
    away, home = blows(studio, away=True), blows(studio, away=False)
    names: dict[tuple[Blow, Blow], list[str]] = {}
    for event, blow in home.items():
        alike = shelf.of_blow(away.get(event, ())), shelf.of_blow(blow)
        if alike[1]:
            names.setdefault(alike, []).append(event)
    found: list[_Event] = []
    for (when_away, at_home), alike_names in names.items():
        change = fall(at_home, shelf)
        hits = shelf.bits(medium for medium, _ in at_home)
        mended_after = max(mended[falls_to].get(medium, inf) for medium, falls_to in at_home)
        while_away = change if when_away == at_home else fall(when_away, shelf)
        takes = shelf.bits(medium for medium, falls_to in at_home if falls_to == NOT_THERE)
        found.append(_Event(tuple(alike_names), while_away, change, hits, takes, mended_after))
    return found
