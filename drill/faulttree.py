"""Cut sets: the smallest sets of failures that take every copy of something.

Flows in: which copies hold a thing, which copies an event takes. Flows out: sets of events. Must not know: what an
event is, what a copy is. Exact: a minimal hitting set over the copies, by iterative deepening.
"""

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet

MOST_SETS = 20_000  # a bound on how many sets of the smallest size are collected


def smallest_cut_sets(
    holders: Iterable[AbstractSet[str]], takes: Mapping[str, AbstractSet[str]]
) -> tuple[int, list[tuple[str, ...]]]:
    """Return the size of the smallest set of events that leaves something on no copy, and all the sets of that size.

    `holders` gives, for each thing, the copies it is on; `takes` the copies each event takes. The size is 0, with no
    set, where a thing is on no copy already. Each copy must be taken by some event. Sets and their events are sorted.
    """
    masks = {frozenset(held_by) for held_by in holders}
    if any(not mask for mask in masks):
        return 0, []
    best: int | None = None
    sets: set[frozenset[str]] = set()
    for mask in sorted(masks, key=lambda m: (len(m), sorted(m))):
        if any(other < mask for other in masks):
            continue  # a thing on fewer of the same copies is lost sooner
        size, found = _smallest_for(mask, takes, best)
        if size is None:
            continue
        if best is None or size < best:
            best, sets = size, found
        else:
            sets |= found
    return best or 0, sorted(tuple(sorted(found)) for found in sets)


def _smallest_for(
    mask: AbstractSet[str], takes: Mapping[str, AbstractSet[str]], most: int | None
) -> tuple[int | None, set[frozenset[str]]]:
    relevant = {event: frozenset(taken & mask) for event, taken in sorted(takes.items()) if taken & mask}
    by_copy = {copy: [event for event, taken in relevant.items() if copy in taken] for copy in mask}
    widest = max(len(taken) for taken in relevant.values())
    found: set[frozenset[str]] = set()

    def descend(left: frozenset[str], chosen: tuple[str, ...], depth: int) -> None:
        if len(found) >= MOST_SETS or len(left) > depth * widest:
            return
        if not left:
            found.add(frozenset(chosen))
            return
        copy = min(left, key=lambda c: (len(by_copy[c]), c))
        for event in by_copy[copy]:
            descend(left - relevant[event], (*chosen, event), depth - 1)

    for depth in range(1, (len(mask) if most is None else most) + 1):
        descend(frozenset(mask), (), depth)
        if found:
            return depth, found
    return None, found
