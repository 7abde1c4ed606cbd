"""One shoot's first year as it is recorded: stages, first moments, targets, how long what is lacking.

Flows in: a life, its spans, what `stages` says of them. Flows out: values of the record. Must not know: odds, reports.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import groupby

from drill.clock import rfc3339
from drill.forecast.saying import GOALS, LACKS, targets_asked
from drill.forecastrecord import MOST_CUT_SETS, Band, CopyThen, Exposure, First, LifeThen, Stage, Target
from drill.model import Targets
from drill.stages import Ground, cut_sets, cut_words, facts, measure, taken_by_need
from drill.stages.ground import effective_place
from drill.timeline import Life, Span


def life_then(life: Life, spans: Sequence[Span], here: Ground, bands: tuple[Band, ...]) -> LifeThen:
    """Return a life as it is recorded, its targets still open."""
    exposure = measure(spans, here, here.studio.targets)
    stages = tuple(_stage(joined, life, here) for joined in joined_spans(spans))
    worst = next(n for n, stage in enumerate(stages) if stage.ends > rfc3339(exposure.worst.begins))
    return LifeThen(
        day=life.day.isoformat(),
        away=life.away,
        begins=rfc3339(life.begins),
        ends=rfc3339(life.ends),
        home_at=rfc3339(life.home_at),
        stages=stages,
        worst=worst,
        worst_words=_worst_words(exposure.worst.failures.smallest, _span_of(exposure.worst.begins, spans), here),
        settled=len(stages) - 1,
        firsts=tuple(
            First(GOALS[name], _after_s(met.first, life), _at(met.first), _after_s(met.for_good, life))
            for name, met in exposure.goals.items()
        ),
        targets=(),
        exposures=tuple(
            Exposure(name, LACKS[name], lack.total_s, lack.longest_s, _after_s(lack.longest_from, life))
            for name, lack in exposure.lacks.items()
        ),
        bands=bands,
    )


def targets_then(judged: Iterable[tuple[Life, Sequence[Span]]], here: Ground, targets: Targets) -> tuple[Target, ...]:
    """Return the targets as the worst of several lives meets them, and on which day; of those alike, the first."""
    found: dict[str, Target] = {}
    for one, spans in judged:
        exposure = measure(spans, here, targets)
        settled = facts(spans[-1], here).survivable
        for name, asked, met, why in targets_asked(targets, exposure, settled):
            if name not in found or (found[name].met and not met):
                found[name] = Target(name, asked, met=met, why=why, day=one.day.isoformat())
    return tuple(found.values())


def joined_spans(spans: Sequence[Span]) -> list[list[Span]]:
    """Return spans put together while the same media hold a copy, the same of these are checked, and one is where one
    was: each new proof of a checked copy is no new stage."""

    def alike(span: Span) -> object:
        return span.away, tuple((held.medium, held.verified is None) for held in span.copies)

    return [list(group) for _, group in groupby(spans, key=alike)]


def _stage(spans: Sequence[Span], life: Life, here: Ground) -> Stage:
    """Return a stage; where proofs come and go in it, as it stands worst."""
    span = min(spans, key=lambda span: (facts(span, here).survivable, cut_sets(span, here).numbers[0][0]))
    has, cuts = facts(span, here), cut_sets(span, here)
    listed = cuts.sets[:MOST_CUT_SETS]
    return Stage(
        begins_s=(spans[0].begins - life.begins).total_seconds(),
        ends_s=(spans[-1].ends - life.begins).total_seconds(),
        begins=rfc3339(spans[0].begins),
        ends=rfc3339(spans[-1].ends),
        away=span.away,
        copies=tuple(_copy(held.medium, held.verified is not None, held.made_from, span, here) for held in span.copies),
        distinct=has.copies,
        kinds=has.kinds,
        places=has.places,
        offsite=has.offsite,
        verified=has.verified,
        survivable=has.survivable,
        cut_sets=listed,
        ways=tuple(_way(events, span, here) for events in listed),
        numbers=cuts.numbers,
    )


def _copy(id_: str, verified: bool, through: tuple[str, ...], span: Span, here: Ground) -> CopyThen:
    medium = here.studio.media[id_]
    place = effective_place(medium, here.studio, away=span.away)
    return CopyThen(id_, medium.kind, place, medium.offsite and not medium.carried, verified, through)


def _span_of(begins: datetime, spans: Sequence[Span]) -> Span:
    return next(span for span in spans if span.ends > begins)


def _worst_words(ways: Sequence[tuple[str, ...]], span: Span, here: Ground) -> str:
    said = [_way(events, span, here) for events in ways[:3]]
    return "; ".join(said) + ("; and others" if len(ways) > 3 else "")


def _way(events: Sequence[str], span: Span, here: Ground) -> str:
    """Say what together loses the shoot; of a single event also which copies it takes through what they need."""
    why = taken_by_need(events[0], span, here.studio) if len(events) == 1 else ""
    return cut_words(events, here.studio) + (f" ({why})" if why else "")


def _after_s(moment: datetime | None, life: Life) -> float | None:
    return None if moment is None else (moment - life.begins).total_seconds()


def _at(moment: datetime | None) -> str | None:
    return None if moment is None else rfc3339(moment)
