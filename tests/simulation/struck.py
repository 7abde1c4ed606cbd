"""What a scenario leaves of a shoot at a moment, read from the contract: a shoot is one thing, and in doubt lost.

A copy that anything happens to does not count. Where `home` is given, what is carried is struck once in its own place
and once at home (where it is neither carried nor off-site) while nobody is away, and must outlast both.
"""

from collections.abc import Sequence
from dataclasses import replace

from drill.model import Hazard, Medium, Place, Studio

from .blows import kept_in_step, locked_out
from .planned import Copy

TAKES_ALL = ("gone", "refused")
TRAVELS = ("deleted", "altered", "truncated", "encrypted")


def variants(studio: Studio, copies: Sequence[Copy], hazards: Sequence[Hazard], *, away: bool) -> set[str | None]:
    """Return the ids for which there is a variant just then; {None} where there is one drill; empty: not about it."""
    found: set[str | None] = set()
    for here in _wheres(studio, away=away):
        for hazard in hazards:
            hit = _hit(here, hazard)
            if hazard.each == "copy":
                found |= {copy.medium for copy in copies if copy.medium in hit}
            elif hazard.each:
                found |= {_own(here.media[id_], hazard.each) for id_ in hit} - {None}
            elif hit:
                found.add(None)
    return found


def left_after(
    studio: Studio, copies: Sequence[Copy], hazards: Sequence[Hazard], variant: str | None, *, away: bool
) -> set[str]:
    """Return the media whose copies are left."""
    left = {copy.medium for copy in copies}
    for here in _wheres(studio, away=away):
        for hazard in hazards:
            left -= _struck(here, copies, hazard, variant)
    return left


def _wheres(studio: Studio, *, away: bool) -> list[Studio]:
    home = studio.scheme.home if studio.scheme else None
    if away or home is None:
        return [studio]
    media = {
        medium.id: replace(medium, place=home, carried=False, offsite=False) if medium.carried else medium
        for medium in studio.media.values()
    }
    return [studio, replace(studio, media=media, places=studio.places | {home: Place(home)})]


def _own(medium: Medium, each: str) -> str | None:
    return {"medium": medium.id, "place": medium.place, "account": medium.account}[each]


def _hit(studio: Studio, hazard: Hazard) -> set[str]:
    wanted = hazard.hits
    return {
        medium.id
        for medium in studio.media.values()
        if (wanted.medium is None or medium.id in wanted.medium)
        and (wanted.kind is None or medium.kind in wanted.kind)
        and (wanted.place is None or medium.place in wanted.place)
        and (wanted.account is None or medium.account in wanted.account)
        and (wanted.attached is None or medium.attached == wanted.attached)
        and (wanted.carried is None or medium.carried == wanted.carried)
        and (wanted.offsite is None or medium.offsite == wanted.offsite)
    }


def _struck(studio: Studio, copies: Sequence[Copy], hazard: Hazard, variant: str | None) -> set[str]:
    hit = _hit(studio, hazard)
    if hazard.each == "copy":
        hit &= {copy.medium for copy in copies if copy.medium == variant}
    elif hazard.each:
        hit = {id_ for id_ in hit if _own(studio.media[id_], hazard.each) == variant}
    if hazard.effect == "slow":
        return set()
    if hazard.effect == "stale":
        return {c.medium for c in copies if c.medium in hit and hazard.before is not None and c.since >= hazard.before}
    if hazard.effect in TAKES_ALL:
        return hit if hazard.each == "copy" else locked_out(studio, hit)
    if hazard.effect in TRAVELS:
        hit = kept_in_step(studio, hit)
    return locked_out(studio, hit) if hazard.effect == "encrypted" and hazard.files is None else hit
