"""How likely the top is, and what each event has to do with it.

Flows in: a tree and the probability of each event, all independent. Flows out: the exact probability, five measures of
importance, and two approximations from cut sets to hold it against. Must not know: what an event is.

Everything exact is a sum of positive terms: nothing is taken away from something nearly as large, so that small
probabilities keep their digits.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from numbers import Real

from drill.errors import BadTree
from drill.faulttree.containing import unions
from drill.faulttree.diagram import YES, Diagram, Table, diagram
from drill.faulttree.tree import Gates, checked


@dataclass(frozen=True, slots=True)
class Importance:
    """What an event x has to do with a top, P(top | x = 1) being the top's probability once x has happened.

    birnbaum: P(top | x=1) - P(top | x=0). criticality: birnbaum · P(x) / P(top). fussell_vesely: the probability that
    at least one minimal cut set with x happens, over P(top) (another measure of that name, 1 - P(top | x=0) / P(top),
    is criticality here). raw, the risk achievement worth: P(top | x=1) / P(top). rrw, the risk reduction worth:
    P(top) / P(top | x=0), infinite where the top cannot happen without x.

    Where P(top) is 0 nothing contributes: criticality and fussell_vesely are 0, rrw is 1, and raw is infinite where x
    alone would make the top possible, else 1.
    """

    birnbaum: float
    criticality: float
    fussell_vesely: float
    raw: float
    rrw: float


def probability(top: str, gates: Gates, p: Mapping[str, float]) -> float:
    """Return the exact probability of the top; events are independent, `p` gives each one's.

    Names in `p` that the top does not need are no mistake. Raises BadTree as `minimal_cut_sets` does, and where an
    event has no probability or one that is no number from 0 to 1.
    """
    tree = checked(top, gates)
    chances = _chances(tree.events, p)
    asked = diagram(tree)
    return _upwards(asked, [chances[event] for event in asked.events])[asked.root]


def importance(top: str, gates: Gates, p: Mapping[str, float]) -> dict[str, Importance]:
    """Return the importance of every event of the tree, by name, sorted. Raises BadTree as `probability` does."""
    tree = checked(top, gates)
    chances = _chances(tree.events, p)
    asked = diagram(tree)
    chance = [chances[event] for event in asked.events]
    worth = _upwards(asked, chance)
    total = worth[asked.root]
    forced = _forced(asked, chance, worth)
    table, roots = unions(asked)
    sets = _upwards(table, chance)
    found = {
        event: _importance(chance[level], total, forced[level], sets[roots[level]])
        for level, event in enumerate(asked.events)
    }
    return dict(sorted(found.items()))


def _importance(chance: float, total: float, forced: tuple[float, float, float], sets: float) -> Importance:
    without, with_, gain = forced
    if total == 0:
        return Importance(gain, 0.0, 0.0, math.inf if with_ > 0 else 1.0, 1.0)
    return Importance(
        birnbaum=gain,
        criticality=gain * chance / total,
        fussell_vesely=sets / total,
        raw=with_ / total,
        rrw=total / without if without > 0 else math.inf,
    )


def _chances(events: Iterable[str], p: Mapping[str, float]) -> dict[str, float]:
    chances: dict[str, float] = {}
    for event in events:
        if event not in p:
            raise BadTree(f"event {event!r}: has no probability")
        chance = p[event]
        if isinstance(chance, bool) or not isinstance(chance, Real) or not 0 <= chance <= 1:
            raise BadTree(f"event {event!r}: its probability is a number from 0 to 1, not {chance!r}")
        chances[event] = float(chance)
    return chances


def _upwards(asked: Diagram | Table, chance: Sequence[float]) -> list[float]:
    """Return the probability of every node; `chance` is that of each level's event."""
    worth = [0.0, 1.0]
    for level, high, low in zip(asked.level[2:], asked.high[2:], asked.low[2:], strict=True):
        worth.append(chance[level] * worth[high] + (1.0 - chance[level]) * worth[low])
    return worth


def _forced(asked: Diagram, chance: Sequence[float], worth: Sequence[float]) -> list[tuple[float, float, float]]:
    """Return for each level P(top) where its event does not happen, where it does, and the difference.

    A way down the diagram asks the level's event, and then either answer may be forced; or it passes the level by, on
    an edge from above to below it, and the answer changes nothing.
    """
    levels = len(asked.events)
    without, with_, gain = [0.0] * levels, [0.0] * levels, [0.0] * levels
    reach = [0.0] * len(worth)
    reach[asked.root] = 1.0
    passing = _Passing(levels)
    passing.add(0, asked.level[asked.root], worth[asked.root])
    for node in range(asked.root, YES, -1):
        level, reached = asked.level[node], reach[node]
        high, low = asked.high[node], asked.low[node]
        without[level] += reached * worth[low]
        with_[level] += reached * worth[high]
        gain[level] += reached * (worth[high] - worth[low])
        for below, share in ((high, reached * chance[level]), (low, reached * (1.0 - chance[level]))):
            reach[below] += share
            passing.add(level + 1, asked.level[below], share * worth[below])
    for level in range(levels):
        passed = passing.at(level)
        without[level] += passed
        with_[level] += passed
    return list(zip(without, with_, gain, strict=True))


class _Passing:
    """What passes each level by: amounts added to ranges of levels, asked level by level, with sums alone."""

    def __init__(self, levels: int) -> None:
        self._half = levels
        self._amounts = [0.0] * (2 * levels)

    def add(self, start: int, stop: int, amount: float) -> None:
        """Add an amount to all levels from `start` to before `stop`."""
        left, right = start + self._half, stop + self._half
        while left < right:
            if left & 1:
                self._amounts[left] += amount
                left += 1
            if right & 1:
                right -= 1
                self._amounts[right] += amount
            left >>= 1
            right >>= 1

    def at(self, level: int) -> float:
        """Return what was added to a level."""
        place, amount = level + self._half, 0.0
        while place:
            amount += self._amounts[place]
            place >>= 1
        return amount


def rare_event(cut_sets: Iterable[AbstractSet[str]], p: Mapping[str, float]) -> float:
    """Return the sum of the cut sets' probabilities: never less than the exact one; above 1 it is no probability."""
    return math.fsum(_each(cut_sets, p))


def min_cut_upper_bound(cut_sets: Iterable[AbstractSet[str]], p: Mapping[str, float]) -> float:
    """Return the probability of any of the cut sets, as if they shared no events: from the exact one to `rare_event`.

    Source: J. D. Esary and F. Proschan, *Coherent Structures of Non-Identical Components*, Technometrics 5 (1963), from
    memory.
    """
    each = _each(cut_sets, p)
    return 1.0 if 1.0 in each else -math.expm1(math.fsum(math.log1p(-one) for one in each))


def _each(cut_sets: Iterable[AbstractSet[str]], p: Mapping[str, float]) -> list[float]:
    """Return the probability of each cut set."""
    return [math.prod(_chances(sorted(one), p).values()) for one in cut_sets]
