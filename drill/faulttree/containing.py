"""For each event of a diagram, when a minimal cut set with that event happens, as a diagram.

Flows in: a diagram. Flows out: nodes of the same levels, and which of them is meant for each event. Must not know:
probabilities.
"""

from drill.faulttree.cutsets import EMPTY, NONE, Families
from drill.faulttree.diagram import NO, YES, Diagram, Table


def unions(asked: Diagram) -> tuple[Table, list[int]]:
    """Return nodes, and for each level the node of "some minimal cut set with this level's event happens"."""
    happens = _Happens(Families(asked))
    return happens.table, [happens.containing(level) for level in range(len(asked.events))]


class _Happens:
    """When some set of a family happens. What was worked out once stays, for all levels."""

    def __init__(self, families: Families) -> None:
        self.families = families
        self.table = Table(len(families.asked.events))
        self._whole = {NONE: NO, EMPTY: YES}
        asked = families.asked
        for level, high, low, family in zip(
            asked.level[2:], asked.high[2:], asked.low[2:], families.of[2:], strict=True
        ):
            self._whole[family] = self.table.node(level, high, low)  # the same numbers as in the diagram

    def containing(self, wanted: int) -> int:
        """Return when some minimal cut set of the root with a level's event happens."""
        families, table = self.families, self.table
        start = families.of[families.asked.root]
        made = {NONE: NO, EMPTY: NO}
        for family in self._above(start, wanted):
            level = families.level[family]
            if level > wanted:
                made[family] = NO
            elif level == wanted:
                made[family] = table.node(level, self._of(families.having[family]), NO)
            else:
                having, lacking = made[families.having[family]], made[families.lacking[family]]
                made[family] = table.node(level, table.either(having, lacking), lacking)
        return made[start]

    def _above(self, start: int, wanted: int) -> list[int]:
        """Return the families that a level's event is looked for in, bottom up."""
        families = self.families
        seen, todo = {start}, [start]
        while todo:
            family = todo.pop()
            if family > EMPTY and families.level[family] < wanted:
                more = {families.having[family], families.lacking[family]} - seen
                seen |= more
                todo += more
        return sorted(seen - {NONE, EMPTY})

    def _of(self, start: int) -> int:
        """Return when some set of a family happens."""
        families, table, todo = self.families, self.table, [start]
        while todo:
            family = todo[-1]
            if family in self._whole:
                todo.pop()
                continue
            below = (families.having[family], families.lacking[family])
            left = [one for one in below if one not in self._whole]
            if left:
                todo += left
                continue
            having, lacking = self._whole[below[0]], self._whole[below[1]]
            self._whole[family] = table.node(families.level[family], table.either(having, lacking), lacking)
        return self._whole[start]
