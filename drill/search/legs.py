"""Legs: a shoot's life as a row of legs, each with all that may become of a state on it.

Flows in: a life, its studio, what is left out. Flows out: legs in order. Must not know: how they are searched.
Between two moments lies a stretch, in which mishaps may come, any number; at a moment each step has its turn, in the
order of the studio file, and may be forgotten; what failed is replaced last. As in `odds`, statuses only get worse
within a stretch, so the order of its mishaps does not matter.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from drill.model import Scheme, Step, Studio
from drill.odds.course import stops
from drill.odds.statuses import Change, Shelf, shelf_of
from drill.search.mishaps import Hits, forget_name, hits, is_left_out
from drill.timeline import Life


@dataclass(frozen=True, slots=True)
class Stretch:
    """A time in which nothing is done, and what may befall the shoot in it."""

    begins: datetime
    ends: datetime
    hits: Hits


@dataclass(frozen=True, slots=True)
class Turn:
    """A step that ends `at` a moment, or (None) the replacement of what failed; `forgotten` names the mishap of leaving
    it out, which comes when it is `due`; nothing where that is left out of the search. `planned` are the lower bits of
    media where the plan has a copy."""

    at: datetime
    due: datetime
    step: Step | None
    change: Change
    planned: int
    forgotten: str = ""


Leg = Stretch | Turn


@dataclass(frozen=True, slots=True)
class Course:
    """A life as legs, with its shelf (which bits are which medium's) and the state at the first picture."""

    life: Life
    shelf: Shelf
    legs: tuple[Leg, ...]
    first: int


def course_of(
    life: Life, studio: Studio, scheme: Scheme, left_out: Collection[str], *, cut: datetime | None = None
) -> Course:
    """Return a life as legs, from the first picture to its end; a stretch that reaches past `cut` is two. A step
    that is under way at the cut counts as due then: from there on it may come to nothing."""
    shelf = shelf_of(studio, scheme)
    befalls = {away: hits(studio, shelf, left_out, away=away) for away in (True, False)}
    dues = {(one.at, one.step.id): one.due for one in life.instants}
    legs: list[Leg] = []
    before = life.begins
    for stop in stops(life, studio, scheme, shelf, [life.until]):
        edges = [before, *([cut] if cut is not None and before < cut < stop.at else []), stop.at]
        legs += [Stretch(begins, ends, befalls[stop.away]) for begins, ends in pairwise(edges) if begins < ends]
        for step, planned in stop.steps:
            due = dues[stop.at, step.id]
            due = max(due, cut) if cut is not None and cut <= stop.at else due
            forgotten = "" if is_left_out(forget_name(step), left_out) else forget_name(step)
            legs.append(Turn(stop.at, due, step, shelf.done(step, planned), planned, forgotten))
        if stop.replaces:
            legs.append(Turn(stop.at, stop.at, None, shelf.replaced(stop.planned), stop.planned))
        before = stop.at
    return Course(life, shelf, tuple(legs), shelf.start(scheme))


def is_away(course: Course, leg: Leg) -> bool:
    """Say whether the photographer is away on a leg, and on the way to it."""
    return course.life.away and (leg.ends if isinstance(leg, Stretch) else leg.at) <= course.life.home_at


def begin_of(leg: Leg) -> datetime:
    """Return when a leg begins."""
    return leg.begins if isinstance(leg, Stretch) else leg.at


def may_go_wrong(course: Course, start: int) -> bool:
    """Say whether a mishap is left that may come on a leg from `start` on."""
    return any(leg.hits.are_any if isinstance(leg, Stretch) else leg.forgotten for leg in course.legs[start:])


def first_leg_from(course: Course, at: datetime) -> int:
    """Return the first leg that begins at a moment or later, where the course is cut."""
    return next((number for number, leg in enumerate(course.legs) if at <= begin_of(leg)), len(course.legs))
