"""Which folder is a shoot: names of folders → the shoot each file lies in, or none (loose files are sorted by time).

Flows in: the wares of one copy. Flows out: for each ware the names of its shoot's folder. Must not know: other copies.

The rules, in order. Folders that name a part of a shoot (raw, deliver, a camera's own DCF folders) are looked through.
A bag is a shoot. A folder with a date and a name is a shoot. Vague folders (DCIM, Pictures, a year) never are: what
lies loose in them is sorted by time. Any other folder is a shoot when pictures lie in it, or when it has several
folders and all below them was taken in one session; else it only holds shoots. A day's folder with several below it,
and one that holds dated folders, only hold shoots.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from itertools import pairwise

from drill import naming
from drill.intake.wares import Ware

Names = tuple[str, ...]


@dataclass(slots=True)
class _Node:
    children: "dict[str, _Node]" = field(default_factory=dict)
    pictures: list[Ware] = field(default_factory=list)
    below: int = 0
    times: list[datetime] = field(default_factory=list)


@lru_cache(maxsize=4096)  # a copy's folders come again and again
def telling(folders: Names) -> Names:
    """Return the folders of a path that may tell a shoot: no parts of one, nothing vague below a name that tells."""
    kept: list[str] = []
    told = False
    for name in folders:
        if naming.is_part(name) or (told and naming.is_vague(name)):
            continue
        told = told or not naming.is_vague(name)
        kept.append(name)
    return tuple(kept)


def shoot_folders(wares: Sequence[Ware], *, bags: Collection[Names], gap_s: float) -> list[Names | None]:
    """Return for each ware of one copy the telling names down to its shoot's folder, None where it lies loose."""
    names = [telling(ware.folders) for ware in wares]
    root = _Node()
    for ware, path in zip(wares, names, strict=True):
        if ware.is_picture:
            _put(root, path, ware)
    shoots: set[Names] = {telling(bag) for bag in bags if telling(bag)}
    todo: list[tuple[_Node, Names]] = [(root, ())]
    while todo:
        node, path = todo.pop()
        if not node.below or path in shoots:
            continue
        if path and _is_shoot(node, path[-1], gap_s):
            shoots.add(path)
        else:
            todo.extend((child, (*path, name)) for name, child in node.children.items())
    return [_shoot_of(path, shoots) for path in names]


def _put(root: _Node, path: Names, ware: Ware) -> None:
    node = root
    taken = ware.seen.taken
    for name in (None, *path):
        if name is not None:
            node = node.children.setdefault(name, _Node())
        node.below += 1
        if taken is not None:
            node.times.append(taken.when)
    node.pictures.append(ware)


def _is_shoot(node: _Node, name: str, gap_s: float) -> bool:
    dated = naming.date_in(name) is not None
    if naming.is_vague(name):
        return False
    if dated and _says_more(name):
        return True
    if node.pictures:
        return True
    if dated and len(node.children) > 1:
        return False  # a day's folder, with that day's shoots in it
    if any(naming.date_in(child) for child in node.children):
        return False
    return len(node.children) > 1 and _one_session(node.times, node.below, gap_s)


def _says_more(name: str) -> bool:
    return any(char.isalpha() for char in name)


def _one_session(times: Sequence[datetime], pictures: int, gap_s: float) -> bool:
    if not times or len(times) * 2 < pictures:
        return False
    return all((later - earlier).total_seconds() <= gap_s for earlier, later in pairwise(sorted(times)))


def _shoot_of(path: Names, shoots: Collection[Names]) -> Names | None:
    return next((path[:n] for n in range(1, len(path) + 1) if path[:n] in shoots), None)


def path_in_shoot(folders: Names, name: str, shoot: Names | None) -> str:
    """Return a file's path within its shoot's folder, the folders looked through kept.

    A loose file's path begins below the vague folders at its top: below DCIM for a card's.
    """
    left = list(shoot or ())
    kept: list[str] = []
    for folder in folders:
        if left and folder == left[0]:
            left.pop(0)
        elif kept or (shoot and not left) or not naming.is_vague(folder):
            kept.append(folder)
    return "/".join((*kept, name))
