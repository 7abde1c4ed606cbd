"""The shortest story that loses a shoot, or its edits, by trying every set of mishaps at every time, each played to its
end.

By the second engine of the forecast (`simulation`), which shares no code with the program: no state is remembered, and
nothing is left out. For a few weeks, and one or two mishaps.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import combinations, pairwise

from simulation.blows import after_blow, events_of
from simulation.days import Act, Days
from simulation.edits import (
    NOT_MADE,
    Marks,
    Plan,
    are_lost,
    kept_with,
    marks_after_blow,
    marks_after_replacement,
    marks_after_step,
    planned_edits,
)
from simulation.planned import planned_before
from simulation.statuses import Statuses, after_replacement, after_step, at_first, is_lost

from drill.model import Studio

Option = tuple[int, int, str]  # the stretch or act, which of a stretch's, the mishap


@dataclass(frozen=True, slots=True)
class World:
    """A studio and a shoot's days, with what is planned just before each act; `edit`: the step whose edits are at
    stake, None where the shoot is."""

    studio: Studio
    days: Days
    planned: Sequence[frozenset[str]]
    edit: str | None
    plans: Sequence[Plan]

    def is_over(self, now: Statuses, marks: Marks) -> bool:
        """Say whether what is at stake is lost."""
        return is_lost(now) if self.edit is None else are_lost(marks)


def mishaps_there_are(
    studio: Studio, days: Days, without: Iterable[str], *, since: datetime | None = None
) -> list[Option]:
    """Return every mishap at every time, or at those `since` a moment: events and erasing by mistake in each stretch
    that begins then or later, forgetting at each act."""
    left_out = set(without)
    steps = studio.scheme.steps if studio.scheme else ()
    befall = [*events_of(studio), *(f"early:{step.id}" for step in steps if step.do == "erase")]
    found: list[Option] = []
    points = points_of(days)
    for number in range(len(points) - 1):
        begins, ends = points[number], points[number + 1]
        found += [(number, 0, name) for name in befall if since is None or since <= begins]
        acts = _acts_at(days, ends) if since is None or since <= ends else []
        found += [(number, 1 + n, f"forget:{act.step.id}") for n, act in acts if act.step and act.step.do != "edit"]
    return [one for one in found if not {one[2], one[2].partition(":")[0]} & left_out]


def fewest(
    studio: Studio,
    days: Days,
    *,
    most: int,
    without: Iterable[str] = (),
    since: datetime | None = None,
    edit: str | None = None,
) -> int | None:
    """Return the fewest mishaps that lose the shoot, or the edits of a step, up to `most`, none before `since`; None
    where they do not."""
    options = mishaps_there_are(studio, days, without, since=since)
    world = world_of(studio, days, edit)
    for size in range(most + 1):
        if any(is_lost_after(world, chosen) for chosen in combinations(options, size)):
            return size
    return None


def world_of(studio: Studio, days: Days, edit: str | None = None) -> World:
    """Return a studio and a shoot's days with the plan, all there is to play a story."""
    plans = [] if edit is None else planned_edits(studio, days, edit)
    return World(studio, days, planned_before(studio, days), edit, plans)


def points_of(days: Days) -> list[datetime]:
    """Return the moments between which nothing is done."""
    moments = {days.begins, days.home_at, days.until, *(act.at for act in days.acts)}
    return sorted(moment for moment in moments if moment <= days.until)


def _acts_at(days: Days, moment: object) -> list[tuple[int, Act]]:
    return [(number, act) for number, act in enumerate(days.acts) if act.at == moment]


def is_lost_after(world: World, chosen: Sequence[Option]) -> bool:
    """Play a story to its end, and say whether what is at stake is lost after it."""
    now, marks = at_first(world.studio), NOT_MADE
    for number, (begins, ends) in enumerate(pairwise(points_of(world.days))):
        here = [option for option in chosen if option[0] == number]
        for _, act, name in here:
            if not act and not world.is_over(now, marks):
                now, marks = _befallen(world, name, now, marks, away=world.days.is_away(begins))
        for act, _ in _acts_at(world.days, ends):
            if (number, 1 + act) not in {option[:2] for option in here} and not world.is_over(now, marks):
                now, marks = _done(world, act, now, marks)
    return world.is_over(now, marks)


@dataclass(slots=True)
class Tale:
    """One story as it is told: what the shoot and its edits have come to, and how many acts were passed."""

    world: World
    now: Statuses
    marks: Marks = NOT_MADE
    passed: int = 0

    def go_on(self, until: datetime, forgotten: Collection[tuple[datetime, str]]) -> None:
        """Pass all acts up to a moment and at it; `forgotten` ones, by when they end and the step, are left out."""
        acts = self.world.days.acts
        while self.passed < len(acts) and acts[self.passed].at <= until and not self.is_over:
            act = acts[self.passed]
            if act.step is None or (act.at, act.step.id) not in forgotten:
                self.now, self.marks = _done(self.world, self.passed, self.now, self.marks)
            self.passed += 1

    def befall(self, name: str, *, away: bool) -> None:
        """Let a mishap come."""
        if not self.is_over:
            self.now, self.marks = _befallen(self.world, name, self.now, self.marks, away=away)

    @property
    def is_over(self) -> bool:
        """Say whether what is at stake is lost."""
        return self.world.is_over(self.now, self.marks)


def _befallen(world: World, name: str, now: Statuses, marks: Marks, *, away: bool) -> tuple[Statuses, Marks]:
    studio = world.studio
    if not name.startswith("early:"):
        after = after_blow(studio, name, now, away=away)
        return after, marks_after_blow(studio, name, now, marks, away=away)
    assert studio.scheme
    step = next(step for step in studio.scheme.steps if f"early:{step.id}" == name)
    after = after_step(studio, replace(step, only_once_on=()), now, frozenset())
    return after, kept_with(after, marks)


def _done(world: World, number: int, now: Statuses, marks: Marks) -> tuple[Statuses, Marks]:
    studio, act, planned = world.studio, world.days.acts[number], world.planned[number]
    after = after_replacement(studio, now, planned) if act.step is None else after_step(studio, act.step, now, planned)
    if world.edit is None:
        return after, NOT_MADE
    plan = world.plans[number]
    if act.step is None:
        return after, marks_after_replacement(studio, now, marks, plan)
    return after, marks_after_step(studio, act, now, marks, plan, edit=world.edit)
