"""Who is hit: a scenario's selectors against a studio, with what travels by mirrors and what is missed through needs.

Flows in: a scenario, a studio, a variant. Flows out: for each copy, its Fate. Must not know: any byte.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from drill.model import Copy, Hazard, Medium, Scenario, Selector, Studio

TRAVELS = frozenset({"deleted", "altered", "truncated", "encrypted"})
TAKES_COPY = frozenset({"expired", "refused"})


@dataclass(frozen=True, slots=True)
class Blow:
    """One hazard as it reaches one copy; `origin` is the copy whose draw it shares (itself, or the one it mirrors)."""

    number: int
    hazard: Hazard
    origin: str


@dataclass(frozen=True, slots=True)
class Fate:
    """What a scenario does to one copy: taken away as a whole (`removed` says why), or hit by blows; and slowed."""

    removed: str | None = None
    blows: tuple[Blow, ...] = ()
    rate_factor: float = 1.0

    @property
    def takes_all(self) -> bool:
        """Say whether a blow takes every file of the copy, whatever is on it."""
        return any(
            blow.hazard.effect in TAKES_COPY
            or (blow.hazard.effect in ("encrypted", "deleted") and blow.hazard.files is None)
            for blow in self.blows
        )


@dataclass(frozen=True, slots=True)
class _Hit:
    media: tuple[str, ...]  # hit as a whole
    copies: tuple[str, ...]  # hit, whether through their medium or by themselves


def applies(scenario: Scenario, studio: Studio) -> bool:
    """Say whether any hazard of the scenario hits anything in this studio."""
    return any(_hits_anything(hazard, studio) for hazard in scenario.hazards)


def variants(scenario: Scenario, studio: Studio) -> list[str | None]:
    """Return one id for every drill of a scenario with `each`, in the studio file's order; [None] without."""
    for hazard in scenario.hazards:
        if hazard.each:
            ids = _each_ids(hazard, studio)
            if ids:
                return list(ids)
    return [None]


def aim(scenario: Scenario, studio: Studio, variant: str | None) -> dict[str, Fate]:
    """Return the fate of every copy (by id) under a scenario's variant."""
    hits = [_hit(hazard, studio, variant) for hazard in scenario.hazards]
    taken = _taken_media(scenario.hazards, hits, studio)
    fates = {}
    for copy in studio.copies:
        fates[copy.id] = _fate(copy, scenario.hazards, hits, taken, studio)
    return fates


def _fate(
    copy: Copy, hazards: Iterable[Hazard], hits: Iterable[_Hit], taken: Mapping[str, str], studio: Studio
) -> Fate:
    removed = taken.get(copy.on)
    blows: list[Blow] = []
    factor = 1.0
    for number, (hazard, hit) in enumerate(zip(hazards, hits, strict=True)):
        origins = _origins(copy, hazard, hit, studio)
        if not origins:
            continue
        if hazard.effect == "slow":
            factor *= hazard.factor
        elif hazard.effect == "gone" or (hazard.effect == "expired" and copy.form != "link"):
            removed = removed or f"{copy.id} is gone"
        elif hazard.effect == "refused":
            removed = removed or f"the login to {copy.id} is refused"
        else:
            blows.extend(Blow(number, hazard, origin) for origin in origins)
    return Fate(removed, tuple(blows), factor)


def _origins(copy: Copy, hazard: Hazard, hit: _Hit, studio: Studio) -> list[str]:
    """Return the copies whose draws reach `copy`: its own where it is hit, and that of the one it mirrors."""
    own = [copy.id] if copy.id in hit.copies else []
    if hazard.effect not in TRAVELS:
        return own
    hit_media = dict.fromkeys([*hit.media, *(c.on for c in studio.copies if c.id in hit.copies)])
    source = _mirrored(studio.media[copy.on], studio, set(hit_media))
    if source is None:
        return own
    siblings = [c for c in studio.copies if c.on == source and (c.id in hit.copies or source in hit.media)]
    same_form = [c for c in siblings if c.form == copy.form] or siblings
    return list(dict.fromkeys([*own, same_form[0].id if same_form else copy.id]))


