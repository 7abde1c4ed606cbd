"""Every scenario at every moment of a shoot's life: held or lost, and what is left.

Flows in: the spans of a life, its studio, scenarios. Flows out: one band for each scenario and variant. Must not
know: bytes, how likely anything is. A scenario is aimed (`faults.aim`) at a studio whose copies are those of the
span, one on each medium that holds the shoot; it has the id and the form of the studio's own first copy on that
medium, else the medium's id and no form. A shoot counts as one thing, and in doubt as lost:

- What damages, encrypts, cuts off or deletes any file of a copy makes that copy none, whatever `files` says.
- `stale` leaves a copy that was made before the moment it gives; `slow` leaves every copy.
- While nobody is away, what is carried may be in its own place or at home: it is left only where both leave it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from drill.faults.aim import Fate, aim, applies, variants
from drill.model import Copy, Medium, Scenario, Studio
from drill.timeline import Held, Span

HELD, LOST, NOT_ABOUT = "held", "lost", "not about it"


@dataclass(frozen=True, slots=True)
class Stretch:
    """What a scenario comes to when it strikes from `begins` to `ends` (UTC): HELD, LOST or NOT_ABOUT (its selectors
    match nothing then); the media that are `left`, in the studio file's order."""

    begins: datetime
    ends: datetime
    outcome: str
    left: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Band:
    """One scenario, or one variant of it, over a life."""

    scenario: Scenario
    variant: str | None
    stretches: tuple[Stretch, ...]


Outcome = tuple[str, tuple[str, ...]]
Key = tuple[bool, tuple[tuple[str, datetime | None], ...]]
_NOT_ABOUT: Outcome = (NOT_ABOUT, ())


def scenario_bands(spans: Sequence[Span], studio: Studio, scenarios: Iterable[Scenario]) -> tuple[Band, ...]:
    """Return what each scenario comes to in each span, stretches with the same outcome as one.

    A scenario with `each` has one band for every id that it hits in any span; one that is about no span has one band,
    NOT_ABOUT throughout. Spans with equal copies are worked out once.
    """
    found: list[Band] = []
    worlds: dict[Key, list[Studio]] = {}
    for scenario in scenarios:
        dated = any(hazard.effect == "stale" for hazard in scenario.hazards)
        keys = [_key(span, dated=dated) for span in spans]
        known: dict[Key, dict[str | None, Outcome]] = {}
        for span, key in zip(spans, keys, strict=True):
            if key not in known:
                worlds[key] = worlds.get(key) or _worlds(span, studio)
                known[key] = _outcomes(scenario, worlds[key])
        named = dict.fromkeys(variant for outcomes in known.values() for variant in outcomes) or {None: None}
        for variant in _in_order(named, studio):
            outcomes = [known[key].get(variant, _NOT_ABOUT) for key in keys]
            found.append(Band(scenario, variant, _stretches(zip(spans, outcomes, strict=True))))
    return tuple(found)


def _key(span: Span, *, dated: bool) -> Key:
    """Return what spans with the same outcomes have in common; when a copy was made matters to what is stale alone."""
    return (span.away, tuple((held.medium, held.since if dated else None) for held in span.copies))


def _in_order(named: Iterable[str | None], studio: Studio) -> list[str | None]:
    """Return variants in the studio file's order, whichever span they were met in first."""
    ids: dict[str | None, None] = {None: None}
    for medium in studio.media.values():
        ids |= dict.fromkeys((medium.id, medium.place, medium.account))
    found = set(named)
    return [*(id_ for id_ in ids if id_ in found), *(id_ for id_ in named if id_ not in ids)]


def _worlds(span: Span, studio: Studio) -> list[Studio]:
    """Return the studio as it stands in a span; twice where what is carried may be in its place or at home."""
    copies = tuple(_copy(held, studio) for held in span.copies)
    first = replace(studio, copies=copies)
    home = studio.scheme.home if studio.scheme else None
    if home is None or span.away or not any(medium.carried for medium in studio.media.values()):
        return [first]
    media = {id_: _at_home(medium, home) if medium.carried else medium for id_, medium in studio.media.items()}
    return [first, replace(first, media=media)]


def _at_home(medium: Medium, home: str) -> Medium:
    return replace(medium, place=home, carried=False, offsite=False)


def _copy(held: Held, studio: Studio) -> Copy:
    own = next((copy for copy in studio.copies if copy.on == held.medium), None)
    if own is None:
        return Copy(held.medium, held.medium, None, None, None, None, None, made=held.since)
    return replace(own, made=held.since)


def _outcomes(scenario: Scenario, worlds: Sequence[Studio]) -> dict[str | None, Outcome]:
    """Return what a scenario comes to, by variant; only for those variants that it has here."""
    left: dict[str | None, list[str]] = {}
    for studio in worlds:
        if not applies(scenario, studio):
            continue
        for variant in variants(scenario, studio):
            fates = aim(scenario, studio, variant)
            now = [copy.on for copy in studio.copies if _leaves(fates[copy.id], copy)]
            left[variant] = [medium for medium in left.get(variant, now) if medium in now]
    return {variant: (HELD if media else LOST, tuple(media)) for variant, media in left.items()}


def _leaves(fate: Fate, copy: Copy) -> bool:
    """Say whether a whole shoot can still be had from a copy."""
    if fate.removed:
        return False
    return all(blow.hazard.effect == "stale" and _is_older(copy, blow.hazard.before) for blow in fate.blows)


def _is_older(copy: Copy, before: datetime | None) -> bool:
    return copy.made is not None and before is not None and copy.made < before


def _stretches(by_span: Iterable[tuple[Span, Outcome]]) -> tuple[Stretch, ...]:
    found: list[Stretch] = []
    for span, (outcome, left) in by_span:
        last = found[-1] if found else None
        if last is not None and (last.outcome, last.left, last.ends) == (outcome, left, span.begins):
            found[-1] = replace(last, ends=span.ends)
        else:
            found.append(Stretch(span.begins, span.ends, outcome, left))
    return tuple(found)
