"""Which failures take every copy of something: copies and failures → a fault tree → its smallest cut sets.

Flows in: which copies hold a thing, which copies an event takes. Flows out: sets of events. Must not know: what an
event is, what a copy is.
"""

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet

from drill.faulttree.least import smallest_of
from drill.faulttree.tree import Gate, Tree

MOST_SETS = 20_000


def smallest_cut_sets(
    holders: Iterable[AbstractSet[str]], takes: Mapping[str, AbstractSet[str]]
) -> tuple[int, list[tuple[str, ...]]]:
    """Return the size of the smallest set of events that leaves something on no copy, and the sets of that size.

    `holders` gives, for each thing, the copies it is on; `takes` the copies each event takes. The size is 0, with no
    set, where a thing is on no copy already. Each copy must be taken by some event. Sets and their events are sorted;
    there are MOST_SETS of them at most, the first ones.
    """
    masks = {frozenset(held_by) for held_by in holders}
    if not masks or frozenset() in masks:
        return 0, []
    return smallest_of(_tree(masks, takes), MOST_SETS)


def _tree(masks: AbstractSet[frozenset[str]], takes: Mapping[str, AbstractSet[str]]) -> Tree:
    """Return the tree of "some thing is on no copy": a gate for each copy, then one for each thing, then the top."""
    # A thing on fewer of the same copies is lost sooner.
    least = [mask for mask in sorted(masks, key=sorted) if not any(other < mask for other in masks)]
    copies = sorted({copy for mask in least for copy in mask})
    events = sorted(event for event, taken in takes.items() if not taken.isdisjoint(copies))
    gate = {copy: ~number for number, copy in enumerate(copies)}
    gates = [Gate(1, tuple(n for n, event in enumerate(events) if copy in takes[event])) for copy in copies]
    gates += [Gate(len(mask), tuple(gate[copy] for copy in sorted(mask))) for mask in least]
    gates.append(Gate(1, tuple(~number for number in range(len(copies), len(gates)))))
    return Tree(tuple(events), tuple(gates), ~(len(gates) - 1))
