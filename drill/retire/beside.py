"""Beside: what lies on a plugged-in medium outside the folders that the studio file names.

Flows in: the places of the copies on a medium. Flows out: names, and whether that could be looked at. Must not know:
promises, readings. A card is formatted whole: a film in a folder beside DCIM goes with it.

The top of a medium is where it is mounted. On the disk of the user's home, or of the system's temporary folder, no
folder is a whole medium, so there nothing is looked for.
"""

import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from drill import naming

MOST_NAMED = 20
_MOST_LOOKED_AT = 10_000


def lies_beside(top: Path, copies: Iterable[Path], *, besides: Iterable[Path] = ()) -> list[str]:
    """Return what is below `top` and in none of the copies, as paths: files, and folders that hold any; at most
    MOST_NAMED. `besides` are files that are known. What systems and cameras leave behind, and lists, are left out."""
    inside = [Path(os.path.realpath(at)) for at in copies]
    known = {os.path.realpath(path) for path in besides}
    found: list[str] = []
    todo = [] if any(top.is_relative_to(copy) for copy in inside) else [top]
    while todo and len(found) < MOST_NAMED:
        folder = todo.pop()
        items = _listing(folder)
        if items is None:
            found.append(f"{folder.relative_to(top).as_posix()}/ (cannot be listed)".removeprefix("./"))
        for item in items or ():
            path = folder / item.name
            name = path.relative_to(top).as_posix()
            if path in inside or os.path.realpath(path) in known:
                continue
            if any(copy.is_relative_to(path) for copy in inside):
                todo.append(path)
            elif not item.is_dir(follow_symlinks=False):
                found.extend([] if _is_nothing(name, item) else [name])
            elif _holds_files(path, top):
                found.append(f"{name}/")
    return sorted(found[:MOST_NAMED])


def _is_nothing(name: str, item: "os.DirEntry[str]") -> bool:
    """Say whether nothing is lost with a file, by its name below the top and its size."""
    try:
        size = item.stat(follow_symlinks=False).st_size
    except OSError:
        return False
    return naming.made_anew(name, size) or naming.camera_note(name) or naming.nature(name) is naming.Nature.LIST


def _holds_files(folder: Path, top: Path) -> bool:
    """Say whether there is a file in a folder, or one that cannot be looked into."""
    todo, looked_at = [folder], 0
    while todo:
        here = todo.pop()
        try:
            with os.scandir(here) as inside:
                items = list(inside)
        except OSError:
            return True
        for item in items:
            looked_at += 1
            if item.is_dir(follow_symlinks=False):
                todo.append(here / item.name)
            elif not _is_nothing((here / item.name).relative_to(top).as_posix(), item):
                return True
        if looked_at > _MOST_LOOKED_AT:
            return True
    return False


def _listing(folder: Path) -> Sequence["os.DirEntry[str]"] | None:
    """Return what is in a folder; None where that cannot be told, which is not the same as nothing."""
    try:
        with os.scandir(folder) as inside:
            return sorted(inside, key=lambda item: item.name)
    except OSError:
        return None
