"""A folder, or one file, as a store of byte streams; any store as a view; and whether a place is there at all.

Flows in: paths. Flows out: Stores and Views; CannotReach. Must not know: manifests, faults, archive formats.
Links are followed while they stay inside (see the contract); pipes, sockets and devices hold nothing.
Nothing here can write.
"""

import errno
import os
import stat
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from io import RawIOBase
from operator import attrgetter
from pathlib import Path
from threading import Event, Thread
from typing import NamedTuple

from drill import clock
from drill.copies.raw import BLOCK, FileBytes, deliver_file
from drill.errors import CannotReach
from drill.model import Entry, Receiver, Store, View
from drill.quick import is_cached

_path = attrgetter("path")
_is_junction: Callable[["os.DirEntry[str]"], bool] = getattr(os.DirEntry, "is_junction", lambda item: False)

# By an open folder, what is in it is looked at without going there from the top each time.
_BY_FOLDER = os.scandir in os.supports_fd and hasattr(os, "O_DIRECTORY")

Unlisted = tuple[str, str]  # a folder that could not be listed, by its path in the copy, and the system's reason

# Folders that link to each other can make paths without end, and far too many of them long before that.
_MOST_LINKED_FOLDERS = 4096
_MOST_LISTED_AT_ONCE = 4

# A listing that works less than an eighth of the time waits: out of memory it worked all the time, off a quick disk
# nine tenths (measured), and to share two cores with six others is not to be taken for waiting.
_BUSY = 8
_LOOK_AFTER_S = 0.05


@dataclass(frozen=True, slots=True)
class FolderStore(Store):
    """The files of a folder; `unlisted` returns the folders of which the last listing does not know what is in them."""

    unlisted: Callable[[], Sequence[Unlisted]]


@dataclass(frozen=True, slots=True)
class FolderOpener:
    """How the files of a folder are opened: as a stream, or, where they are small, all their bytes at once.

    The quick way hangs on the opener itself: a store whose `open` is another, such as one under a fault, has none.
    """

    root: str
    places: dict[str, str] = field(default_factory=dict)  # one resolving per folder, not per file

    def __call__(self, entry: Entry) -> RawIOBase:
        """Open one file. Errors: OSError, also where the path leads out of the folder."""
        place, name = self.split(entry.path)
        return _open_inside(self.root, place, name)

    def is_cached(self, entry: Entry) -> bool:
        """Say whether the system has a file's first byte at hand; False where it does not say."""
        if not entry.size:
            return False
        place, name = self.split(entry.path)
        return bool(place) and is_cached(place + name)

    def split(self, path: str) -> tuple[str, str]:
        """Return where the file's folder is ("": not inside), and its name there."""
        cut = path.rfind("/") + 1
        folder = path[:cut]
        place = self.places.get(folder)
        if place is None:
            place = self.places[folder] = _place(self.root, folder)
        return place, path[cut:]


def folder_store(root: Path, *, times: bool = True) -> FolderStore:
    """Return the files below `root`, listed afresh at each call, sorted by the bytes of their paths.

    Without `times` no entry says when it was modified: a listing of many files is then made faster.
    """
    closed: list[Unlisted] = []
    opener = FolderOpener(str(root))

    def files() -> Sequence[Entry]:
        opener.places.clear()
        found, closed[:] = _walk(str(root), times=times)
        plain = all(entry.path.isascii() for entry in found)  # then their bytes sort as they do, only faster
        return sorted(found, key=_path if plain else lambda entry: os.fsencode(entry.path))

    return FolderStore(files, opener, lambda: tuple(closed))


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

    `recognised_by` is a path relative to that folder, or to one above it on the same medium: see `_may_bear_the_mark`.
    Source: the contract, "Cannot be reached".
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
    if recognised_by is None or recognised_by == "":
        return
    looked = _may_bear_the_mark(folder)
    if not any(os.path.lexists(above / recognised_by) for above in looked):
        top = f", nor above it up to {looked[-1]}" if len(looked) > 1 else ""
        raise CannotReach(f"{recognised_by} is not in {folder}{top}: is it another drive?")


