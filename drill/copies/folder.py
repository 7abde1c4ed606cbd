"""A folder, or one file, as a store of byte streams; any store as a view; and whether a place is there at all.

Flows in: paths. Flows out: Stores and Views; CannotReach. Must not know: manifests, faults, archive formats.
Links are followed while they stay inside (see the contract); pipes, sockets and devices hold nothing.
Nothing here can write.
"""

import errno
import os
import stat
from collections.abc import Sequence
from datetime import UTC, datetime
from io import RawIOBase
from operator import attrgetter
from pathlib import Path

from drill.copies.raw import BLOCK, FileBytes, deliver_file
from drill.errors import CannotReach
from drill.model import Entry, Receiver, Store, View

_path = attrgetter("path")

# Folders that link to each other can make paths without end, and far too many of them long before that.
_MOST_LINKED_FOLDERS = 4096


def folder_store(root: Path, *, times: bool = True) -> Store:
    """Return the files below `root`, listed afresh at each call, sorted by the bytes of their paths.

    Without `times` no entry says when it was modified: a listing of many files is then made faster.
    """
    known: dict[str, bool] = {}  # folder → inside; one resolving per folder, not per file

    def files() -> Sequence[Entry]:
        known.clear()
        found = _walk(str(root), times=times)
        plain = all(entry.path.isascii() for entry in found)  # then their bytes sort as they do, only faster
        return sorted(found, key=_path if plain else lambda entry: os.fsencode(entry.path))

    def open_one(entry: Entry) -> RawIOBase:
        return _open_inside(str(root), entry.path, known)

    return Store(files, open_one)


def file_store(path: Path) -> Store:
    """Return the store of one file (an archive); it is empty when the file is not there."""

    def files() -> Sequence[Entry]:
        try:
            seen = path.stat()
        except (FileNotFoundError, NotADirectoryError):
            return []
        except OSError:
            return [Entry(path.name, None)]
        return [Entry(path.name, seen.st_size, _modified(seen))] if stat.S_ISREG(seen.st_mode) else []

    return Store(files, lambda entry: FileBytes(path))


def plain_view(store: Store) -> View:
    """Return the view in which each file of the store is one entry, delivered in the order of their paths."""

    def deliver(wanted: Sequence[Entry], receiver: Receiver) -> None:
        buffer = bytearray(BLOCK)
        for entry in sorted(wanted, key=lambda entry: entry.path.encode("utf-8", "surrogatepass")):
            deliver_file(store, entry, receiver, buffer)

    return View(store.files, deliver)


def reach(at: Path, *, archive: bool, recognised_by: str | None) -> None:
    """Raise CannotReach unless the copy's place is there: its folder, or the folder that holds its archive.

    `recognised_by` is a path relative to that folder, or to one above it. Source: the contract, "Cannot be reached".
    """
    folder = at.parent if archive else at
    try:
        with os.scandir(folder) as inside:
            empty = next(inside, None) is None
    except FileNotFoundError:
        raise CannotReach(f"{folder} is not there") from None
    except NotADirectoryError:
        raise CannotReach(f"{folder} is no folder") from None
    except OSError as error:
        raise CannotReach(f"{folder} cannot be listed ({error.strerror})") from None
    if empty:
        raise CannotReach(f"{folder} is empty")
    # A medium's mark lies at its top, and a copy on it may lie in a folder further down.
    if recognised_by and not any(os.path.lexists(above / recognised_by) for above in (folder, *folder.parents)):
        raise CannotReach(f"{recognised_by} is not in {folder}, nor in a folder above: is it another drive?")


def _modified(seen: os.stat_result) -> datetime | None:
    try:
        return datetime.fromtimestamp(seen.st_mtime, UTC)
    except (OverflowError, ValueError, OSError):
        return None


def _inside(root: str, path: str) -> bool:
    real = os.path.realpath(path)
    return real == root or real.startswith(root if root.endswith(os.sep) else root + os.sep)


def _walk(root: str, *, times: bool) -> list[Entry]:
    """List every file below `root`, without recursion: folders may be nested deeper than Python calls."""
    real_root = os.path.realpath(root)
    found: list[Entry] = []
    linked = 0
    # Each folder: where to list it, its path in the copy, its real path, the real paths of it and of all above it.
    todo = [(root, "", real_root, frozenset([real_root]))]
    while todo:
        folder, listed, here, above = todo.pop()
        for item in _listing(folder, top=not listed):
            path = listed + item.name
            link = item.is_symlink() or (hasattr(item, "is_junction") and item.is_junction())
            if link and not _inside(real_root, item.path):
                continue
            seen = _stat(item)
            if seen is None:
                found.append(Entry(path, None))
            elif stat.S_ISREG(seen.st_mode):
                found.append(Entry(path, seen.st_size, _modified(seen) if times else None))
            elif stat.S_ISDIR(seen.st_mode):
                real = os.path.realpath(item.path) if link else here + os.sep + item.name
                linked += link
                if link and (real in above or linked > _MOST_LINKED_FOLDERS):
                    continue
                todo.append((item.path, path + "/", real, above | {real}))
    return found


def _listing(folder: str, *, top: bool) -> list["os.DirEntry[str]"]:
    try:
        with os.scandir(folder) as inside:
            return sorted(inside, key=lambda item: item.name)
    except OSError as error:
        if top:
            raise CannotReach(f"{folder} cannot be listed ({error.strerror})") from None
        return []  # what was in it is missed by whoever expects it


def _stat(item: "os.DirEntry[str]") -> os.stat_result | None:
    """Return what the item is, its link followed; None where only the reading of it can tell."""
    try:
        return item.stat()
    except OSError:
        return None


def _open_inside(root: str, path: str, known: dict[str, bool]) -> RawIOBase:
    """Open a file below `root`; what climbs or leads out of it is not there."""
    parts = path.split("/")
    if any(part in ("", ".", "..") for part in parts) or "\0" in path:  # an absolute path begins with ""
        raise FileNotFoundError(errno.ENOENT, "is not there")
    if os.name == "nt" and any(":" in part or "\\" in part for part in parts):
        raise FileNotFoundError(errno.ENOENT, "is not there")
    full = os.path.join(root, *parts)  # noqa: PTH118 - called once per file; a Path costs more than the open
    folder = os.path.dirname(full)  # noqa: PTH120
    if folder not in known:
        known[folder] = _inside(os.path.realpath(root), folder)
    if not known[folder]:
        raise FileNotFoundError(errno.ENOENT, "leads out of the copy")
    try:
        return FileBytes(full, follow=False)
    except OSError as error:
        # FreeBSD says EMLINK for a link that is not to be followed.
        if error.errno not in (errno.ELOOP, errno.EMLINK):
            raise
    if not _inside(os.path.realpath(root), full):
        raise FileNotFoundError(errno.ENOENT, "leads out of the copy")
    return FileBytes(os.path.realpath(full))
