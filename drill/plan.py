"""The plan: in which order copies are asked, so that a restore takes little time and few media.

Flows in: which copies are said to hold which files, sizes, loads' times. Flows out: copies, best first.
Must not know: faults, reading, the order of the studio file (which must change no verdict).
"""

from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet


def order_copies(
    holders: Sequence[AbstractSet[str]], sizes: Sequence[int], cost_s: Callable[[str, int, int], float]
) -> list[str]:
    """Return copy ids, the cheapest for a file first: each next one has the least seconds for each file it adds.

    `holders[i]` are the ids said to hold file i of `sizes[i]` bytes; `cost_s(id, files, bytes)` is in seconds.
    Ties go to the copy that adds more files, then by id.
    """
    by_mask: dict[frozenset[str], tuple[int, int]] = {}
    for held_by, size in zip(holders, sizes, strict=True):
        files, total = by_mask.get(frozenset(held_by), (0, 0))
        by_mask[frozenset(held_by)] = (files + 1, total + size)
    left, waiting = dict(by_mask), {id_ for mask in by_mask for id_ in mask}
    order: list[str] = []
    while waiting:
        best = min(sorted(waiting), key=lambda id_: _price(id_, left, cost_s))
        waiting.discard(best)
        order.append(best)
        left = {mask: load for mask, load in left.items() if best not in mask}
    return order


def _price(
    id_: str, left: Mapping[frozenset[str], tuple[int, int]], cost_s: Callable[[str, int, int], float]
) -> tuple[float, float, float]:
    files = sum(load[0] for mask, load in left.items() if id_ in mask)
    size = sum(load[1] for mask, load in left.items() if id_ in mask)
    if not files:  # adds nothing: asked last, the quicker one first
        return float("inf"), 0.0, cost_s(id_, 1, 10_000_000)
    return cost_s(id_, files, size) / files, -files, 0.0
