"""How likely a shoot is lost, at low, middle and high rates, and which events matter most.

Flows in: lives and spans, a studio. Flows out: values of the record. Must not know: reports.
Importance is that of one stage as if it lasted a year, each event having its chance of happening in a year. Bytes that
were bad on a medium before they were copied on had only from their coming there until they were copied to go bad.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from math import expm1, isfinite

from drill.faulttree import importance
from drill.forecastrecord import Chance, Rate, Weight, Weights
from drill.model import Studio
from drill.odds import LEVELS, Rates, in_words, odds_at, rates
from drill.stages import event_words, stage_tree
from drill.timeline import Life, Span
from drill.units import YEAR_S

PRECISION = 0.01  # of a chance of which two figures are told, in a range of nine times; a finer one takes far longer


def all_rates(studio: Studio) -> dict[str, Rates]:
    """Return the rates by level."""
    return {level: rates(studio, level) for level in LEVELS}


def chance_of(life: Life, studio: Studio, by_level: Mapping[str, Rates], *, years: int) -> Chance:
    """Return the chance that this shoot is lost by the end of its life, after so many years; what was too unlikely to
    follow to its end counts as lost."""
    found = odds_at(life, studio, [by_level[level] for level in LEVELS], [life.until], precision=PRECISION)
    low, middle, high = (one.at_most[0] for one in found)
    return Chance(
        which="any day",
        day=life.day.isoformat(),
        away=life.away,
        years=years,
        low=low,
        middle=middle,
        high=high,
        words=in_words(middle),
        left_out=max(one.at_most[0] - one.lost[0] for one in found),
    )


def later(one: Chance, then: Chance) -> Chance:
    """Return the chance of the same shoot after more years, which is never less: each is as fine as it was reckoned."""
    low, middle, high = max(one.low, then.low), max(one.middle, then.middle), max(one.high, then.high)
    return replace(then, which=one.which, low=low, middle=middle, high=high, words=in_words(middle))


def ranked(days: Sequence[Chance]) -> list[Chance]:
    """Return the chances of two days as those of the worst and the best, by the middle one; where they are no further
    apart than they are fine, as one of any day: the first."""
    most, least = max(days, key=lambda one: one.middle), min(days, key=lambda one: one.middle)
    if most.middle - least.middle <= 2 * PRECISION * most.middle:
        return [replace(days[0], which="any day")]
    return [replace(most, which="worst day"), replace(least, which="best day")]


def rates_told(studio: Studio, by_level: Mapping[str, Rates]) -> tuple[Rate, ...]:
    """Return the rates as they are told."""
    low, middle, high = (by_level[level].per_year for level in LEVELS)
    sources = by_level["middle"].sources
    return tuple(
        Rate(event, event_words(event, studio), low[event], middle[event], high[event], sources[event])
        for event in middle
    )


def weights(stage: str, life: Life, spans: Sequence[Span], studio: Studio, *, per_year: Mapping[str, float]) -> Weights:
    """Return the importance of each event in the last of some spans, the one with the biggest part in a loss first."""
    span = spans[-1]
    if not span.copies:
        return Weights(stage, life.away, ())
    top, gates = stage_tree(span, studio)
    events = {event for _, inputs in gates.values() for event in inputs if event not in gates}
    chance = {event: -expm1(-_per_stage(event, spans, per_year)) for event in events}
    found = importance(top, gates, chance)
    ordered = sorted(found, key=lambda event: (-found[event].fussell_vesely, -found[event].birnbaum, event))
    return Weights(
        stage,
        life.away,
        tuple(
            Weight(
                event,
                event_words(event, studio),
                chance[event],
                found[event].birnbaum,
                found[event].criticality,
                found[event].fussell_vesely,
                _finite(found[event].raw),
                _finite(found[event].rrw),
            )
            for event in ordered
        ),
    )


def _finite(worth: float) -> float | None:
    return worth if isfinite(worth) else None


def _per_stage(event: str, spans: Sequence[Span], per_year: Mapping[str, float]) -> float:
    """Return how often an event is reckoned with in a stage that lasts a year."""
    kind, _, id_ = event.partition(":")
    if kind != "bad-source":
        return per_year.get(event, 0.0)
    return per_year.get(f"rot:{id_}", 0.0) * _held_until_copied_s(id_, spans) / YEAR_S


def _held_until_copied_s(medium: str, spans: Iterable[Span]) -> float:
    """Return the longest time from a copy's coming to a medium until one was made from it."""
    longest_s = 0.0
    came = None
    for span in spans:
        for held in span.copies:
            came = held.since if held.medium == medium else came
        for held in span.copies:
            if came is not None and held.made_from[-1:] == (medium,):
                longest_s = max(longest_s, (held.since - came).total_seconds())
    return longest_s