def _mirrored(medium: Medium, studio: Studio, hit_media: set[str]) -> str | None:
    """Follow `mirrors` to a medium that is hit; a mirror that keeps versions is not reached, nor what follows it."""
    seen = {medium.id}
    while medium.mirrors and medium.mirrors not in seen and medium.keeps_versions_s is None:
        if medium.mirrors in hit_media:
            return medium.mirrors
        seen.add(medium.mirrors)
        medium = studio.media[medium.mirrors]
    return None


def _taken_media(hazards: Iterable[Hazard], hits: Iterable[_Hit], studio: Studio) -> dict[str, str]:
    """Return every medium that cannot be read as a whole, with the reason; `needs` is followed to its end."""
    taken: dict[str, str] = {}
    missed: dict[str, str] = {}  # media that others cannot use as their key any more
    for hazard, hit in zip(hazards, hits, strict=True):
        for id_ in hit.media:
            if hazard.effect == "gone":
                taken.setdefault(id_, f"{id_} is gone")
            elif hazard.effect == "refused":
                taken.setdefault(id_, f"the login to {studio.media[id_].account or id_} is refused")
        if hazard.effect == "encrypted" and hazard.files is None:
            for medium in studio.media.values():
                if medium.id in hit.media or _mirrored(medium, studio, set(hit.media)):
                    missed.setdefault(medium.id, f"{medium.id} is encrypted")
    missed = {**missed, **taken}
    for _ in studio.media:  # each round follows the needs one step further
        for medium in studio.media.values():
            lacking = next((need for need in medium.needs if need in missed), None)
            if lacking is not None:
                taken.setdefault(medium.id, f"{medium.id} cannot be read without {lacking}")
                missed.setdefault(medium.id, taken[medium.id])
    return taken


def _hits_anything(hazard: Hazard, studio: Studio) -> bool:
    if hazard.each:
        return bool(_each_ids(hazard, studio))
    media, copies = _selected(hazard.hits, studio)
    return bool(media or copies)


def _each_ids(hazard: Hazard, studio: Studio) -> tuple[str, ...]:
    media, copies = _selected(hazard.hits, studio)
    if hazard.each == "copy":
        return tuple(copy.id for copy in copies)
    touched = dict.fromkeys([*media, *(copy.on for copy in copies)])
    of: Callable[[Medium], str | None] = {
        "medium": lambda medium: medium.id,
        "place": lambda medium: medium.place,
        "account": lambda medium: medium.account,
    }[hazard.each or "medium"]
    order = [of(medium) for medium in studio.media.values() if medium.id in touched]
    return tuple(dict.fromkeys(id_ for id_ in order if id_))


def _hit(hazard: Hazard, studio: Studio, variant: str | None) -> _Hit:
    if hazard.each and variant is None:
        return _Hit((), ())  # another hazard makes the scenario apply, this one hits nothing
    media, copies = _selected(hazard.hits, studio)
    if not hazard.each:
        return _Hit(tuple(media), tuple(copy.id for copy in copies))
    if hazard.each == "copy":
        return _Hit((), tuple(copy.id for copy in copies if copy.id == variant))

    def inside(medium: Medium) -> bool:
        return variant == {"medium": medium.id, "place": medium.place, "account": medium.account}[hazard.each or ""]

    chosen = [copy.id for copy in copies if inside(studio.media[copy.on])]
    return _Hit(tuple(id_ for id_ in media if inside(studio.media[id_])), tuple(chosen))


def _selected(selector: Selector, studio: Studio) -> tuple[list[str], list[Copy]]:
    """Return the media hit as a whole and the copies hit; with `copy` or `form` only those copies are hit."""
    media = [medium.id for medium in studio.media.values() if _matches(selector, medium)]
    copies = [copy for copy in studio.copies if copy.on in media]
    if selector.copy is None and selector.form is None:
        return media, copies
    chosen = [
        copy
        for copy in copies
        if (selector.copy is None or copy.id in selector.copy) and (selector.form is None or copy.form in selector.form)
    ]
    return [], chosen


def _matches(selector: Selector, medium: Medium) -> bool:
    words = (
        (selector.medium, medium.id),
        (selector.kind, medium.kind),
        (selector.place, medium.place),
        (selector.account, medium.account),
    )
    flags = (
        (selector.attached, medium.attached),
        (selector.carried, medium.carried),
        (selector.offsite, medium.offsite),
    )
    return all(wanted is None or value in wanted for wanted, value in words) and all(
        wanted is None or value is wanted for wanted, value in flags
    )
