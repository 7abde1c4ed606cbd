"""What a step does with what is held, when it is done and nothing fails.

Flows in: what is held on which medium, a step, a moment. Flows out: the same, changed in place. Must not know: the
calendar, what may go wrong.

- A copy is made where the source holds the shoot and the target does not. A move erases the source once the target
  holds it. An erase looks at nothing but `only_once_on`.
- A mirror gets what is copied to its medium, and loses what is erased there unless it keeps versions; mirrors of
  mirrors too, as far as something changes. What the camera writes itself reaches no mirror before a copy does.
- An edit adds to what its target holds, and changes nothing about where the shoot is.
- A verify proves what its target holds; a copy that is made anew is unproven again.
- What was begun before the shoot came to the medium that it reads has not read it: it makes and proves nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from drill.model import Medium, Step, Studio


@dataclass(frozen=True, slots=True)
class Held:
    """A copy on a medium `since` a moment (UTC). `made_from` are the media it came through, in that order, itself
    not among them; `verified` is when it was last proved against its promise."""

    medium: str
    since: datetime
    made_from: tuple[str, ...]
    verified: datetime | None


def at_first(studio: Studio, begins: datetime) -> dict[str, Held]:
    """Return what is held at the first picture: the shoot on each medium that the camera writes to."""
    return {id_: Held(id_, begins, (), None) for id_ in (studio.scheme.made_on if studio.scheme else ())}


def is_too_early(step: Step, due: datetime, held: Mapping[str, Held]) -> bool:
    """Say whether a step was begun before the shoot came to the medium that it reads."""
    # The medium of `followers.read_by`: asked here hundreds of thousands of times.
    read = held.get((step.target if step.do in ("verify", "edit") else step.source) or "")
    return step.do != "erase" and read is not None and read.since > due


def do(step: Step, at: datetime, held: dict[str, Held], media: Mapping[str, Medium]) -> bool:
    """Do a step with what is held at a moment; say whether it may have changed anything."""
    source, target = step.source or "", step.target or ""
    if step.do == "copy" and (target in held or source not in held):
        return False  # what most instants of a long life come to
    if any(id_ not in held for id_ in step.only_once_on):
        return False
    if step.do == "verify":
        if target in held:
            held[target] = replace(held[target], verified=at)
        return target in held
    if source not in held:
        return False
    if step.do != "erase" and target not in held:
        _give(held[source], target, at, held, media)
    if step.do == "erase" or (step.do == "move" and target in held):
        _take(source, held, media)
    return True


def _give(source: Held, target: str, at: datetime, held: dict[str, Held], media: Mapping[str, Medium]) -> None:
    """Make a copy on a medium, and on its mirrors that have none."""
    came_through = tuple(id_ for id_ in (*source.made_from, source.medium) if id_ != target)
    held[target] = Held(target, at, came_through, None)
    for medium in media.values():
        if medium.mirrors == target and medium.id not in held:
            _give(held[target], medium.id, at, held, media)


def _take(erased: str, held: dict[str, Held], media: Mapping[str, Medium]) -> None:
    """Erase a medium, and its mirrors that keep no versions."""
    if held.pop(erased, None) is None:
        return
    for medium in media.values():
        if medium.mirrors == erased and medium.keeps_versions_s is None:
            _take(medium.id, held, media)
