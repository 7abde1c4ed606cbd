"""The smallest sets of events that lose a shoot as it stands, by trying every set there is."""

from collections.abc import Sequence
from itertools import combinations

from drill.model import Studio

from .blows import events_of, hit_by
from .planned import Copy


def taken_by(studio: Studio, copies: Sequence[Copy], event: str, *, away: bool) -> frozenset[str]:
    """Return the media whose copies an event takes: "bad-source:x", or one of those that go on all the time.

    Bytes that were bad on a medium when they were copied on take every copy that came through it and was not verified
    since, and its own, unless that was verified after the last of them was made: found right, or put right.
    """
    what, _, name = event.partition(":")
    if what != "bad-source":
        hit, _ = hit_by(studio, event, away=away)
        return frozenset(copy.medium for copy in copies if copy.medium in hit)
    through = [copy for copy in copies if name in copy.made_from]
    taken = {copy.medium for copy in through if copy.verified is None}
    last = max(copy.since for copy in through)
    own = {copy.medium for copy in copies if copy.medium == name and (copy.verified is None or copy.verified < last)}
    return frozenset(taken | own)


def cut_sets(studio: Studio, copies: Sequence[Copy], *, away: bool) -> set[frozenset[str]]:
    """Return every minimal set of events that takes all copies. None has more events than there are copies."""
    sources = dict.fromkeys(id_ for copy in copies for id_ in copy.made_from)
    events = [*events_of(studio), *(f"bad-source:{id_}" for id_ in sources)]
    takes = {event: taken_by(studio, copies, event, away=away) for event in events}
    takes = {event: taken for event, taken in takes.items() if taken}
    everything = frozenset(copy.medium for copy in copies)
    found: set[frozenset[str]] = set()
    for size in range(1, len(copies) + 1):
        for events_tried in combinations(takes, size):
            if frozenset().union(*(takes[event] for event in events_tried)) == everything:
                tried = frozenset(events_tried)
                if not any(smaller < tried for smaller in found):
                    found.add(tried)
    return found