def without_detours(path: Path) -> Path:
    """Return "x/../y" as y, unless x is a link to elsewhere, where it is another y."""
    plain = Path(os.path.normpath(path))
    try:
        return plain if ".." in path.parts and os.path.realpath(plain) == os.path.realpath(path) else path
    except ValueError:  # a character that no path can have: it is told of where it is opened
        return path


def _may_bear_the_mark(folder: Path) -> list[Path]:
    """Return where a medium's mark may lie: in the copy's folder, and above it up to the top of what is mounted there.

    A mark lies at the top of its medium, and a copy on it may lie in a folder further down. Above the mount point is
    another disk, whatever is plugged in: a mark there would recognise any drive. The disk of the system, or of the
    user's home, is no medium that is plugged in: there only the copy's own folder counts, for above it lie the studio
    file and what is beside it. Links are resolved first, so that "above" means above on the medium.
    """
    real = Path(os.path.realpath(folder))
    above: list[Path] = []
    for here in (real, *real.parents):
        above.append(here)
        if os.path.ismount(here):
            break
    home = Path(os.path.realpath(os.path.expanduser("~")))  # noqa: PTH111 - Path's own raises where there is no home
    return [real] if home.is_relative_to(above[-1]) else above


def _modified(seen: os.stat_result) -> datetime | None:
    try:
        return datetime.fromtimestamp(seen.st_mtime, UTC)
    except (OverflowError, ValueError, OSError):
        return None


def _inside(root: str, path: str) -> bool:
    real = os.path.realpath(path)
    return real == root or real.startswith(root if root.endswith(os.sep) else root + os.sep)


class _Folder(NamedTuple):
    """A folder to list: where it is, its path in the copy, its real path, the real paths of it and of all above it."""

    at: str
    path: str
    real: str
    above: frozenset[str]


class _Looked(NamedTuple):
    """What is in a folder: files; folders, by where they are, name and whether a link leads there; what is closed."""

    files: list[Entry]
    folders: list[tuple[str, str, bool]]
    closed: dict[str, str]  # folder → why


def _walk(root: str, *, times: bool) -> tuple[list[Entry], list[Unlisted]]:
    """List every file below `root`, and the folders that could not be listed.

    Level by level, without recursion: folders may be nested deeper than Python calls.
    """
    real_root = os.path.realpath(root)
    found: list[Entry] = []
    closed: dict[str, str] = {}
    linked = 0
    level = [_Folder(root, "", real_root, frozenset([real_root]))]
    while level:
        below: list[_Folder] = []
        for folder, looked in zip(level, _look_into(level, real_root, times=times), strict=True):
            found += looked.files
            closed |= looked.closed
            for at, name, link in looked.folders:
                real = os.path.realpath(at) if link else folder.real + os.sep + name
                linked += link
                if not link or (real not in folder.above and linked <= _MOST_LINKED_FOLDERS):
                    below.append(_Folder(at, f"{folder.path}{name}/", real, folder.above | {real}))
        level = below
    return found, sorted(closed.items())


def _look_into(level: Sequence[_Folder], real_root: str, *, times: bool) -> list[_Looked]:
    """Return what is in each of these folders; of many, several are listed side by side where each call has to wait.

    Where answers come soon, a second thread only contends for the interpreter: twice as slow (measured).
    """
    done = [_Looked([], [], {}) for _ in level]
    errors: list[BaseException] = []
    todo = deque(zip(level, done, strict=True))
    over = Event()

    def work() -> None:
        while not errors:
            try:
                folder, looked = todo.popleft()
            except IndexError:
                return
            try:
                _look(folder, real_root, looked, times=times)
            except BaseException as error:
                errors.append(error)

    def help_out() -> None:
        if _waits(over):
            work()

    threads = [Thread(target=help_out, daemon=True) for _ in range(min(_MOST_LISTED_AT_ONCE, len(level)) - 1)]
    try:
        for thread in threads:
            thread.start()
        work()
        over.set()
        for thread in threads:
            thread.join()
    finally:
        todo.clear()  # Ctrl-C: nothing more is listed
        over.set()
    if errors:
        raise errors[0]
    return done


