"""Endings: numbered paths paired by their longest common endings, each at most once.

Flows in: two rows of numbered paths, a test of each pair. Flows out: pairs. Must not know: promises, lists, copies.
Paths are compared part by part, folded; both slashes count, since lists come from every system.
"""

from collections import defaultdict
from collections.abc import Callable, Sequence

from drill.coverage import MANY, name_key
from drill.globs import fold

DEEPEST = 8  # folders of a path that are compared

Row = tuple[Sequence[int], Callable[[int], str]]  # numbers, and the path of each


def parts_of(path: str) -> list[str]:
    """Return the parts of a path as they are compared."""
    return [part for part in fold(path).replace("\\", "/").split("/") if part]


def at_least(parts: int) -> Callable[[int], int]:
    """Ask for so many common parts of every path."""
    return lambda number: parts


def by_endings(
    ours: Row,
    theirs: Row,
    *,
    least: Callable[[int], int],
    agree: Callable[[int, int], bool],
    kin: Callable[[int, int], bool] | None = None,
) -> dict[int, int]:
    """Pair numbered paths by their longest common endings, each at most once.

    `least` says, of each of our paths, how many parts must be common: one at least, and no more than DEEPEST. Of pairs
    with equally long endings those that are `kin` come first.
    """
    tests = (agree,) if kin is None else (lambda number, at: kin(number, at) and agree(number, at), agree)
    here_at: dict[str, list[int]] = defaultdict(list)
    for at in theirs[0] if len(ours[0]) else ():
        here_at[name_key(theirs[1](at))].append(at)
    names: dict[str, list[int]] = defaultdict(list)
    for number in ours[0] if here_at else ():
        key = name_key(ours[1](number))
        if key in here_at:
            names[key].append(number)
    rest = {key: here for key, here in here_at.items() if key in names}
    found: dict[int, int] = {}
    for key, here in rest.items():
        if len(here) == len(names[key]) == least(names[key][0]) == 1:
            found |= {names[key][0]: here[0]} if agree(names[key][0], here[0]) else {}
        else:
            _pair((names[key], ours[1]), (here, theirs[1]), least, tests, found)
    return found


def _pair(
    ours: Row,
    theirs: Row,
    least: Callable[[int], int],
    tests: Sequence[Callable[[int, int], bool]],
    found: dict[int, int],
) -> None:
    """Pair the paths of one name, the longest common endings first; of equal ones those that pass the first test."""
    left = [(number, parts_of(ours[1](number))[-DEEPEST:], least(number)) for number in ours[0]]
    # The first are taken first, from the end.
    here = [(at, parts_of(theirs[1](at))[-DEEPEST:]) for at in reversed(theirs[0])]
    for depth in range(DEEPEST, min(few for _, _, few in left) - 1, -1):
        ends: dict[tuple[str, ...], list[int]] = defaultdict(list)
        for at, parts in here:
            if len(parts) >= depth:
                ends[tuple(parts[-depth:])].append(at)
        taken: set[int] = set()
        for agree in tests if ends else ():
            for number, parts, few in left:
                if number in found or not len(parts) >= depth >= few:
                    continue
                stack = ends.get(tuple(parts[-depth:]), [])
                place = next((n for n in range(-1, -min(MANY, len(stack)) - 1, -1) if agree(number, stack[n])), 0)
                if place:
                    found[number] = stack.pop(place)
                    taken.add(found[number])
        if taken:
            left = [item for item in left if item[0] not in found]
            here = [item for item in here if item[0] not in taken]
