"""Further failures: what each single failure takes, for the cut sets. `needs` is obeyed: who loses its key is lost too.

Flows in: a studio. Flows out: for each event (medium:x, place:y, account:z) the copies it takes. Must not know: bytes.
"""

from collections.abc import Sequence

from drill.faulttree import smallest_cut_sets
from drill.followers import with_dependants
from drill.model import Studio
from drill.record import FurtherFailures

MOST_LISTED = 20


def events(studio: Studio) -> dict[str, frozenset[str]]:
    """Return which copies each event takes."""
    first: dict[str, set[str]] = {}
    for medium in studio.media.values():
        first.setdefault(f"medium:{medium.id}", set()).add(medium.id)
        first.setdefault(f"place:{medium.place}", set()).add(medium.id)
        if medium.account:
            first.setdefault(f"account:{medium.account}", set()).add(medium.id)
    found = {}
    for event, media in first.items():
        lost = with_dependants(media, studio.media)
        found[event] = frozenset(copy.id for copy in studio.copies if copy.on in lost)
    return found


def further_failures(holders: Sequence[frozenset[str]], studio: Studio, target: int | None) -> FurtherFailures:
    """Return how many further failures are survivable, and the smallest sets that are not."""
    size, sets = smallest_cut_sets(holders, events(studio))
    if size == 0:
        return FurtherFailures(-1, target, ())
    return FurtherFailures(size - 1, target, tuple(sets[:MOST_LISTED]))
