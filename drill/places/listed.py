"""Places: which file on a copy each name of its list means, where names alone must tell.

Flows in: a copy's list and its listing. Flows out: for each listed name the number of a file, or -1. Must not know:
promises, digests. Lists are made from other folders, other mount points, other systems, so a name need not be written
as it is found. But cameras use names again, and every shoot has its `raw` and its `100ABCDE`: a name that was deleted
must never stand on another shoot's picture. So a moved name counts only in one of these ways, else it is missing:

- The whole list lies one root off: every name begins with the folders that lead to the copy's top (the mount point, of
  absolute names; folders that end in the name of the copy's own, of relative ones). One root for the whole list.
- A folder was put on top or left out on top: all folders of one of the two paths are the end of the other's, and one at
  least that they have in common is telling: no part of a shoot, no camera's folder, no general word.
- Of absolute names: the last part is used once in the list and once on the copy, and the sizes are known and equal.
"""

from array import array
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache

from drill.columns import columns_of, paths_of, sizes_of
from drill.coverage import name_key
from drill.globs import fold, shared_ending
from drill.model import Entry, Listed
from drill.naming import dcf_folder, is_part, is_vague
from drill.places.endings import DEEPEST, by_endings, parts_of


def find_places(listed: Sequence[Listed], entries: Sequence[Entry], root: str, *, moved: bool = True) -> "array[int]":
    """Return for each listed name the number of the file it means, or -1; no file is meant twice.

    `root` is the name of the copy's own folder. A name means itself, else the same name in another form, case or kind
    of slash, else a file that it must have moved to. Without `moved` a relative name never stands for
    a file in another folder, unless the whole list lies one root off.
    """
    exact = {entry.path: number for number, entry in enumerate(entries)}
    places = array("q", [exact.get(path, -1) for path in paths_of(listed)])
    if -1 not in places or not entries:
        return places
    absolute = bytes(map(is_absolute, paths_of(listed)))
    _place_folded(places, listed, entries, absolute)
    for kind in (0, 1):
        numbers = array("q", (number for number, its in enumerate(absolute) if its == kind))
        if any(places[number] < 0 for number in numbers):
            _place_moved(places, numbers, (listed, entries), root=root, absolute=bool(kind), moved=moved)
    return places


def is_absolute(path: str) -> bool:
    """Say whether a listed name begins at a root or a drive letter."""
    return path[:1] in ("/", "\\") or path[1:2] == ":"


def _free(places: "array[int]", entries: Sequence[Entry]) -> list[int]:
    taken = set(places)
    return [number for number in range(len(entries)) if number not in taken]


def _plain(path: str) -> str:
    return "/".join(parts_of(path))


def _place_folded(
    places: "array[int]", listed: Sequence[Listed], entries: Sequence[Entry], absolute: Sequence[int]
) -> None:
    folded = {_plain(entries[number].path): number for number in _free(places, entries)}
    for number, path in enumerate(paths_of(listed)) if folded else ():
        if places[number] < 0 and not absolute[number]:
            places[number] = folded.pop(_plain(path), -1)


def _place_moved(
    places: "array[int]",
    numbers: Sequence[int],
    rows: tuple[Sequence[Listed], Sequence[Entry]],
    *,
    root: str,
    absolute: bool,
    moved: bool,
) -> None:
    """Place those of a list's names, all absolute or all relative, that are not found as they are written."""
    listed, entries = rows
    path_at = columns_of(listed).path
    free = _free(places, entries)
    if not free:
        return
    top = _common_folders(lambda: (path_at(number) for number in numbers))
    lost = array("q", (number for number in numbers if places[number] < 0))
    if len(lost) == len(numbers):  # what stands where it is written shows that the list's root is the copy's
        ways = range(len(top) + 1) if absolute else [n for n in range(1, len(top) + 1) if top[n - 1] == fold(root)]
        roots = [len("/".join((*top[:n], ""))) for n in ways]
        _place_below_one_root(places, (lost, free), rows, roots)
    lost = array("q", (number for number in lost if places[number] < 0))

    def least(number: int) -> int:
        return _least_in_common(path_at(number))

    some = array("q", filter(least, lost) if absolute or moved else ())
    free = _free(places, entries) if some else []
    above = len(top) if absolute else 0

    def agree(number: int, at: int) -> bool:
        return _is_moved(path_at(number), entries[at].path, root=root, above=above)

    ours, theirs = (some, path_at), (free, lambda n: f"{root}/{entries[n].path}")
    for number, at in by_endings(ours, theirs, least=least, agree=agree).items():
        places[number] = at
    if absolute:
        _place_only_ones(places, lost, listed, entries)


def _common_folders(paths: Callable[[], Iterable[str]]) -> list[str]:
    """Return the folders that all paths begin with, as they are compared."""
    first, last = min(map(_plain, paths())), max(map(_plain, paths()))  # all others lie between these two
    common = []
    for one, other in zip(first.split("/")[:-1], last.split("/")[:-1], strict=False):
        if one != other:
            break
        common.append(one)
    return common


def _place_below_one_root(
    places: "array[int]",
    unplaced: tuple[Sequence[int], Sequence[int]],
    rows: tuple[Sequence[Listed], Sequence[Entry]],
    roots: Sequence[int],
) -> None:
    """Place names by leaving out of each the same beginning: of these lengths the one that most names are found by."""
    (lost, free), (listed, entries) = unplaced, rows
    path_at = columns_of(listed).path
    here = {_plain(entries[at].path): at for at in free}
    counts = dict.fromkeys(roots, 0)
    for number in lost if roots else ():
        path = _plain(path_at(number))
        for length in roots:
            counts[length] += path[length:] in here
    best = max(roots, key=lambda length: (counts[length], -length), default=None)
    for number in lost if best is not None else ():
        places[number] = here.pop(_plain(path_at(number))[best:], -1)


def _is_moved(listed: str, found: str, *, root: str, above: int) -> bool:
    """Say whether all folders of one of two paths, which end alike, are the end of the other's.

    `above` says how many of the listed path's first folders every name of the list has, and so tell nothing.
    """
    ours, theirs = parts_of(listed), parts_of(found)
    common = shared_ending("/".join(ours), "/".join([*parts_of(root), *theirs]))
    return common >= len(theirs) or common >= len(ours) - above


def _least_in_common(listed: str) -> int:
    """Return how many parts, from the end, reach up to a telling folder; 0 where no folder tells."""
    folders = parts_of(listed)[-2::-1]
    return next((number + 2 for number, folder in enumerate(folders[: DEEPEST - 1]) if _is_telling(folder)), 0)


@lru_cache(maxsize=4096)  # a listing has many files in few folders
def _is_telling(folder: str) -> bool:
    return dcf_folder(folder) is None and not is_part(folder) and not is_vague(folder)


def _place_only_ones(
    places: "array[int]", lost: Sequence[int], listed: Sequence[Listed], entries: Sequence[Entry]
) -> None:
    """Place names that are used once in the list and once on the copy, where the sizes are known and equal."""
    sizes = sizes_of(listed)
    sized = bytes(size is not None for size in sizes)
    lost = [number for number in lost if places[number] < 0 and sized[number]]
    if not lost:
        return
    ours = Counter(map(name_key, paths_of(listed)))
    theirs: dict[str, int] = {}
    for at, entry in enumerate(entries):
        key = name_key(entry.path)
        theirs[key] = -1 if key in theirs else at
    taken = set(places)
    for number in lost:
        key = name_key(listed[number].path)
        at = theirs.get(key, -1)
        if ours[key] == 1 and at >= 0 and at not in taken and entries[at].size == listed[number].size:
            places[number] = at
