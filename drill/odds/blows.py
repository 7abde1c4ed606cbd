"""Blows: what each event does to which media.

Flows in: a studio, whether the shoot is away. Flows out: for each event the media it hits, and the status these fall to.
Must not know: how likely an event is, what is on a medium.

- `medium:m`, `place:p`, `account:a`: gone and known (F), with all that needs them. A place that is home takes what is
  carried too, while nobody is away.
- `deleted:m`: not there any more (N), on what mirrors m too. `attack`: all that is attached, and its mirrors, is gone (F).
  `rot:m`: bytes changed and nobody knows (R), on its mirrors too. Mirrors of mirrors alike; a mirror that keeps versions
  is not reached, nor what mirrors that one.
"""

from collections.abc import Iterable, Mapping

from drill.model import Studio

GOOD, ROTTEN, FAILED, NOT_THERE = "G", "R", "F", "N"
Blow = tuple[tuple[str, str], ...]


def blows(studio: Studio, *, away: bool) -> Mapping[str, Blow]:
    """Return (medium, status it falls to) pairs for each event, media in the order of the studio file."""
    media = studio.media.values()
    found = {f"medium:{m.id}": _to(FAILED, _with_dependants([m.id], studio), studio) for m in media}
    for place in places_struck(studio):
        found[f"place:{place}"] = _to(FAILED, _with_dependants(_in_place(place, studio, away=away), studio), studio)
    for account in dict.fromkeys(m.account for m in media if m.account):
        behind = [m.id for m in media if m.account == account]
        found[f"account:{account}"] = _to(FAILED, _with_dependants(behind, studio), studio)
    attached = [m.id for m in media if m.attached]
    for id_ in attached:
        found[f"deleted:{id_}"] = _to(NOT_THERE, with_mirrors([id_], studio), studio)
    if attached:
        found["attack"] = _to(FAILED, with_mirrors(attached, studio), studio)
    return found | {f"rot:{m.id}": _to(ROTTEN, with_mirrors([m.id], studio), studio) for m in media}


def places_struck(studio: Studio) -> dict[str, bool]:
    """Return the places that a fire or theft may strike, and whether each is carried: where media are, and the home, also
    where nothing is kept but what is carried."""
    found = {medium.place: medium.carried for medium in studio.media.values()}
    home = studio.scheme.home if studio.scheme else None
    return found if home is None else found | {home: found.get(home, False)}


def with_mirrors(hit: Iterable[str], studio: Studio) -> set[str]:
    """Return media, and all that is kept in step with them and cannot go back."""
    found = set(hit)
    while True:
        more = {
            m.id
            for m in studio.media.values()
            if m.id not in found and m.mirrors in found and m.keeps_versions_s is None
        }
        if not more:
            return found
        found |= more


def _with_dependants(gone: Iterable[str], studio: Studio) -> set[str]:
    found = set(gone)
    while True:
        more = {m.id for m in studio.media.values() if m.id not in found and found.intersection(m.needs)}
        if not more:
            return found
        found |= more


def _in_place(place: str, studio: Studio, *, away: bool) -> list[str]:
    is_home = not away and studio.scheme is not None and studio.scheme.home == place
    return [m.id for m in studio.media.values() if m.place == place or (is_home and m.carried)]


def _to(status: str, media: set[str], studio: Studio) -> Blow:
    return tuple((id_, status) for id_ in studio.media if id_ in media)
