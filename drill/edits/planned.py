"""Where the plan has the edits of a shoot, and what each step does with them when it is its turn.

Flows in: a life, a studio, a step that edits. Flows out: for each turn on which media the edits are, and what the step
brings of them. Must not know: what may go wrong. All is judged by the plan, in which nothing fails: a step that was due
before the edits came to the medium that it reads does not know of them. A step without a rhythm is done for what is
there the first time that it is due; to try it again, or after what comes again, brings nothing that was edited since.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from itertools import pairwise

from drill.edits.states import Brings
from drill.followers import read_by, with_followed
from drill.model import Step, Studio
from drill.timeline import Held, Instant, Life, at_first, do


@dataclass(slots=True)
class Planned:
    """A plan under way: since when which media have the edits (`held`), and when these were made; all moments UTC."""

    life: Life
    studio: Studio
    edit: Step
    held: dict[str, datetime] = field(default_factory=dict)
    made_at: datetime | None = None
    _shoot: dict[str, Held] = field(default_factory=dict)
    _anew: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        self._shoot |= at_first(self.studio, self.life.begins)
        self._anew = _new_each_time(self.studio.scheme.steps if self.studio.scheme else ())

    def go_on(self, instant: Instant) -> None:
        """Have a step done."""
        step, target = instant.step, instant.step.target or ""
        is_folder = target not in self._shoot
        is_there = not is_folder and (target in self.held or not self.held)
        if step.do == "verify" or (step.do == "copy" and is_there):
            return  # what most instants of a long life come to
        brings = self.brings(instant) if self.held and all(id_ in self._shoot for id_ in step.only_once_on) else None
        do(step, instant.at, self._shoot, self.studio.media)
        if step.do == "edit" and step.id == self.edit.id and self.made_at is None and target in self._shoot:
            self.made_at = instant.at
            self._give(target, instant.at)
        if brings is Brings.WHAT_IS_NEW or (is_folder and brings):
            self._give(target, instant.at)
        if self.held and step.do in ("erase", "move"):
            for id_ in [id_ for id_ in self.held if id_ not in self._shoot]:
                del self.held[id_]

    def brings(self, instant: Instant) -> Brings:
        """Return what a step brings of the edits when it is its turn."""
        since = self.held.get(read_by(instant.step) or "")
        if since is None or instant.due < since:
            return Brings.NOTHING
        is_new = instant.step.id in self._anew or self._first_due(instant.step) >= since
        return Brings.WHAT_IS_NEW if is_new else Brings.WITH_FOLDER

    def _first_due(self, step: Step) -> datetime:
        """Return when a step is due for the first time: each time it takes as long, so it is done in that order."""
        return next(one.due for one in self.life.instants if one.step.id == step.id)

    def _give(self, medium: str, at: datetime) -> None:
        """Put edits on a medium that holds the shoot and has none of them, and on its mirrors alike."""
        if medium in self._shoot and medium not in self.held:
            self.held[medium] = at
            for mirror in self.studio.media.values():
                if mirror.mirrors == medium:
                    self._give(mirror.id, at)


@lru_cache(maxsize=64)
def _new_each_time(steps: tuple[Step, ...]) -> frozenset[str]:
    """Return the ids of the steps that bring what is new whenever they are done."""
    known = {step.id: step for step in steps}
    anew = (s for s in steps if s.do in ("move", "verify") or any(one.rhythm for one in with_followed(s, known)))
    return frozenset(step.id for step in anew)


@dataclass(frozen=True, slots=True)
class EditsSpan:
    """A stretch of time, from `begins` until just before `ends` (UTC), in which the edits are on these media."""

    begins: datetime
    ends: datetime
    away: bool
    media: tuple[str, ...]


def held_by_plan(life: Life, studio: Studio, edit: Step) -> tuple[EditsSpan, ...]:
    """Return where edits are from the moment when they are made to the end of the life; empty: never made."""
    return tuple(_held(life, studio, edit))


def _held(life: Life, studio: Studio, edit: Step) -> Iterator[EditsSpan]:
    plan = Planned(life, studio, edit)
    home_at = life.home_at if life.away else life.begins
    begins = life.begins
    media: tuple[str, ...] = ()

    def until(at: datetime) -> Iterator[EditsSpan]:
        """Yield what held until a moment: two spans where one came home in between."""
        if media or (plan.made_at is not None and plan.made_at <= begins):
            cuts = [begins, *([home_at] if begins < home_at < at else []), at]
            yield from (EditsSpan(a, b, a < home_at, media) for a, b in pairwise(cuts) if a < b)

    for instant in life.instants:
        plan.go_on(instant)
        if len(plan.held) != len(media) or (media and tuple(plan.held) != media):
            yield from until(instant.at)
            begins, media = instant.at, tuple(plan.held)
    yield from until(life.until)
