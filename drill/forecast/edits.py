"""Edits as they are recorded: until when one failure takes them, as all goes by plan, on the day shown and the worst.

Flows in: lives, their studio. Flows out: values of the record. Must not know: odds, reports.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from math import inf

from drill.clock import rfc3339
from drill.edits import EditsSpan, held_by_plan
from drill.forecastrecord import EditsThen
from drill.model import Step, Studio
from drill.odds import blows
from drill.stages import event_words
from drill.timeline import Life, Span

_FAILURES = ("medium", "place", "account")
_Lived = tuple[Life, tuple[Span, ...]]


@dataclass(slots=True)
class YearOfEdits:
    """What becomes of the edits of shoots made on each day of a year: how old they are at most when one failure can
    still take them, the day of the shoot, and a day on which the plan itself leaves none; by step and whether away."""

    studio: Studio
    _oldest: dict[tuple[str, bool], tuple[float, str]] = field(default_factory=dict)
    _lost_on: dict[tuple[str, bool], str] = field(default_factory=dict)
    _taken_by: dict[tuple[bool, tuple[str, ...]], str] = field(default_factory=dict)

    def watching(self, lives: Iterable[_Lived]) -> Iterator[_Lived]:
        """Yield the lives as they come, and note what becomes of their edits."""
        steps = self._steps()
        for lived, spans in lives:
            for step in steps:
                if held := held_by_plan(lived, self.studio, step):
                    self._note(step, lived, held)
            yield lived, spans

    def of(self, life: Life) -> tuple[EditsThen, ...]:
        """Return what becomes of the edits of one life beside the worst of all that were watched."""
        held = ((step, held_by_plan(life, self.studio, step)) for step in self._steps())
        return tuple(self._told(step, life, spans) for step, spans in held if spans)

    def never_of(self, life: Life) -> tuple[str, ...]:
        """Return the steps that edit nothing in a life: not due in it, or where the shoot is not."""
        return tuple(step.id for step in self._steps() if not held_by_plan(life, self.studio, step))

    def _steps(self) -> list[Step]:
        return [step for step in self.studio.scheme.steps if step.do == "edit"] if self.studio.scheme else []

    def _note(self, step: Step, life: Life, held: tuple[EditsSpan, ...]) -> None:
        key, day = (step.id, life.away), life.day.isoformat()
        age_s, _ = self._at_risk(life, held)
        if key not in self._oldest or age_s > self._oldest[key][0]:
            self._oldest[key] = age_s, day
        if not held[-1].media:
            self._lost_on.setdefault(key, day)

    def _told(self, step: Step, life: Life, held: tuple[EditsSpan, ...]) -> EditsThen:
        self._note(step, life, held)
        worst_s, worst_day = self._oldest[step.id, life.away]
        lost_on = self._lost_on.get((step.id, life.away))
        offsite = next((span.begins for span in held if any(map(self._is_offsite, span.media))), None)
        made, (age_s, by) = held[0].begins, self._at_risk(life, held)
        return EditsThen(
            step=step.id,
            medium=step.target or "",
            made=rfc3339(made),
            made_s=(made - life.begins).total_seconds(),
            one_failure_age_s=_or_never(age_s),
            one_failure=event_words(by, self.studio) if by else "",
            offsite_age_s=None if offsite is None else (offsite - made).total_seconds(),
            media=held[-1].media,
            lost_age_s=None if held[-1].media else (held[-1].begins - made).total_seconds(),
            worst_day=worst_day,
            worst_age_s=_or_never(worst_s),
            lost_on=lost_on,
            met=self._is_met(worst_s, lost_on),
        )

    def _is_met(self, worst_s: float, lost_on: str | None) -> bool | None:
        """Say whether edits keep the targets of the studio as well; None: it has none that edits can be held to."""
        at_most_s, further = self.studio.targets.lose_at_most_s, self.studio.targets.further_failures
        if at_most_s is None and not further:
            return None
        is_in_time = at_most_s is None or worst_s <= at_most_s
        return lost_on is None and is_in_time and (not further or worst_s < inf)

    def _at_risk(self, life: Life, held: tuple[EditsSpan, ...]) -> tuple[float, str]:
        """Return how old edits are when one failure can take them for the last time (0: never, without end: to the end
        of the year), and which: the first of them in the order of the studio file."""
        for span in reversed(held):
            if span.media and (by := self._takes(span)):
                return inf if span.ends == life.until else (span.ends - held[0].begins).total_seconds(), by
        return 0.0, ""

    def _takes(self, span: EditsSpan) -> str:
        """Return a single failure that takes all media on which edits are; empty: none does."""
        key = span.away, span.media
        if key not in self._taken_by:
            hits = blows(self.studio, away=span.away).items()
            found = (event for event, blow in hits if set(span.media) <= {id_ for id_, _ in blow})
            self._taken_by[key] = next((event for event in found if event.partition(":")[0] in _FAILURES), "")
        return self._taken_by[key]

    def _is_offsite(self, id_: str) -> bool:
        return self.studio.media[id_].offsite and not self.studio.media[id_].carried


def _or_never(age_s: float) -> float | None:
    return None if age_s == inf else age_s
