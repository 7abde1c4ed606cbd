"""A studio as its stages are judged: where each medium is, what takes what is on it, and what is known so far.

Flows in: a studio. Flows out: a Ground, which all questions about its spans may share. Must not know: spans, steps.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from drill.model import Medium, Studio

Reach = Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class CutSets:
    """The minimal sets of events that lose a shoot: smallest first, at most MOST_LISTED of them, each sorted.

    `numbers` says how many there are of each size, as (size, number) pairs. Of a shoot that is on no copy the one set
    is the empty one. Where there are more than a million (of 40 media in 20 places) only the first of the smallest size
    are known, and counted.
    """

    sets: tuple[tuple[str, ...], ...]
    numbers: tuple[tuple[int, int], ...]

    @property
    def survivable(self) -> int:
        """Return how many events the shoot survives whatever they are: -1 where it is lost already."""
        return self.numbers[0][0] - 1

    @property
    def smallest(self) -> tuple[tuple[str, ...], ...]:
        """Return the listed sets of the smallest size."""
        return tuple(events for events in self.sets if len(events) == self.numbers[0][0])


@dataclass(frozen=True, slots=True)
class Facts:
    """How many copies a stage has; on how many kinds of media, in how many places, off-site in how many places,
    verified.

    `locations` are places too, but all that one person carries is in one. `off_card` counts media other than those
    the camera writes to, `unproven` those of them that were never verified. `survivable` are the further failures (of
    a medium, a place, an account) that it survives, -1: lost.
    """

    copies: int
    kinds: int
    places: int
    locations: int
    offsite: int
    verified: int
    off_card: int
    unproven: int
    survivable: int


@dataclass(frozen=True, slots=True)
class Ground:
    """A studio with what was found out about it so far: the events by medium (away, at home), and what is the same for
    all spans with equal copies."""

    studio: Studio
    away: Reach
    at_home: Reach
    by_copy: dict[object, Reach] = field(default_factory=dict)
    cuts: dict[object, CutSets] = field(default_factory=dict)
    facts: dict[object, Facts] = field(default_factory=dict)


def ground(on: Studio | Ground) -> Ground:
    """Return a studio ready for many spans: those with equal copies share their answers. One that is ready stays so."""
    if isinstance(on, Ground):
        return on
    away, at_home = (
        {id_: _events(medium, on, away=away) for id_, medium in on.media.items()} for away in (True, False)
    )
    return Ground(on, away, at_home)


def effective_place(medium: Medium, studio: Studio, *, away: bool) -> str:
    """Return the place where a medium is: what is carried is at home, where that is known, while nobody is away."""
    home = studio.scheme.home if studio.scheme else None
    return home if home and medium.carried and not away else medium.place


def is_offsite(medium: Medium, studio: Studio) -> bool:
    """Say whether what is on a medium is off-site: never what is carried, nor what is at home."""
    home = studio.scheme.home if studio.scheme else None
    return medium.offsite and not medium.carried and medium.place != home


def chain(medium: Medium, studio: Studio) -> tuple[Medium, ...]:
    """Return a medium and those it mirrors without keeping versions, in order."""
    found = {medium.id: medium}
    while medium.mirrors and medium.keeps_versions_s is None and medium.mirrors not in found:
        medium = studio.media[medium.mirrors]
        found[medium.id] = medium
    return tuple(found.values())


def _events(medium: Medium, studio: Studio, *, away: bool) -> tuple[str, ...]:
    """Return the events that take what is on a medium, whichever shoot: all but bad sources."""
    found: dict[str, None] = {}
    for needed in with_needs(medium, studio):
        found[f"medium:{needed.id}"] = None
        found[f"place:{needed.place}"] = None
        found[f"place:{effective_place(needed, studio, away=away)}"] = None
        if needed.account:
            found[f"account:{needed.account}"] = None
    for mirrored in chain(medium, studio):
        if mirrored.attached:
            found[f"deleted:{mirrored.id}"] = None
        found[f"rot:{mirrored.id}"] = None
    if any(each.attached for needed in with_needs(medium, studio) for each in chain(needed, studio)):
        found["attack"] = None
    return tuple(found)


def with_needs(medium: Medium, studio: Studio) -> list[Medium]:
    """Return a medium and all that reading it needs, to the end; itself first."""
    found = {medium.id: medium}
    queue = [medium]
    while queue:
        for id_ in queue.pop().needs:
            if id_ not in found:
                found[id_] = studio.media[id_]
                queue.append(studio.media[id_])
    return list(found.values())
