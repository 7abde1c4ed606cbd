"""A tree → a binary decision diagram: every question in one order, equal parts kept once.

Flows in: a checked tree. Flows out: a diagram, bottom up, and which event each level asks. Must not know: names of
gates, probabilities. Source: R. E. Bryant, *Graph-Based Algorithms for Boolean Function Manipulation*, IEEE
Transactions on Computers C-35 (1986), from memory. Never recursive, so that a deep tree needs no deep stack.

A diagram's size hangs on the order of its questions. Some orders are tried, each within a bound, and the bound grows.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from drill.errors import BadTree
from drill.faulttree.tree import Tree

NO, YES = 0, 1
MOST_STEPS = 5_000_000  # answers that are kept while a diagram grows: some 1 GB
_FIRST_BOUND = 50_000
_GROWTH = 10


class TooTangled(BadTree):
    """A tree cannot be worked out within MOST_STEPS."""

    def __init__(self, events: int) -> None:
        super().__init__(f"its gates share too many of its {events} events to be worked out exactly")


@dataclass(frozen=True, slots=True)
class Diagram:
    """Nodes 0 (no) and 1 (yes), then each after those below it: the level it asks, and where yes and no lead.

    `events` names the event of each level; `root` is the top's node. The two ends ask a level behind the last.
    """

    events: tuple[str, ...]
    level: list[int]
    high: list[int]
    low: list[int]
    root: int


def diagram(tree: Tree) -> Diagram:
    """Return the diagram of a tree, the smallest of those found; raise TooTangled where all orders need too much."""
    orders = dict.fromkeys(_orders(tree))
    bound = _FIRST_BOUND
    while bound <= MOST_STEPS:
        found = [made for order in orders if (made := _built(tree, order, bound))]
        if found:
            return min(found, key=lambda made: len(made.level))
        bound *= _GROWTH
    raise TooTangled(len(tree.events))


def _built(tree: Tree, order: Sequence[int], bound: int) -> Diagram | None:
    table = Table(len(order), bound)
    at = {event: level for level, event in enumerate(order)}
    made: list[int] = []
    try:
        for gate in tree.gates:
            below = [table.node(at[one], YES, NO) if one >= 0 else made[~one] for one in gate.inputs]
            made.append(table.at_least(gate.least, below))
    except TooTangled:
        return None
    root = made[~tree.top] if tree.top < 0 else table.node(0, YES, NO)
    return table.diagram(tuple(tree.events[event] for event in order), root)


def _orders(tree: Tree) -> Iterator[tuple[int, ...]]:
    """Give orders of the events: from the top, depth first; inputs as written, small ones first, large first."""
    sizes = _sizes(tree)

    def size(one: int) -> float:
        return 1.0 if one >= 0 else sizes[~one]

    yield _depth_first(tree, [gate.inputs for gate in tree.gates])
    yield _depth_first(tree, [tuple(sorted(gate.inputs, key=size)) for gate in tree.gates])
    yield _depth_first(tree, [tuple(sorted(gate.inputs, key=size, reverse=True)) for gate in tree.gates])


def _sizes(tree: Tree) -> list[float]:
    """Return how large each gate is written out: events below it, each as often as it is met; infinite is one size."""
    sizes: list[float] = []
    for gate in tree.gates:
        sizes.append(sum(1.0 if one >= 0 else sizes[~one] for one in gate.inputs))
    return sizes


def _depth_first(tree: Tree, inputs: Sequence[Sequence[int]]) -> tuple[int, ...]:
    order: dict[int, None] = {}
    seen: set[int] = set()
    todo = [tree.top]
    while todo:
        one = todo.pop()
        if one >= 0:
            order[one] = None
        elif one not in seen:
            seen.add(one)
            todo.extend(reversed(inputs[~one]))
    return tuple(order)


class Table:
    """The nodes while a diagram grows: no node is there twice, and nothing is worked out twice."""

    def __init__(self, levels: int, bound: int = MOST_STEPS) -> None:
        self.level, self.high, self.low = [levels, levels], [NO, YES], [NO, YES]
        self._bound = bound
        self._node: dict[tuple[int, int, int], int] = {}
        self._known: dict[tuple[int, int, int], int] = {}

    def node(self, level: int, high: int, low: int) -> int:
        """Return the node that asks a level, and leads to `high` on yes and to `low` on no."""
        if high == low:
            return high
        found = self._node.setdefault((level, high, low), len(self.level))
        if found == len(self.level):
            if found >= self._bound:
                raise TooTangled(self.level[NO])
            self.level.append(level)
            self.high.append(high)
            self.low.append(low)
        return found

    def at_least(self, least: int, inputs: Sequence[int]) -> int:
        """Return "at least `least` of the inputs"; the deepest are put together first, so that little is redone."""
        inputs = sorted(inputs, key=lambda one: (-self.level[one], one))
        if least in (1, len(inputs)):
            weak, strong = (NO, YES) if least == 1 else (YES, NO)
            made = weak
            for one in inputs:
                made = self._joined(made, one, weak, strong)
            return made
        reached = [YES] + [NO] * least  # reached[k]: at least k of those so far
        for number, one in enumerate(inputs):
            for k in range(least, max(1, least - (len(inputs) - number - 1)) - 1, -1):
                reached[k] = self._one_more(one, reached[k - 1], reached[k])
        return reached[least]

    def _one_more(self, one: int, sooner: int, later: int) -> int:
        """Return "`sooner` if this one happens, else `later`"; what is later is also sooner."""
        if (
            self.high[one] == YES
            and self.low[one] == NO
            and self.level[one] < min(self.level[sooner], self.level[later])
        ):
            return self.node(self.level[one], sooner, later)
        return self.either(later, self._joined(sooner, one, YES, NO))

    def either(self, left: int, right: int) -> int:
        """Return when one of two nodes happens, or both."""
        return self._joined(left, right, NO, YES)

    def diagram(self, events: tuple[str, ...], root: int) -> Diagram:
        """Return what the root needs. Nodes are made after those below them, and stay in that order."""
        needed = bytearray(max(root, YES) + 1)
        needed[NO] = needed[YES] = needed[root] = 1
        for node in range(root, YES, -1):
            if needed[node]:
                needed[self.high[node]] = needed[self.low[node]] = 1
        kept = [node for node, is_needed in enumerate(needed) if is_needed]
        new = dict(zip(kept, range(len(kept)), strict=True))
        return Diagram(
            events,
            [self.level[node] for node in kept],
            [new[self.high[node]] for node in kept],
            [new[self.low[node]] for node in kept],
            new[root],
        )

    def _joined(self, left: int, right: int, weak: int, strong: int) -> int:
        """Return "or" (weak NO, strong YES) or "and" (weak YES, strong NO) of two nodes."""
        level, high, low, known = self.level, self.high, self.low, self._known
        done = _at_once(left, right, weak, strong)
        if done is not None:
            return done
        first = (left, right, weak) if left < right else (right, left, weak)
        todo = [first]
        while todo:
            pair = todo[-1]
            if pair in known:
                todo.pop()
                continue
            if len(known) >= self._bound:
                raise TooTangled(self.level[NO])
            a, b, _ = pair
            asked = min(level[a], level[b])
            a_high, a_low = (high[a], low[a]) if level[a] == asked else (a, a)
            b_high, b_low = (high[b], low[b]) if level[b] == asked else (b, b)
            answers = []
            for x, y in ((a_high, b_high), (a_low, b_low)):
                answer = _at_once(x, y, weak, strong)
                if answer is None:
                    key = (x, y, weak) if x < y else (y, x, weak)
                    answer = known.get(key)
                    if answer is None:
                        todo.append(key)
                        continue
                answers.append(answer)
            if len(answers) == 2:
                known[pair] = self.node(asked, answers[0], answers[1])
                todo.pop()
        return known[first]


def _at_once(left: int, right: int, weak: int, strong: int) -> int | None:
    if left in (right, weak):
        return right
    if right == weak:
        return left
    return strong if strong in (left, right) else None
