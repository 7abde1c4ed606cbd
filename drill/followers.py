"""Followers: what goes with a medium: those that cannot be read without it, those that are kept in step with it; and
what a step comes after and reads.

Flows in: ids, the media of a studio; steps. Flows out: ids, steps. Must not know: what befell a medium, copies,
scenarios.
"""

from collections.abc import Iterable, Iterator, Mapping

from drill.model import Medium, Step


def with_dependants(ids: Iterable[str], media: Mapping[str, Medium]) -> set[str]:
    """Return media, and those that cannot be read any more without them."""
    found = set(ids)
    while True:
        more = {m.id for m in media.values() if m.id not in found and found.intersection(m.needs)}
        if not more:
            return found
        found |= more


def with_mirrors(ids: Iterable[str], media: Mapping[str, Medium], *, keeping_versions: bool = False) -> list[str]:
    """Return media, then all that is kept in step with them, also through others, the nearest first.

    A mirror that keeps versions can go back: it is no follower, nor is what mirrors that one, but where those
    `keeping_versions` are asked for too.
    """
    found = list(dict.fromkeys(ids))
    for followed in found:  # grows as it goes
        found += [
            m.id
            for m in media.values()
            if m.mirrors == followed and m.id not in found and (keeping_versions or m.keeps_versions_s is None)
        ]
    return found


def reached_from(ids: Iterable[str], steps: Iterable[Step], media: Mapping[str, Medium]) -> set[str]:
    """Return media, and those to which steps may ever bring what is on them, with the mirrors of these."""
    moves = [(step.source, step.target) for step in steps if step.source and step.target]
    found, waiting = set[str](), list(ids)
    while waiting:
        id_ = waiting.pop()
        if id_ not in found:
            found.add(id_)
            targets = [target for source, target in moves if source == id_]
            waiting += with_mirrors(targets, media, keeping_versions=True)
    return found


def read_by(step: Step) -> str | None:
    """Return the medium on which a step finds nothing to do where the shoot is not."""
    return step.target if step.do in ("verify", "edit") else step.source


def with_followed(step: Step, known: Mapping[str, Step]) -> Iterator[Step]:
    """Yield a step, then what it follows, and so on, each once; `known` are all steps by id."""
    seen: set[str] = set()
    at: Step | None = step
    while at is not None and at.id not in seen:
        yield at
        seen.add(at.id)
        at = known.get(at.follows or "")
