"""Tree → its smallest minimal cut sets, without the larger ones.

Flows in: a tree. Flows out: a size, and sets. Must not know: probabilities, what an event is.

Two ways, one answer. Size by size from below: every gate's sets of up to 1, then 2, … events; quick while the sets are
small and few, as those of copies are. Where that becomes long, by the diagram: a set of the least size that makes the
top happen is minimal, and the least size is found node by node.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from drill.errors import BadTree
from drill.faulttree.cutsets import MOST_CUT_SETS
from drill.faulttree.diagram import YES, Diagram, diagram
from drill.faulttree.tree import Gates, Tree, checked

_MOST_TRIED = 200_000  # sets that are put together before the diagram is the quicker way


class _TooLong(Exception):
    """More sets than are worth trying."""


def smallest(top: str, gates: Gates, *, most: int | None = None) -> tuple[int, list[tuple[str, ...]]]:
    """Return the size of the smallest cut sets, and all of that size (or the first `most`), sorted, as sorted tuples.

    Raises BadTree as `minimal_cut_sets` does, for the number of sets only when `most` is None.
    """
    return smallest_of(checked(top, gates), most)


def smallest_of(tree: Tree, most: int | None) -> tuple[int, list[tuple[str, ...]]]:
    """Return what `smallest` does, of a tree in numbers."""
    names = sorted(tree.events)
    found = by_size(tree) or by_diagram(tree, most)
    return found[0].bit_count(), [_names(bits, names) for bits in sorted(found, reverse=True)[:most]]


def by_size(tree: Tree, most_tried: int = _MOST_TRIED) -> list[int] | None:
    """Return the smallest sets as bits, the first name the highest; None where too many have to be tried."""
    bit = _bits(tree)
    tried = _Tried(most_tried)
    for size in range(1, len(tree.events) + 1):
        try:
            found = _up_to(tree, bit, size, tried)
        except _TooLong:
            return None
        if found:
            return list(found)
    raise AssertionError("all events together make any top happen")


class _Tried:
    """How many sets may still be put together."""

    def __init__(self, left: int) -> None:
        self.left = left

    def count(self, number: int) -> None:
        self.left -= number
        if self.left < 0:
            raise _TooLong


def _bits(tree: Tree) -> list[int]:
    """Return each event's bit. Of two sets of one size the one first in order of names is then the larger number."""
    place = {name: place for place, name in enumerate(sorted(tree.events, reverse=True))}
    return [1 << place[name] for name in tree.events]


@dataclass(frozen=True, slots=True)
class _Sets:
    """A gate's sets: those of one event together as bits; the larger ones, which hold none of those; and both."""

    singles: int
    larger: list[int]
    each: list[int]


def _sets(found: Collection[int]) -> _Sets:
    alone = [bits for bits in found if not bits & (bits - 1)]
    singles = sum(alone)
    larger = [bits for bits in found if bits & (bits - 1) and not bits & singles]
    return _Sets(singles, larger, alone + larger)


def _up_to(tree: Tree, bit: Sequence[int], size: int, tried: _Tried) -> Collection[int]:
    """Return the top's sets of up to so many events: all that are minimal, and perhaps others."""
    events = [_Sets(one, [], [one]) for one in bit]
    made: list[_Sets] = []
    for gate in tree.gates:
        inputs = [events[one] if one >= 0 else made[~one] for one in gate.inputs]
        tried.count(len(inputs))
        if gate.least == 1:
            each: set[int] = set().union(*(one.each for one in inputs))
            tried.count(len(each))
        else:
            each = _at_least(gate.least, inputs, size, tried)
        made.append(_sets(each))
    return (made[~tree.top] if tree.top < 0 else events[tree.top]).each


def _at_least(least: int, inputs: Sequence[_Sets], size: int, tried: _Tried) -> set[int]:
    inputs = sorted(inputs, key=lambda one: len(one.each))
    if least == len(inputs) and not inputs[0].each:
        return set()
    if least == len(inputs) and not any(one.larger for one in inputs):
        return _one_of_each([one.each for one in inputs], size, tried)
    reached: list[set[int]] = [{0}] + [set() for _ in range(least)]  # reached[k]: at least k of those so far
    for number, one in enumerate(inputs):
        for k in range(min(least, number + 1), max(1, least - (len(inputs) - number - 1)) - 1, -1):
            both = _both(reached[k - 1], one, size, tried)
            reached[k] = both if number + 1 == k else reached[k] | both
        if least == len(inputs) and not reached[number + 1]:
            return set()
    return reached[least]


