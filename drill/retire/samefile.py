"""Same files: which files of another copy are, by a hard link or a second mount, the very files of one that goes.

Flows in: copies as found. Flows out: files, by what the system knows them by. Must not know: promises, readings. What
is one file on one disk under two names is gone at once, so it is no other copy, however often it is read and right.

The system's number of a file and of its disk tell (os.path.samestat compares the same two). A system that has none
says 0: then nothing is the same. Links inside a copy are followed, as they are when it is read.
"""

import os
from collections.abc import Set as AbstractSet

from drill.model import Entry
from drill.shelf import OpenCopy, State

Identity = tuple[int, int]  # the disk's number, the file's number on it


def identities(found: OpenCopy) -> set[Identity]:
    """Return what the system knows the files of a folder by."""
    known = (_identity(path) for path in _paths(found))
    return {one for one in known if one is not None}


def parted(found: OpenCopy, gone: AbstractSet[Identity]) -> tuple[tuple[Entry, ...], tuple[Entry, ...]]:
    """Part the files of a copy: those of its own, and those that are the very files of one that goes."""
    paths = _paths(found)
    if not gone or not paths:
        return found.entries, ()
    own: list[Entry] = []
    same: list[Entry] = []
    for entry, path in zip(found.entries, paths, strict=True):
        (same if _identity(path) in gone else own).append(entry)
    return tuple(own), tuple(same)


def _paths(found: OpenCopy) -> list[str]:
    """Return where the files of a folder lie; none of a link or an archive, which `going` knows by its place."""
    at = found.copy.at
    if at is None or found.is_archive or found.state is not State.HERE:
        return []
    return [os.path.join(at, entry.path) for entry in found.entries]  # noqa: PTH118 - a Path for each is slow


def _identity(path: str) -> Identity | None:
    """Return what the system knows a file by; None where it has nothing to know it by."""
    try:
        seen = os.stat(path)  # noqa: PTH116 - a Path for each is slow
    except (OSError, ValueError):
        return None  # what cannot be looked at cannot be read either
    return (seen.st_dev, seen.st_ino) if seen.st_ino else None
