"""Blows: what each event does to which media.

Flows in: a studio, whether the shoot is away. Flows out: for each event the media it hits, and the status these fall
to. Must not know: how likely an event is, what is on a medium.

- `medium:m`, `place:p`, `account:a`: gone and known (F), with all that needs them. A place that is home takes what is
  carried too, while nobody is away.
- `deleted:m`: not there any more (N), on what mirrors m too. `attack`: all that is attached, its mirrors, and what
  needs one of them are gone (F), as in a drill. `rot:m`: bytes changed and nobody knows (R), on its mirrors too.
  Mirrors of mirrors alike; a mirror that keeps versions is not reached, nor what mirrors that one.
"""

from collections.abc import Iterable, Mapping

from drill.model import Studio

GOOD, ROTTEN, FAILED, NOT_THERE = "G", "R", "F", "N"
Blow = tuple[tuple[str, str], ...]


def blows(studio: Studio, *, away: bool) -> Mapping[str, Blow]:
    """Return (medium, status it falls to) pairs for each event that hits any, media in the order of the studio file."""
    media = studio.media.values()
    hit = {f"medium:{m.id}": (_with_dependants([m.id], studio), FAILED) for m in media}
    for place in dict.fromkeys([*studio.places, *(m.place for m in media)]):
        hit[f"place:{place}"] = (_with_dependants(_in_place(place, studio, away=away), studio), FAILED)
    for account in dict.fromkeys(m.account for m in media if m.account):
        behind = [m.id for m in media if m.account == account]
        hit[f"account:{account}"] = (_with_dependants(behind, studio), FAILED)
    attached = [m.id for m in media if m.attached]
    hit |= {f"deleted:{id_}": (with_mirrors([id_], studio), NOT_THERE) for id_ in attached}
    hit["attack"] = (_with_dependants(with_mirrors(attached, studio), studio), FAILED)
    hit |= {f"rot:{m.id}": (with_mirrors([m.id], studio), ROTTEN) for m in media}
    return {
        event: tuple((id_, status) for id_ in studio.media if id_ in reached)
        for event, (reached, status) in hit.items()
        if reached
    }


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