def _one_of_each(inputs: Sequence[Collection[int]], size: int, tried: _Tried) -> set[int]:
    """Return sets of up to so many events with one of each input; in these every set is one event.

    Branches over the first input that is not met yet, and leaves off where not even the events that meet most would do.
    """
    meets: dict[int, int] = {}  # an event's bit → the inputs it meets, as bits
    for number, one in enumerate(inputs):
        for bit in one:
            meets[bit] = meets.get(bit, 0) | 1 << number
    most = max(met.bit_count() for met in meets.values())
    found: set[int] = set()
    todo = [((1 << len(inputs)) - 1, 0, size)]
    while todo:
        unmet, chosen, left = todo.pop()
        if not unmet:
            found.add(chosen)
        elif unmet.bit_count() <= left * most:
            first = inputs[(unmet & -unmet).bit_length() - 1]
            todo += [(unmet & ~meets[bit], chosen | bit, left - 1) for bit in first]
            tried.count(len(first))
    return found


def _both(left: Collection[int], right: _Sets, size: int, tried: _Tried) -> set[int]:
    """Return what is in both, of up to so many events. What holds a set of the right already needs no more of it."""
    singles, larger, each = right.singles, right.larger, right.each
    found: set[int] = set()
    for bits in left:
        if bits & singles or (larger and any(bits & more == more for more in larger)):
            found.add(bits)
        elif bits.bit_count() < size:
            found.update(both for more in each if (both := bits | more).bit_count() <= size)
            tried.count(len(each))
    tried.count(len(left) * (1 + len(larger)))
    return found


def by_diagram(tree: Tree, most: int | None) -> list[int]:
    """Return the smallest sets as bits, the first name the highest: all of them, or the first `most`."""
    asked = diagram(tree)
    sizes = _least_sizes(asked)
    on_way = _on_the_way(asked, sizes)
    number = _number(asked, sizes, on_way)
    if most is None and number > MOST_CUT_SETS:
        raise BadTree(f"it has {number} smallest cut sets, more than {MOST_CUT_SETS}; ask for the first ones")
    return _first(asked, sizes, on_way, number if most is None else most)


def _least_sizes(asked: Diagram) -> list[int]:
    """Return for each node how many events it takes at least from there on; more than there are: never."""
    sizes = [len(asked.events) + 1, 0]
    for high, low in zip(asked.high[2:], asked.low[2:], strict=True):
        sizes.append(min(1 + sizes[high], sizes[low]))
    return sizes


def _ways(asked: Diagram, sizes: Sequence[int], node: int) -> list[int]:
    """Return where a node's smallest sets lead: its high side, its low side, or both."""
    high, low = asked.high[node], asked.low[node]
    return [one for one, size in ((high, 1 + sizes[high]), (low, sizes[low])) if size == sizes[node]]


def _on_the_way(asked: Diagram, sizes: Sequence[int]) -> list[int]:
    """Return the nodes that smallest sets of the root pass, bottom up."""
    passed = {asked.root}
    for node in range(asked.root, YES, -1):
        if node in passed:
            passed.update(_ways(asked, sizes, node))
    return sorted(passed)


def _number(asked: Diagram, sizes: Sequence[int], on_way: Sequence[int]) -> int:
    number = {YES: 1}
    for node in on_way:
        if node > YES:
            number[node] = sum(number[one] for one in _ways(asked, sizes, node))
    return number[asked.root]


def _first(asked: Diagram, sizes: Sequence[int], on_way: Sequence[int], most: int) -> list[int]:
    """Return the first smallest sets in the order of their names.

    Of two sets of one size that one comes first which holds the first name they do not share. One more shared name
    changes nothing in that, so the first ones of a node come from the first ones below it.
    """
    place = {name: place for place, name in enumerate(sorted(asked.events, reverse=True))}
    found: dict[int, list[int]] = {YES: [0]}
    for node in on_way:
        if node > YES:
            here: list[int] = []
            for one in _ways(asked, sizes, node):
                mine = 1 << place[asked.events[asked.level[node]]] if one == asked.high[node] else 0
                here += [bits | mine for bits in found[one]]
            found[node] = sorted(here, reverse=True)[:most]
    return found[asked.root]


def _names(bits: int, names: Sequence[str]) -> tuple[str, ...]:
    found = []
    while bits:
        place = bits.bit_length() - 1
        found.append(names[len(names) - 1 - place])
        bits ^= 1 << place
    return tuple(found)
