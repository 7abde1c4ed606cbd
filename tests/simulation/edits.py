"""The edits that are made to a shoot at a step, beside the shoot itself: which media have them, what brings them on.

A mark for each medium, in the studio file's order: N none, G right, R bytes changed and nobody knows; no marks at all
until the edits are made. What is open is read the way that leaves less: a mirror that has edits already is written no
others and hands none on, and a check mends edits that are rotten only where the plan brought some at some time.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from drill.model import Step, Studio

from .blows import after_blow, hit_by
from .days import Act, Days, scheme_of
from .planned import planned_before
from .statuses import Statuses, after_replacement, after_step, mirrors_of

Marks = tuple[str, ...]
NOT_MADE: Marks = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan just before an act: where the shoot is, where the edits are, when these last came to each medium that
    ever had them, and when the step was first due."""

    shoot: frozenset[str]
    there: frozenset[str]
    came: Mapping[str, datetime]
    first_due: datetime | None


def are_lost(marks: Marks) -> bool:
    """Say whether edits were made and are right nowhere."""
    return marks != NOT_MADE and "G" not in marks


def planned_edits(studio: Studio, days: Days, edit: str) -> list[Plan]:
    """Return the plan of one step's edits just before each act."""
    marks, came, found = NOT_MADE, dict[str, datetime](), []
    first_due = {act.step.id: act.due for act in sorted(days.acts, key=lambda act: act.due, reverse=True) if act.step}
    for act, held in zip(days.acts, planned_before(studio, days), strict=True):
        before = _having(studio, marks)
        plan = Plan(held, before, dict(came), first_due[act.step.id] if act.step else None)
        found.append(plan)
        if act.step:
            statuses = tuple("G" if id_ in held else "N" for id_ in studio.media)
            marks = marks_after_step(studio, act, statuses, marks, plan, edit=edit)
            came |= dict.fromkeys(_having(studio, marks) - before, act.at)
    return found


def marks_after_step(studio: Studio, act: Act, statuses: Statuses, marks: Marks, plan: Plan, *, edit: str) -> Marks:
    """Return the marks after a step that was not forgotten; `statuses` are those of the shoot before it."""
    step = act.step
    assert step is not None
    if marks == NOT_MADE:
        return _made(studio, step, statuses) if step.id == edit else NOT_MADE
    shoot = dict(zip(studio.media, statuses, strict=True))
    now = dict(zip(studio.media, marks, strict=True))
    after = after_step(studio, step, statuses, plan.shoot)
    if all(shoot[id_] in "GR" for id_ in step.only_once_on):
        if step.do in ("copy", "move"):
            _bring(studio, act, shoot, now, plan)
        if step.do == "verify":
            _check(act, dict(zip(studio.media, after, strict=True)), now, plan)
    return kept_with(after, tuple(now.values()))


def kept_with(statuses: Statuses, marks: Marks) -> Marks:
    """Return the marks where the shoot is thought to be; elsewhere there are none."""
    return tuple(mark if status in "GR" else "N" for status, mark in zip(statuses, marks, strict=bool(marks)))


def marks_after_blow(studio: Studio, event: str, statuses: Statuses, marks: Marks, *, away: bool) -> Marks:
    """Return the marks after an event; `statuses` are those of the shoot before it."""
    media, to = hit_by(studio, event, away=away)
    if to == "R":
        hit = zip(studio.media, marks, strict=bool(marks))
        marks = tuple("R" if id_ in media and mark == "G" else mark for id_, mark in hit)
    return kept_with(after_blow(studio, event, statuses, away=away), marks)


def marks_after_replacement(studio: Studio, statuses: Statuses, marks: Marks, plan: Plan) -> Marks:
    """Return the marks after what was lost has been replaced; `statuses` are those of the shoot before it."""
    after = after_replacement(studio, statuses, plan.shoot)
    filled = {id_ for id_, old, new in zip(studio.media, statuses, after, strict=True) if (old, new) == ("F", "G")}
    if "G" in marks:
        wanted = filled & plan.there
        marks = tuple("G" if id_ in wanted else mark for id_, mark in zip(studio.media, marks, strict=True))
    return kept_with(after, marks)


def _having(studio: Studio, marks: Marks) -> frozenset[str]:
    return frozenset(id_ for id_, mark in zip(studio.media, marks, strict=bool(marks)) if mark != "N")


def _made(studio: Studio, step: Step, statuses: Statuses) -> Marks:
    shoot = dict(zip(studio.media, statuses, strict=True))
    now = dict.fromkeys(studio.media, "N")
    assert step.target is not None
    if shoot[step.target] not in "GR" or "G" not in statuses:
        return NOT_MADE
    _write(studio, shoot, now, step.target, "G")
    return tuple(now.values())


def _write(studio: Studio, shoot: Mapping[str, str], now: dict[str, str], target: str, mark: str) -> None:
    if shoot[target] in "GR" and now[target] == "N":
        now[target] = mark
        for mirror in mirrors_of(studio, target):
            _write(studio, shoot, now, mirror, mark)


def _bring(studio: Studio, act: Act, shoot: Mapping[str, str], now: dict[str, str], plan: Plan) -> None:
    step = act.step
    assert step is not None and step.source is not None and step.target is not None
    if shoot[step.source] not in "GR" or now[step.source] == "N" or step.source not in plan.there:
        return
    came = plan.came[step.source]
    if act.due < came or not (shoot[step.target] == "N" or _brings_what_is_new(studio, step, plan.first_due, came)):
        return
    copied = after_step(studio, replace(step, do="copy"), tuple(shoot.values()), frozenset())
    _write(studio, dict(zip(studio.media, copied, strict=True)), now, step.target, now[step.source])


def _brings_what_is_new(studio: Studio, step: Step, first_due: datetime | None, came: datetime) -> bool:
    assert first_due is not None
    return step.do == "move" or first_due >= came or _in_rhythm(scheme_of(studio).steps, step)


def _in_rhythm(steps: Sequence[Step], step: Step) -> bool:
    followed = [other for other in steps if other.id == step.follows]
    return step.rhythm is not None or any(_in_rhythm(steps, other) for other in followed)


def _check(act: Act, after: Mapping[str, str], now: dict[str, str], plan: Plan) -> None:
    target = act.step.target if act.step else None
    assert target is not None
    if target not in plan.came or act.due < plan.came[target] or "G" not in now.values():
        return
    missed = now[target] == "N" and target in plan.there and after[target] in "GR"
    if missed or now[target] == "R":
        now[target] = "G"
