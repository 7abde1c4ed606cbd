"""The course of a life for the odds: the moments at which something is done, in order, and what the plan has there.

Flows in: a life, its studio, the moments that are asked about. Flows out: stops. Must not know: probabilities.
Between two stops only events happen. At a stop the steps come as the life has them, then what failed is replaced.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from drill.followers import with_mirrors
from drill.model import Scheme, Step, Studio
from drill.odds.statuses import Shelf
from drill.timeline import Life, spans


@dataclass(frozen=True, slots=True)
class Stop:
    """A moment. `planned` and `doomed` are lower bits of media: where the plan has a copy once all is done, and where a
    copy may be erased from here on, or not be replaced. `away` is what holds on the way to it. Beside each step stands
    where the plan has a copy when it is that step's turn. `is_asked` where it is a mark, or one is home from there."""

    at: datetime
    away: bool
    is_asked: bool
    steps: tuple[tuple[Step, int], ...]
    replaces: bool
    planned: int
    doomed: int


def stops(life: Life, studio: Studio, scheme: Scheme, shelf: Shelf, marks: Sequence[datetime]) -> list[Stop]:
    """Return the stops after the first picture up to the last mark; every mark after the first picture is one.

    Errors: ValueError for a mark that is after the life's end.
    """
    end = max(marks, default=life.begins)
    if end > life.until:
        raise ValueError(f"the life ends at {life.until}, before {end}")
    asked = {mark for mark in [*marks, life.home_at] if life.begins < mark <= end}
    steps: dict[datetime, list[Step]] = {mark: [] for mark in asked}
    for instant in life.instants:
        if instant.at <= end:
            steps.setdefault(instant.at, []).append(instant.step)
    replacements = set(_replacements(life.begins, scheme.replaced_within_s, end))
    plan = spans(life, studio)
    begins = [span.begins for span in plan]
    held = [shelf.bits(copy.medium for copy in span.copies) for span in plan]
    found: list[Stop] = []
    doomed = 0
    for at in sorted(replacements.union(steps), reverse=True):
        done = steps.get(at, [])
        planned = held[bisect_right(begins, at) - 1] if held else 0
        doomed |= shelf.bits(with_mirrors(_erased(done), studio.media)) if done else 0
        doomed |= shelf.bits(shelf.media) & ~planned if at in replacements else 0
        turns = _turns(done, held[bisect_left(begins, at) - 1] if held else 0, shelf)
        away = life.away and at <= life.home_at
        found.append(Stop(at, away, at in asked, turns, at in replacements, planned, doomed))
    return found[::-1]


def checks_s(life: Life, end: datetime) -> dict[str, float]:
    """Return for each medium that is checked whatever else holds the longest time without a check until `end`, ÷ the
    least chance that one is done."""
    at: dict[str, list[datetime]] = {}
    done: dict[str, float] = {}
    for instant in life.instants:
        step = instant.step
        if step.do == "verify" and step.target and not step.only_once_on and instant.at <= end:
            at.setdefault(step.target, [life.begins]).append(instant.at)
            done[step.target] = min(step.done, done.get(step.target, 1.0))
    return {
        medium: max((b - a).total_seconds() for a, b in pairwise([*moments, end])) / done[medium]
        for medium, moments in at.items()
    }


def _turns(steps: Iterable[Step], planned: int, shelf: Shelf) -> tuple[tuple[Step, int], ...]:
    """Return steps of one moment, each with where the plan has a copy when it is its turn: all before it are done."""
    found = []
    for step in steps:
        found.append((step, planned))
        planned = shelf.done(step, planned)[planned]  # lower bits alone: a state in which all that is there is good
    return tuple(found)


def _erased(steps: Iterable[Step]) -> list[str]:
    return [step.source for step in steps if step.do in ("erase", "move") and step.source]


def _replacements(begins: datetime, every_s: float, end: datetime) -> Iterable[datetime]:
    count, every = 1, timedelta(seconds=every_s)
    while (at := begins + count * every) <= end:
        yield at
        count += 1
