"""Diagram → minimal cut sets, all of them.

Flows in: a diagram of a tree that only gets worse with more events. Flows out: sets of events. Must not know:
probabilities. They are kept as a zero-suppressed diagram, in which sets share their parts. Source: A. Rauzy, *New
Algorithms for Fault Trees Analysis*, Reliability Engineering and System Safety 40 (1993), from memory.
"""

from collections.abc import Iterator

from drill.errors import BadTree
from drill.faulttree.diagram import MOST_STEPS, NO, YES, Diagram, TooTangled, diagram
from drill.faulttree.tree import Gates, checked

MOST_CUT_SETS = 1_000_000  # some 1 GB as sets
NONE, EMPTY = 0, 1  # families of sets: no set at all, and the empty set alone


def minimal_cut_sets(top: str, gates: Gates) -> set[frozenset[str]]:
    """Return every set of events that makes the top happen while no part of it does.

    `gates` maps a gate's name to a pair of its kind and its inputs: "and", "or", or a whole number k for at least k of
    them. A name that is no gate is an event; so is a top that is none. An input named twice in an "and" or an "or"
    counts once. Raises BadTree where the tree is none (`tree.checked` lists the mistakes), where it is too tangled
    (`diagram.MOST_STEPS`), and where it has more than MOST_CUT_SETS sets, for which there is `smallest`.
    """
    asked = diagram(checked(top, gates))
    families = Families(asked)
    number = families.count()
    if number > MOST_CUT_SETS:
        raise BadTree(f"top {top!r}: has {number} minimal cut sets, more than {MOST_CUT_SETS}; ask for the smallest")
    return {frozenset(asked.events[level] for level in levels) for levels in families.sets()}


class Families:
    """The minimal cut sets below every node of a diagram, as families that share their parts.

    A family other than NONE and EMPTY is the sets of `having`, each with the level's event, and those of `lacking`.
    `of[node]` is the family of a node of the diagram.
    """

    def __init__(self, asked: Diagram) -> None:
        self.asked = asked
        self.level, self.having, self.lacking = [len(asked.events)] * 2, [NONE, EMPTY], [NONE, EMPTY]
        self._family: dict[tuple[int, int, int], int] = {}
        self._known: dict[tuple[int, int], int] = {}
        self.of = [NONE, EMPTY]
        for level, high, low in zip(asked.level[2:], asked.high[2:], asked.low[2:], strict=True):
            # What happens without the event as well is no minimal set with it.
            self.of.append(self.family(level, self.without(self.of[high], low), self.of[low]))

    def family(self, level: int, having: int, lacking: int) -> int:
        """Return the family of some sets with a level's event and some without."""
        if having == NONE:
            return lacking
        found = self._family.setdefault((level, having, lacking), len(self.level))
        if found == len(self.level):
            self.level.append(level)
            self.having.append(having)
            self.lacking.append(lacking)
        return found

    def without(self, family: int, node: int) -> int:
        """Return those sets of a family that do not make a node of the diagram happen."""
        done = _at_once(family, node)
        if done is not None:
            return done
        known, first = self._known, (family, node)
        todo = [first]
        while todo:
            pair = todo[-1]
            if pair in known:
                todo.pop()
                continue
            if len(known) >= MOST_STEPS:
                raise TooTangled(len(self.asked.events))
            parts = self._parts(*pair)
            answers = [done if (done := _at_once(*part)) is not None else known.get(part) for part in parts]
            left = [part for part, answer in zip(parts, answers, strict=True) if answer is None]
            if left:
                todo += left
                continue
            having, lacking = answers if len(answers) == 2 else (None, answers[0])
            assert lacking is not None
            known[pair] = lacking if having is None else self.family(self.level[pair[0]], having, lacking)
            todo.pop()
        return known[first]

    def _parts(self, family: int, node: int) -> list[tuple[int, int]]:
        mine, asked = self.level[family], self.asked.level[node]
        if mine > asked:
            return [(family, self.asked.low[node])]
        high, low = (self.asked.high[node], self.asked.low[node]) if mine == asked else (node, node)
        return [(self.having[family], high), (self.lacking[family], low)]

    def count(self) -> int:
        """Return how many minimal cut sets the root has."""
        number = [0, 1]
        for having, lacking in zip(self.having[2:], self.lacking[2:], strict=True):
            number.append(number[having] + number[lacking])
        return number[self.of[self.asked.root]]

    def sets(self) -> Iterator[tuple[int, ...]]:
        """Give the minimal cut sets of the root as levels."""
        todo: list[tuple[int, tuple[int, ...]]] = [(self.of[self.asked.root], ())]
        while todo:
            family, chosen = todo.pop()
            while family > EMPTY:
                todo.append((self.having[family], (*chosen, self.level[family])))
                family = self.lacking[family]
            if family == EMPTY:
                yield chosen


def _at_once(family: int, node: int) -> int | None:
    if node == NO or family == NONE:
        return family
    if node == YES:
        return NONE
    return EMPTY if family == EMPTY else None
