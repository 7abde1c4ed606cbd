"""One recovery at a time in one folder: the folder for files on their way, made, locked, and emptied before
it is let go.

Flows in: the folder. Flows out: a fresh folder for this run's files on their way. Must not know: what they are.

A database's lock is let go of by every system when its process ends, however it ends. The file of the lock is the last
thing to go, while the lock is held: a run that got hold of a lock file that is gone by then sees that, and begins anew.
"""

import os
import shutil
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from drill.errors import Unfinished
from drill.recover.home import Home
from drill.recover.names import leads_elsewhere, remove_link

_LOCK = "lock"
_TRIES = 5
_FLAGS = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)


@contextmanager
def working(home: Home) -> Iterator[None]:
    """Make the folder and the one for files on their way, for one run at a time; remove the latter at the end.

    Errors: Unfinished.
    """
    with home.disk():
        lock = _locked(home)
    try:
        with home.disk():
            remove_links(home.working)  # an earlier run is at an end: its lock was let go of
            home.begin_work()
        yield
    finally:
        _empty(home.working)
        with suppress(OSError):  # Windows removes no file that is open
            (home.working / _LOCK).unlink()
        lock.close()
        for remove in (() if os.name != "nt" else ((home.working / _LOCK).unlink,)) + (home.working.rmdir,):
            with suppress(OSError):  # the next run has begun meanwhile
                remove()


def _locked(home: Home) -> sqlite3.Connection:
    """Return the lock once it is held, and is the one that every other run finds. Errors: Unfinished; OSError."""
    path = home.working / _LOCK
    for _ in range(_TRIES):
        home.working.mkdir(parents=True, exist_ok=True)
        if os.path.lexists(path) and leads_elsewhere(path.lstat()):
            remove_link(path)
        try:
            before = _made(path)
            lock = sqlite3.connect(path, timeout=0, isolation_level=None)
        except FileNotFoundError:
            continue  # the run before has just removed the folder
        except sqlite3.Error as error:
            raise Unfinished(f"{home.into} cannot be written: {error}") from None
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.Error as error:
            lock.close()
            what = f"another recovery is writing into {home.into}, or it cannot be written ({error})"
            raise Unfinished(what) from None
        with suppress(OSError):
            if os.path.samestat(before, path.lstat()):
                return lock
        lock.close()
    raise Unfinished(f"another recovery is writing into {home.into}; run the same again when it has ended")


def _made(path: Path) -> os.stat_result:
    """Make the lock's file where it is not there, through no link; return what it is. Errors: OSError."""
    fd = os.open(path, _FLAGS, 0o600)
    try:
        return os.fstat(fd)
    finally:
        os.close(fd)


def remove_links(folder: Path) -> None:
    """Remove every link in the folder for files on their way, and nothing behind it. Errors: OSError."""
    for path in [*folder.iterdir()]:
        info = path.lstat()
        if leads_elsewhere(info):
            remove_link(path)
        elif stat.S_ISDIR(info.st_mode):
            remove_links(path)


def _empty(folder: Path) -> None:
    """Remove all that is in the folder, but the lock."""
    with suppress(OSError):
        for path in [*folder.iterdir()]:
            if path.name != _LOCK and path.is_dir() and not path.is_symlink():
                shutil.rmtree(path, ignore_errors=True)
            elif path.name != _LOCK:
                with suppress(OSError):
                    path.unlink()
