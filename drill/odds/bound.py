"""How bad it can still get: a bound on the chance that a shoot in some state is lost before the end.

Flows in: which media are good, how long is left, what may happen. Flows out: numbers from 0 to 1, never below the
truth. Must not know: the distribution. It decides which states are too unlikely to matter.

To be lost at some moment, every medium that is good now has to be bad then. One that no step may still erase, and that
the plan has all along, is bad only by an event that hits it: since now, or, where the event leaves it failed (F), since
the last replacement, as what failed before is good again by then. So the time left is cut into windows, and P(lost) is
at most the sum over the windows of P(every such medium is hit): by an event since now, or for those that are mended in
the window or one replacement before it. Windows that follow each other are reckoned as the last of them. What rots (R)
where it is checked every V at most, each time with chance d, is still bad after n checks with (1 - d)^n: as if it were
mended after V/d (the mean of what lasts; by Jensen's inequality 1 - exp(-rate × mean) is no less than the chance that
some lasts). For a set of media with a first one m that is at most the sum over the events that hit m of q × (the same
for what this event leaves), as events are independent.

A medium that is failed now is good again at the next replacement, if anything is good until then. So either every good
one is hit within the time between two replacements, or, some time in the rest, every one that is good or failed now.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, expm1

from drill.odds.statuses import good_in, there_in

_GROUPS = 5  # of windows
Window = Sequence[tuple[int, float]]


@dataclass(frozen=True, slots=True)
class Hazard:
    """Lower bits of the media an event hits, its rate per year, and after how many years what it does is mended."""

    hits: int
    per_year: float
    mended_after: float


class Bound(dict[int, float]):
    """A bound for each state, worked out when it is first asked for.

    `windows` has (lower bits of the media an event hits, the chance that it matters) for the last window of a group,
    and how many it stands for, `soon` the same for the time until the next replacement; `doomed` are the lower bits of
    media that cannot be counted on.
    """

    __slots__ = ("_doomed", "_known", "_soon", "_windows")

    def __init__(self, windows: Sequence[tuple[Window, int]], soon: Window, doomed: int) -> None:
        super().__init__()
        self._windows = [(_AllHit(window), count) for window, count in windows]
        self._soon = _AllHit(soon)
        self._doomed = doomed
        self._known: dict[int, float] = {}

    def __missing__(self, state: int) -> float:
        good = good_in(state)
        failed = there_in(state) & state & state >> 1
        bound = self._in_the_rest(good & ~self._doomed)
        if failed & ~self._doomed:
            soon = self._soon[good & ~self._doomed]
            bound = min(bound, soon + self._in_the_rest((good | failed) & ~self._doomed))
        self[state] = bound
        return bound

    def _in_the_rest(self, media: int) -> float:
        bound = self._known.get(media)
        if bound is None:
            bound = min(1.0, sum(count * all_hit[media] for all_hit, count in self._windows))
            self._known[media] = bound
        return bound


class NoBound(dict[int, float]):
    """Every state matters as much as a lost one: for a distribution that is right in every status."""

    __slots__ = ()

    def __missing__(self, state: int) -> float:
        return 1.0


def bound_for(hazards: Sequence[Hazard], doomed: int, years: float, replaced_after: float) -> Bound:
    """Return the bound for the last `years`, where what failed is replaced every so many years (`replaced_after`)."""
    groups = max(1, min(_GROUPS, ceil(years / replaced_after)))
    each = max(1, ceil(years / groups / replaced_after))
    long = years / groups / each
    windows = []
    for number in range(1, groups + 1):
        since = number * years / groups
        windows.append(([(h.hits, -expm1(-h.per_year * min(since, long + h.mended_after))) for h in hazards], each))
    soon = [(h.hits, -expm1(-h.per_year * min(years, replaced_after))) for h in hazards]
    return Bound(windows, soon, doomed)


class _AllHit(dict[int, float]):
    """A bound on the chance that every one of some media is hit, by their lower bits."""

    __slots__ = ("_by_medium",)

    def __init__(self, window: Window) -> None:
        super().__init__({0: 1.0})
        self._by_medium: dict[int, list[tuple[int, float]]] = {}
        for hit, q in window:
            for medium in _each(hit):
                self._by_medium.setdefault(medium, []).append((~hit, q))

    def __missing__(self, media: int) -> float:
        total = 0.0
        for left, q in self._by_medium.get(media & -media, ()):
            total += q * self[media & left]
        self[media] = total = min(1.0, total)
        return total


def _each(bits: int) -> Iterator[int]:
    while bits:
        yield bits & -bits
        bits &= bits - 1
