"""The days of a year: on which one a shoot stands worst in its first year, and on which best.

Flows in: the lives of shoots made on many days, away and at home. Flows out: for each lack the worst and the best day.
Must not know: how likely anything is, terminals.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from drill.model import Studio
from drill.stages.exposure import LACKS, first_year
from drill.stages.facts import facts
from drill.stages.ground import Facts, Ground, ground
from drill.timeline import Life, Span, horizon, life, spans, years_after


@dataclass(frozen=True, slots=True)
class Days:
    """The worst and the best day to shoot on by one lack (of LACKS), and how long it lasts in the first year of such a
    shoot, in seconds. Of days that are alike in it the other lacks decide, in their order, then the earlier day."""

    lack: str
    away: bool
    worst: date
    worst_s: float
    best: date
    best_s: float


def days_of(studio: Studio, first: date) -> Iterator[tuple[Life, tuple[Span, ...]]]:
    """Give the first year of a shoot made on each day of a year from `first` on, away and at home.

    Errors: ValueError for a studio without a scheme.
    """
    if studio.scheme is None:
        raise ValueError("this studio has no scheme")
    for number in range((years_after(first, 1) - first).days):
        day = first + timedelta(days=number)
        until = horizon(studio.scheme, day, 1)
        for away in (True, False):
            lived = life(studio, day, away=away, until=until)
            yield lived, spans(lived, studio)


def worst_day(lives: Iterable[tuple[Life, Iterable[Span]]], on: Studio | Ground) -> tuple[Days, ...]:
    """Return the worst and the best day by each lack, away and at home, in the order of LACKS: "one_failure" is
    first."""
    here = ground(on)
    lacking: dict[Facts, tuple[bool, ...]] = {}
    totals: dict[bool, dict[date, tuple[float, ...]]] = {}
    for lived, stages in lives:
        totals.setdefault(lived.away, {})[lived.day] = _totals(stages, here, lacking)
    return tuple(
        _days(number, name, away, totals[away])
        for number, name in enumerate(LACKS)
        for away in sorted(totals, reverse=True)
    )


def _totals(stages: Iterable[Span], here: Ground, lacking: dict[Facts, tuple[bool, ...]]) -> tuple[float, ...]:
    """Return how long each lack lasts in a first year, in seconds."""
    found = [0.0] * len(LACKS)
    for span in first_year(stages):
        has = facts(span, here)
        lacks = lacking.get(has)
        if lacks is None:
            lacks = lacking[has] = tuple(holds(has) for holds in LACKS.values())
        lasts_s = (span.ends - span.begins).total_seconds()
        for number, so in enumerate(lacks):
            if so:
                found[number] += lasts_s
    return tuple(found)


def _days(number: int, lack: str, away: bool, totals: Mapping[date, tuple[float, ...]]) -> Days:
    def weight(day: date) -> tuple[float, ...]:
        return (totals[day][number], *totals[day])

    worst, best = max(sorted(totals), key=weight), min(sorted(totals), key=weight)
    return Days(lack, away, worst, totals[worst][number], best, totals[best][number])
