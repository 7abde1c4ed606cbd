"""What it comes to when a step is forgotten once, and everything else is done as planned.

Flows in: a life with its spans, what they stand on. Flows out: values of the record. Must not know: odds, reports.
Told of each step that may be forgotten, or that comes in a rhythm: without the first time that it changes anything.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import pairwise

from drill.clock import rfc3339
from drill.forecast.saying import LACKS
from drill.forecastrecord import Longer, Missed
from drill.stages import Ground, measure
from drill.timeline import Life, Span, forgotten_once, spans


def missed(life: Life, plan: Sequence[Span], here: Ground) -> tuple[Missed, ...]:
    """Return what each such step costs the shoot when it is forgotten once, in the order of the studio file."""
    return tuple(_missed(life, plan, here))


def _missed(life: Life, plan: Sequence[Span], here: Ground) -> Iterator[Missed]:
    studio = here.studio
    planned = measure(plan, here, studio.targets).lacks
    for step in studio.scheme.steps if studio.scheme else ():
        found = forgotten_once(life, studio, step.id) if step.done < 1 or step.rhythm else None
        if found is None:
            continue
        instant, without = found
        held = spans(without, studio)
        lacks = measure(held, here, studio.targets).lacks
        more = {name: lack.total_s - planned[name].total_s for name, lack in lacks.items()}
        until = _apart_until(plan, held, instant.at)
        yield Missed(
            step=step.id,
            due=rfc3339(instant.due),
            due_s=(instant.due - life.begins).total_seconds(),
            apart_until_s=None if until is None else (until - life.begins).total_seconds(),
            lost=more["no_copy"] > 0,
            longer=tuple(Longer(name, LACKS[name], more_s) for name, more_s in more.items() if more_s > 0),
        )


def _apart_until(plan: Sequence[Span], other: Sequence[Span], at: datetime) -> datetime | None:
    """Return from when on the same media hold a checked or unchecked copy as planned; None: not in these spans."""
    ends = plan[-1].ends
    cuts = sorted({*(span.begins for span in (*plan, *other)), ends})
    last = at
    for begins, until in pairwise(cuts):
        if _holds(plan, begins) != _holds(other, begins):
            last = until
    return None if last == ends else last


def _holds(held: Sequence[Span], at: datetime) -> frozenset[tuple[str, bool]]:
    span = next(span for span in held if span.begins <= at < span.ends)
    return frozenset((copy.medium, copy.verified is None) for copy in span.copies)