def _waits(over: Event) -> bool:
    """Look on until listing waits for a disk or a server more than it works; False when it is over before that."""
    while True:
        since_s, busy_s = clock.ticks_s(), clock.busy_s()
        if over.wait(_LOOK_AFTER_S):
            return False
        if clock.busy_s() - busy_s < (clock.ticks_s() - since_s) / _BUSY:
            return True


def _look(folder: _Folder, real_root: str, looked: _Looked, *, times: bool) -> None:
    # What is known of each item is let go of before the next: to hold a whole folder's costs more than sorting later.
    for item in _listing(folder, looked.closed):
        name = item.name
        path = folder.path + name
        link = item.is_symlink() or _is_junction(item)
        if link and not _inside(real_root, os.path.join(folder.at, name)):  # noqa: PTH118 - as in `_place`
            continue
        try:
            seen = item.stat()
        except OSError as error:  # what it is, only the reading of it can tell
            if not link:
                _note_unseen(item, path, error, looked.closed)
            if path not in looked.closed:
                looked.files.append(Entry(path, None))
            continue
        if stat.S_ISREG(seen.st_mode):
            looked.files.append(Entry(path, seen.st_size, _modified(seen) if times else None))
        elif stat.S_ISDIR(seen.st_mode):
            looked.folders.append((os.path.join(folder.at, name), name, link))  # noqa: PTH118
    looked.folders.sort()


def _listing(folder: _Folder, closed: dict[str, str]) -> Iterator["os.DirEntry[str]"]:
    """Yield what is in a folder, in any order; one that breaks off gives what came before and is noted in `closed`.

    Errors: CannotReach, where it is the copy's own folder.
    """
    fd: int | None = None
    try:
        if _BY_FOLDER:
            fd = os.open(folder.at, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        with os.scandir(folder.at if fd is None else fd) as inside:
            yield from inside
    except OSError as error:
        if not folder.path:
            raise CannotReach(f"{folder.at} cannot be listed ({error.strerror})") from None
        closed[folder.path.rstrip("/")] = _reason(error)
    finally:
        if fd is not None:
            os.close(fd)


def _note_unseen(item: "os.DirEntry[str]", path: str, error: OSError, closed: dict[str, str]) -> None:
    """Note a folder that cannot be looked at, or, for a file that its folder does not let be looked at, that folder."""
    try:
        is_folder = item.is_dir(follow_symlinks=False)
    except OSError:
        is_folder = False
    if is_folder:
        closed[path] = _reason(error)
    elif isinstance(error, PermissionError):
        closed.setdefault(path.rpartition("/")[0] or ".", _reason(error))


def _reason(error: OSError) -> str:
    return error.strerror or type(error).__name__


def _place(root: str, folder: str) -> str:
    """Return where a folder below `root` is, "" when it climbs or leads out; both end in a separator, or are empty."""
    parts = folder.split("/")[:-1]
    if any(part in ("", ".", "..") for part in parts) or "\0" in folder:  # an absolute path begins with ""
        return ""
    if os.name == "nt" and any(":" in part or "\\" in part for part in parts):
        return ""
    full = os.path.join(root, *parts)  # noqa: PTH118 - a Path would take the dot out of "./a"
    return os.path.join(full, "") if _inside(os.path.realpath(root), full) else ""  # noqa: PTH118


def _open_inside(root: str, place: str, name: str) -> RawIOBase:
    """Open a file in a folder inside of `root`; what climbs or leads out of it is not there."""
    if not place or name in ("", ".", "..") or "\0" in name:
        raise FileNotFoundError(errno.ENOENT, "is not there")
    if os.name == "nt" and (":" in name or "\\" in name):
        raise FileNotFoundError(errno.ENOENT, "is not there")
    full = place + name
    try:
        return FileBytes(full, follow=False)
    except OSError as error:
        # FreeBSD says EMLINK for a link that is not to be followed.
        if error.errno not in (errno.ELOOP, errno.EMLINK):
            raise
    if not _inside(os.path.realpath(root), full):
        raise FileNotFoundError(errno.ENOENT, "leads out of the copy")
    return FileBytes(os.path.realpath(full))
