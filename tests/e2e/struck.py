"""Who is struck: names, globs, selectors, mirrors and needs, decided for the judge from the contract's words alone.

Flows in: a described studio, a scenario. Flows out: for each drill, every hazard with the media and copies it falls on.
It must not import anything of the program that it judges, and it looks at no bytes.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from described import Copy, Hazard, Medium, Place, Scenario, Studio

ATTACHED_KINDS = ("tablet", "phone", "computer", "network-storage")
MIRRORED = ("deleted", "altered", "truncated", "encrypted")


# --- names -------------------------------------------------------------------------------------------------------


def last_part(path: str) -> str:
    """Return the last part of a name, as names are compared: NFC and case-folded."""
    last = path.replace("\\", "/").rsplit("/", 1)[-1]
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", last).casefold())


def glob_hits(pattern: str, path: str) -> bool:
    """Say whether a glob of the contract matches: no slash, the last part; `**/` may be empty; `*` stops at a slash."""
    subject = path if "/" in pattern else path.rsplit("/", 1)[-1]
    pieces: list[str] = []
    rest = pattern
    while rest:
        for token, regex in (("**/", "(?:.*/)?"), ("**", ".*"), ("*", "[^/]*"), ("?", "[^/]")):
            if rest.startswith(token):
                pieces.append(regex)
                rest = rest[len(token) :]
                break
        else:
            pieces.append(re.escape(rest[0]))
            rest = rest[1:]
    return re.fullmatch("".join(pieces), subject, re.IGNORECASE | re.DOTALL) is not None


def matches(files: tuple[str, ...] | None, path: str) -> bool:
    """Say whether any of the globs matches; no globs match everything."""
    return files is None or any(glob_hits(pattern, path) for pattern in files)


def class_of(studio: Studio, path: str) -> str:
    """Return the first class whose globs match, else "other"."""
    for name, globs in studio.classes:
        if matches(globs, path):
            return name
    return "other"


# --- what a hazard hits ------------------------------------------------------------------------------------------


def _one_of(value: Any, wanted: Any) -> bool:
    return value in wanted if isinstance(wanted, list | tuple) else value == wanted


def _medium_matches(studio: Studio, medium: Medium, hits: Mapping[str, Any]) -> bool:
    place = next((p for p in studio.places if p.id == medium.place), Place(id=medium.place))
    facts = {
        "medium": medium.id,
        "kind": medium.kind,
        "place": medium.place,
        "account": medium.account,
        "attached": medium.kind in ATTACHED_KINDS if medium.attached is None else medium.attached,
        "carried": place.carried,
        "offsite": medium.kind == "cloud" if place.offsite is None else place.offsite,
    }
    return all(_one_of(facts[key], wanted) for key, wanted in hits.items() if key in facts)


def _copy_matches(copy: Copy, hits: Mapping[str, Any]) -> bool:
    facts = {"copy": copy.id, "form": copy.selected_form}
    return all(_one_of(facts[key], wanted) for key, wanted in hits.items() if key in facts)


def _by_copy(hazard: Hazard) -> bool:
    return bool({"copy", "form"} & set(hazard.hits)) or hazard.each == "copy"


def _hit(studio: Studio, hazard: Hazard, variant: str | None) -> tuple[set[str], set[str]]:
    """Return the ids of the media hit as wholes, and of the copies hit."""
    if hazard.each is not None and variant is None:
        return set(), set()
    media = {m.id for m in studio.media if _medium_matches(studio, m, hazard.hits)}
    copies = {c.id for c in studio.copies if c.on in media and _copy_matches(c, hazard.hits)}
    if hazard.each is not None:
        media = {m for m in media if hazard.each == "copy" or _of(studio.medium(m), hazard.each) == variant}
        copies = {c.id for c in studio.copies if c.id in copies and c.on in media}
        if hazard.each == "copy":
            copies &= {variant or ""}
    if _by_copy(hazard):
        media = set()
    return media, copies


def _of(medium: Medium, each: str) -> str | None:
    return {"medium": medium.id, "place": medium.place, "account": medium.account}[each]


def variants(studio: Studio, scenario: Scenario) -> list[str | None]:
    """Return the ids that the scenario takes in turn; [None] where it takes none; [] where it does not apply.

    It applies when any hazard hits; `each` hits only what it can take in turn.
    """
    hit_any = False
    turns: list[str | None] = []
    for hazard in scenario.hazards:
        media = {m.id for m in studio.media if _medium_matches(studio, m, hazard.hits)}
        copies = {c.id for c in studio.copies if c.on in media and _copy_matches(c, hazard.hits)}
        by_copy = bool({"copy", "form"} & set(hazard.hits))
        if hazard.each is None:
            hit_any |= bool(copies if by_copy else media)
        elif hazard.each == "copy":
            turns = [c.id for c in studio.copies if c.id in copies]
        else:
            held = {c.on for c in studio.copies if c.id in copies} if by_copy else media
            named = [_of(m, hazard.each) for m in studio.media if m.id in held]
            turns = list(dict.fromkeys(n for n in named if n is not None))
    return turns or ([None] if hit_any else [])


def _reached(studio: Studio, media: set[str]) -> set[str]:
    """Return these media and all that mirror them, directly or in a chain, and cannot go back."""
    reached = set(media)
    while True:
        more = {m.id for m in studio.media if m.mirrors in reached and m.keeps_versions is None} - reached
        if not more:
            return reached
        reached |= more


@dataclass(frozen=True, slots=True)
class Blow:
    """A hazard with the copies and whole media that it falls on."""

    hazard: Hazard
    media: frozenset[str]
    copies: frozenset[str]


def blows_of(studio: Studio, scenario: Scenario, variant: str | None) -> list[Blow]:
    """Return every hazard of a drill with what it falls on, mirrors included."""
    found = []
    for hazard in scenario.hazards:
        media, copies = _hit(studio, hazard, variant)
        if hazard.effect in MIRRORED:
            struck = media | {c.on for c in studio.copies if c.id in copies}
            mirrors = _reached(studio, struck) - struck
            media |= mirrors
            copies |= {c.id for c in studio.copies if c.on in mirrors}
        found.append(Blow(hazard, frozenset(media), frozenset(copies)))
    return found


def needed_by(studio: Studio, medium: str) -> set[str]:
    """Return the medium and everything that reading it needs, to the end of the chain."""
    needed: set[str] = set()
    todo = [medium]
    while todo:
        name = todo.pop()
        if name not in needed:
            needed.add(name)
            todo.extend(studio.medium(name).needs)
    return needed


def closed_media(studio: Studio, blows: Iterable[Blow]) -> set[str]:
    """Return the media that cannot be read because they, or something they need, are away as wholes."""
    away: set[str] = set()
    for blow in blows:
        effect = blow.hazard.effect
        if effect in ("gone", "refused") or (effect == "encrypted" and blow.hazard.files is None):
            away |= blow.media
    return {m.id for m in studio.media if (needed_by(studio, m.id) - {m.id}) & away}
