"""What is held where from moment to moment, when every step is done and nothing fails: the plan.

Flows in: a life, its studio. Flows out: spans of time in which nothing changes. Must not know: what may go wrong.

At the first picture the media that the camera writes to hold the shoot; what a step does is in `doing`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from operator import attrgetter

from drill.model import Studio
from drill.timeline.doing import Held, at_first, do
from drill.timeline.lives import Life


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
    held = at_first(studio, life.begins)
    found: list[Span] = []
    begins, copies = life.begins, _in_order(held, studio)

    def cut(at: datetime) -> None:
        nonlocal begins
        if begins < at:
            found.append(Span(begins, at, life.away and begins < life.home_at, copies))
            begins = at

    home_at = life.home_at if life.away else life.until
    for at, instants in groupby(life.instants, key=attrgetter("at")):
        if begins < home_at <= at and home_at < life.until:
            cut(home_at)
        was_changed = False
        for instant in instants:
            was_changed |= do(instant.step, at, held, studio.media)
        if was_changed and (now := _in_order(held, studio)) != copies:
            cut(at)
            copies = now
    if begins < home_at < life.until:
        cut(home_at)
    cut(life.until)
    return tuple(found)


def _in_order(held: Mapping[str, Held], studio: Studio) -> tuple[Held, ...]:
    return tuple(held[id_] for id_ in studio.media if id_ in held)
