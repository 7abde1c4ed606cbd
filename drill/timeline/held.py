"""What is held where from moment to moment, when every step is done and nothing fails: the plan.

Flows in: a life, its studio. Flows out: spans of time in which nothing changes. Must not know: what may go wrong.

- At the first picture the media that the camera writes to hold the shoot.
- A copy is made where the source holds the shoot and the target does not. A move erases the source once the target
  holds it. An erase looks at nothing but `only_once_on`.
- A mirror gets what is copied to its medium, and loses what is erased there unless it keeps versions; mirrors of
  mirrors too, as far as something changes. What the camera writes itself reaches no mirror before a copy does.
- A verify proves what its target holds; a copy that is made anew is unproven again.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from operator import attrgetter

from drill.model import Medium, Step, Studio
from drill.timeline.lives import Life


@dataclass(frozen=True, slots=True)
class Held:
    """A copy on a medium `since` a moment (UTC). `made_from` are the media it came through, in that order, itself
    not among them; `verified` is when it was last proved against its promise."""

    medium: str
    since: datetime
    made_from: tuple[str, ...]
    verified: datetime | None


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time, from `begins` until just before `ends` (UTC), in which the copies stay as they are.

    `copies` are in the order of the media in the studio file.
    """

    begins: datetime
    ends: datetime
    away: bool
    copies: tuple[Held, ...]


def spans(life: Life, studio: Studio) -> tuple[Span, ...]:
    """Return what the plan holds from first picture to horizon; a new span where copies, a proof or away change."""
    scheme = studio.scheme
    held = {id_: Held(id_, life.begins, (), None) for id_ in (scheme.made_on if scheme else ())}
    found: list[Span] = []
    begins, copies = life.begins, _in_order(held, studio)

    def cut(at: datetime) -> None:
        nonlocal begins, copies
        if begins < at:
            found.append(Span(begins, at, life.away and begins < life.home_at, copies))
            begins = at
        copies = _in_order(held, studio)

    home_at = life.home_at if life.away else life.until
    for at, instants in groupby(life.instants, key=attrgetter("at")):
        if begins < home_at <= at and home_at < life.until:
            cut(home_at)
        before = dict(held)
        for instant in instants:
            _apply(instant.step, at, held, studio.media)
        if held != before:
            cut(at)
    if begins < home_at < life.until:
        cut(home_at)
    cut(life.until)
    return tuple(found)


def _in_order(held: Mapping[str, Held], studio: Studio) -> tuple[Held, ...]:
    return tuple(held[id_] for id_ in studio.media if id_ in held)


def _apply(step: Step, at: datetime, held: dict[str, Held], media: Mapping[str, Medium]) -> None:
    """Do a step with what is held at a moment."""
    if any(id_ not in held for id_ in step.only_once_on):
        return
    source, target = step.source or "", step.target or ""
    if step.do in ("copy", "move") and source in held and target not in held:
        _give(held[source], target, at, held, media)
    if step.do == "move" and target in held:
        _take(source, held, media)
    if step.do == "erase":
        _take(source, held, media)
    if step.do == "verify" and target in held:
        held[target] = replace(held[target], verified=at)


def _give(source: Held, target: str, at: datetime, held: dict[str, Held], media: Mapping[str, Medium]) -> None:
    """Make a copy on a medium, and on its mirrors that have none."""
    came_through = tuple(id_ for id_ in (*source.made_from, source.medium) if id_ != target)
    held[target] = Held(target, at, came_through, None)
    for medium in media.values():
        if medium.mirrors == target and medium.id not in held:
            _give(held[target], medium.id, at, held, media)


def _take(erased: str, held: dict[str, Held], media: Mapping[str, Medium]) -> None:
    """Erase a medium, and its mirrors that keep no versions."""
    if held.pop(erased, None) is None:
        return
    for medium in media.values():
        if medium.mirrors == erased and medium.keeps_versions_s is None:
            _take(medium.id, held, media)
