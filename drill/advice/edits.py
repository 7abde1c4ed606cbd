"""Edits: a studio as it would be after one change, as a new value; the one that is read stays as it is.

Flows in: a studio with a scheme, what changes. Flows out: another studio. Must not know: whether the change is any
good.
"""

from collections.abc import Collection
from dataclasses import replace
from typing import Any

from drill.model import Medium, Place, Scheme, Step, Studio
from drill.studio import ATTACHED_KINDS


def scheme_of(studio: Studio) -> Scheme:
    """Return the scheme. Errors: ValueError for a studio without one."""
    if studio.scheme is None:
        raise ValueError("this studio has no scheme")
    return studio.scheme


def with_steps(studio: Studio, *steps: Step) -> Studio:
    """Add steps after those that are there."""
    scheme = scheme_of(studio)
    return replace(studio, scheme=replace(scheme, steps=(*scheme.steps, *steps)))


def with_step(studio: Studio, id_: str, **changed: Any) -> Studio:
    """Change one step."""
    scheme = scheme_of(studio)
    steps = tuple(replace(step, **changed) if step.id == id_ else step for step in scheme.steps)
    return replace(studio, scheme=replace(scheme, steps=steps))


def with_medium(studio: Studio, id_: str, **changed: Any) -> Studio:
    """Change one medium."""
    return replace(studio, media={**studio.media, id_: replace(studio.media[id_], **changed)})


def with_new(studio: Studio, medium: Medium, place: Place | None = None) -> Studio:
    """Add a medium, and the place it is in where that is new."""
    places = studio.places if place is None else {**studio.places, place.id: place}
    return replace(studio, media={**studio.media, medium.id: medium}, places=places)


def new_medium(studio: Studio, kind: str, place: Place, *, account: str | None = None) -> Medium:
    """Return a medium of a kind that is not there yet, with what its kind and place say of it."""
    return Medium(
        id=free_id(kind, studio.media),
        kind=kind,
        place=place.id,
        attached=kind in ATTACHED_KINDS,
        offsite=kind == "cloud" if place.offsite is None else place.offsite,
        carried=place.carried,
        account=account,
    )


def free_id(wish: str, taken: Collection[str]) -> str:
    """Return an id that nothing has yet: "new-ssd", else "new-ssd-2", …"""

    name, number = f"new-{wish}", 2
    while name in taken:
        name, number = f"new-{wish}-{number}", number + 1
    return name
