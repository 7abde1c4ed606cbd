"""Legs: a shoot's life as a row of legs, each with all that may become of a state on it.

Flows in: a life, its studio, what is left out. Flows out: legs in order. Must not know: how they are searched.
Between two moments lies a stretch, in which mishaps may come, any number; at a moment each step has its turn, in the
order of the studio file, and may be forgotten; what failed is replaced last. As in `odds`, statuses only get worse
within a stretch, so the order of its mishaps does not matter.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from drill.edits import Brings, Edited, Planned
from drill.model import Scheme, Step, Studio
from drill.odds.course import Stop, stops
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
    media where the plan has a copy, `edits_planned` where it has the edits that are asked about; `brings`: what the
    step does with these."""

    at: datetime
    due: datetime
    step: Step | None
    change: Change
    planned: int
    forgotten: str = ""
    edits_planned: int = 0
    brings: Brings = Brings.NOTHING


Leg = Stretch | Turn


@dataclass(frozen=True, slots=True)
class Course:
    """A life as legs, with its shelf (which bits are which medium's) and the state at the first picture.

    It is asked what becomes of the shoot, or of what was `edited`; these edits the plan makes at `edited_at`, or never.
    """

    life: Life
    shelf: Shelf
    legs: tuple[Leg, ...]
    first: int
    edited: Edited | None = None
    edited_at: datetime | None = None

    @property
    def edit(self) -> Step | None:
        """The step whose edits are asked about."""
        return self.edited.edit if self.edited else None


def course_of(
    life: Life,
    studio: Studio,
    scheme: Scheme,
    left_out: Collection[str],
    *,
    cut: datetime | None = None,
    edit: Step | None = None,
) -> Course:
    """Return a life as legs, from the first picture to its end; a stretch that reaches past `cut` is two. A step
    that is under way at the cut counts as due then: from there on it may come to nothing. With `edit` it is asked about
    the edits of that step, else about the shoot."""
    shelf = shelf_of(studio, scheme)
    edited = Edited(shelf, edit) if edit is not None else None
    befalls = {away: hits(studio, shelf, left_out, away=away, edited=edited) for away in (True, False)}
    turns = _Turns(life, studio, shelf, left_out, cut=cut, edited=edited)
    legs: list[Leg] = []
    before = life.begins
    for stop in stops(life, studio, scheme, shelf, [life.until]):
        edges = [before, *([cut] if cut is not None and before < cut < stop.at else []), stop.at]
        legs += [Stretch(begins, ends, befalls[stop.away]) for begins, ends in pairwise(edges) if begins < ends]
        legs += turns.at(stop)
        before = stop.at
    first = edited.start(scheme) if edited else shelf.start(scheme)
    return Course(life, shelf, tuple(legs), first, edited, turns.edited_at)


class _Turns:
    """The turns of a life, from stop to stop, of the shoot or of what is `edited`."""

    def __init__(
        self,
        life: Life,
        studio: Studio,
        shelf: Shelf,
        left_out: Collection[str],
        *,
        cut: datetime | None,
        edited: Edited | None,
    ) -> None:
        self._instants = {(one.at, one.step.id): one for one in life.instants}
        self._shelf, self._left_out, self._cut, self._edited = shelf, left_out, cut, edited
        self._plan = Planned(life, studio, edited.edit) if edited else None

    @property
    def edited_at(self) -> datetime | None:
        """When the plan made the edits, as far as it came."""
        return self._plan.made_at if self._plan else None

    def at(self, stop: Stop) -> Iterator[Turn]:
        """Yield the turns of a stop in order: each step, then the replacement of what failed."""
        for step, planned in stop.steps:
            if step.do != "edit" or (self._edited is not None and step.id == self._edited.edit.id):
                yield self._turn(stop, step, planned)
        if stop.replaces and self._edited is None:
            yield Turn(stop.at, stop.at, None, self._shelf.replaced(stop.planned), stop.planned)
        elif stop.replaces and self._edited is not None:
            edits = self._planned_edits()
            change = self._edited.replaced(stop.planned, edits)
            yield Turn(stop.at, stop.at, None, change, stop.planned, edits_planned=edits)

    def _turn(self, stop: Stop, step: Step, planned: int) -> Turn:
        instant, cut = self._instants[stop.at, step.id], self._cut
        due = max(instant.due, cut) if cut is not None and cut <= stop.at else instant.due
        name = "" if step.do == "edit" or is_left_out(forget_name(step), self._left_out) else forget_name(step)
        if self._edited is None or self._plan is None:
            return Turn(stop.at, due, step, self._shelf.done(step, planned), planned, name)
        edits = self._planned_edits()
        brings = self._plan.brings(instant)
        self._plan.go_on(instant)
        return Turn(stop.at, due, step, self._edited.done(step, planned, edits, brings), planned, name, edits, brings)

    def _planned_edits(self) -> int:
        return self._shelf.bits(self._plan.held if self._plan else ())


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
