"""Fault trees: what has to go wrong together, and how likely that is. Exact, for any logic that only gets worse.

Flows in: gates and events by name, probabilities; or which copies hold what, and which copies an event takes. Flows
out: minimal cut sets, probabilities, importance. Must not know: what an event is, shoots, schemes, files.

    tree        gates as people write them → the same in numbers, checked
    diagram     → a binary decision diagram, in a good order of its events
    cutsets     → minimal cut sets, all of them
    least       → the smallest alone
    containing  → when some cut set with an event happens
    quantities  → probability, importance, and two approximations
    holders     copies and the events that take them → a tree → its smallest cut sets
"""

from drill.errors import BadTree
from drill.faulttree.cutsets import minimal_cut_sets
from drill.faulttree.holders import smallest_cut_sets
from drill.faulttree.least import smallest
from drill.faulttree.quantities import Importance, importance, min_cut_upper_bound, probability, rare_event
from drill.faulttree.tree import Gates

__all__ = [
    "BadTree",
    "Gates",
    "Importance",
    "importance",
    "min_cut_upper_bound",
    "minimal_cut_sets",
    "probability",
    "rare_event",
    "smallest",
    "smallest_cut_sets",
]
