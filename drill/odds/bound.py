"""How bad it can still get: a bound on the chance that a shoot in some state is lost before the end.

Flows in: which media are good, how long is left, what may happen. Flows out: numbers from 0 to 1, never below the truth.
Must not know: the distribution. It decides which states are too unlikely to matter.

To be lost every medium that is good now has to be hit by an event, or be erased by a step that is still to come; nothing
else makes a good copy worse. So P(lost) ≤ P(every good medium that no step erases is hit). For a set of media with a first
one m: the sum over the events that hit m of q × (the same for what this event leaves), as events are independent.
"""

from collections.abc import Sequence

from drill.odds.statuses import good_in


class Bound(dict[int, float]):
    """A bound for each state, worked out when it is first asked for.

    `hits` are (lower bits of the media an event hits, the chance that it happens before the end); `doomed` the lower bits
    of media that a step may still erase.
    """

    __slots__ = ("_doomed", "_hits", "_known")

    def __init__(self, hits: Sequence[tuple[int, float]], doomed: int) -> None:
        super().__init__()
        self._hits, self._doomed = hits, doomed
        self._known: dict[int, float] = {0: 1.0}

    def __missing__(self, state: int) -> float:
        self[state] = bound = self._all_hit(good_in(state) & ~self._doomed)
        return bound

    def _all_hit(self, media: int) -> float:
        known = self._known.get(media)
        if known is None:
            first = media & -media
            known = min(1.0, sum(q * self._all_hit(media & ~hit) for hit, q in self._hits if hit & first))
            self._known[media] = known
        return known


class NoBound(dict[int, float]):
    """Every state matters as much as a lost one: for a distribution that is right in every status."""

    __slots__ = ()

    def __missing__(self, state: int) -> float:
        return 1.0
