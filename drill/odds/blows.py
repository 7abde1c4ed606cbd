"""Blows: what each event does to which media.

Flows in: a studio, whether the shoot is away. Flows out: for each event the media it hits, and the status these fall
to. Must not know: how likely an event is, what is on a medium.

- `medium:m`, `place:p`, `account:a`: gone and known (F), with all that needs them. A place that is home takes what is
  carried too, while nobody is away.
- `deleted:m`: not there any more (N), on what mirrors m too. `attack`: all that is attached, its mirrors, and what
  needs one of them are gone (F), as in a drill. `rot:m`: bytes changed and nobody knows (R), on its mirrors too.
  Mirrors of mirrors alike; a mirror that keeps versions is not reached, nor what mirrors that one.
"""

from collections.abc import Collection, Mapping

from drill.followers import with_dependants, with_mirrors
from drill.model import Studio

GOOD, ROTTEN, FAILED, NOT_THERE = "G", "R", "F", "N"
Blow = tuple[tuple[str, str], ...]


def blows(studio: Studio, *, away: bool) -> Mapping[str, Blow]:
    """Return (medium, status it falls to) pairs for each event that hits any, media in the order of the studio file."""
    media = studio.media.values()
    hit: dict[str, tuple[Collection[str], str]] = {
        f"medium:{m.id}": (with_dependants([m.id], studio.media), FAILED) for m in media
    }
    for place in dict.fromkeys([*studio.places, *(m.place for m in media)]):
        hit[f"place:{place}"] = (with_dependants(_in_place(place, studio, away=away), studio.media), FAILED)
    for account in dict.fromkeys(m.account for m in media if m.account):
        behind = [m.id for m in media if m.account == account]
        hit[f"account:{account}"] = (with_dependants(behind, studio.media), FAILED)
    attached = [m.id for m in media if m.attached]
    hit |= {f"deleted:{id_}": (with_mirrors([id_], studio.media), NOT_THERE) for id_ in attached}
    hit["attack"] = (with_dependants(with_mirrors(attached, studio.media), studio.media), FAILED)
    hit |= {f"rot:{m.id}": (with_mirrors([m.id], studio.media), ROTTEN) for m in media}
    return {
        event: tuple((id_, status) for id_ in studio.media if id_ in reached)
        for event, (reached, status) in hit.items()
        if reached
    }


def _in_place(place: str, studio: Studio, *, away: bool) -> list[str]:
    is_home = not away and studio.scheme is not None and studio.scheme.home == place
    return [m.id for m in studio.media.values() if m.place == place or (is_home and m.carried)]
