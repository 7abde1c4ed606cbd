"""The plan: where the shoot is when every step is done and nothing goes wrong, and where each copy came from."""

from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

from drill.model import Step, Studio

from .days import Days
from .statuses import after_step, at_first


@dataclass(frozen=True, slots=True)
class Copy:
    """A copy of the shoot: where, since when, the media it came through, when it was last verified."""

    medium: str
    since: datetime
    made_from: tuple[str, ...] = ()
    verified: datetime | None = None


@dataclass(frozen=True, slots=True)
class Stretch:
    """A time in which nothing changes."""

    begins: datetime
    ends: datetime
    away: bool
    copies: tuple[Copy, ...]


def planned_before(studio: Studio, days: Days) -> list[frozenset[str]]:
    """Return which media hold the shoot just before each act."""
    copies = _first(studio, days)
    found = []
    for act in days.acts:
        found.append(frozenset(copies))
        if act.step:
            copies = _after(studio, act.step, copies, act.at)
    return found


def stretches(studio: Studio, days: Days) -> list[Stretch]:
    """Return the plan from the first picture to the horizon, cut where copies, proofs or away change."""
    copies = _first(studio, days)
    moments = sorted({days.begins, days.home_at, days.until, *(act.at for act in days.acts)})
    found: list[Stretch] = []
    for begins, ends in pairwise(moments):
        for act in days.acts:
            if act.at == begins and act.step:
                copies = _after(studio, act.step, copies, act.at)
        if begins >= days.until:
            break
        here = Stretch(begins, ends, days.is_away(begins), tuple(copies[id_] for id_ in studio.media if id_ in copies))
        if found and (found[-1].away, found[-1].copies) == (here.away, here.copies):
            found[-1] = replace(found[-1], ends=min(ends, days.until))
        else:
            found.append(replace(here, ends=min(ends, days.until)))
    return found


def _first(studio: Studio, days: Days) -> dict[str, Copy]:
    media = zip(studio.media, at_first(studio), strict=True)
    return {id_: Copy(id_, days.begins) for id_, now in media if now == "G"}


def _after(studio: Studio, step: Step, copies: dict[str, Copy], at: datetime) -> dict[str, Copy]:
    before = tuple("G" if id_ in copies else "N" for id_ in studio.media)
    after = after_step(studio, step, before, frozenset(copies))
    kept = {id_ for id_, now in zip(studio.media, after, strict=True) if now == "G"}
    new = {id_: Copy(id_, at, _through(studio, step, copies, id_)) for id_ in kept - set(copies)}
    copies = copies | new
    allowed = all(id_ in copies for id_ in step.only_once_on)
    if step.do == "verify" and allowed and step.target in copies:
        copies[step.target] = replace(copies[step.target], verified=at)
    return {id_: copy for id_, copy in copies.items() if id_ in kept}


def _through(studio: Studio, step: Step, copies: dict[str, Copy], id_: str) -> tuple[str, ...]:
    """Return the media that a copy comes through: it may be that of a mirror of what the step writes to."""
    if id_ in copies:
        return copies[id_].made_from
    origin = step.source if id_ == step.target else studio.media[id_].mirrors
    assert origin is not None
    through = (*_through(studio, step, copies, origin), origin)
    return tuple(dict.fromkeys(other for other in through if other != id_))
