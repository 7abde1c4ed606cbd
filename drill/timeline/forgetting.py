"""A life in which one step is forgotten once: the first time that it would have changed anything.

Flows in: a life, its studio, a step. Flows out: the life without that instant. Must not know: how likely that is, what
may go wrong. All else is done at its own time; what finds nothing to read then does nothing.
"""

from dataclasses import replace

from drill.model import Studio
from drill.timeline.doing import at_first, do
from drill.timeline.lives import Instant, Life, not_too_early


def forgotten_once(life: Life, studio: Studio, step_id: str) -> tuple[Instant, Life] | None:
    """Return the first instant at which a step changes what is held, and the life without it; None: it never does."""
    held = at_first(studio, life.begins)
    for number, instant in enumerate(life.instants):
        before = dict(held) if instant.step.id == step_id else held
        do(instant.step, instant.at, held, studio.media)
        if held != before:
            rest = (*life.instants[:number], *life.instants[number + 1 :])
            return instant, replace(life, instants=tuple(not_too_early(rest, life.begins, studio)))
    return None
