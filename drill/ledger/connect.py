"""Opening the ledger's file: what may go wrong with it is found here, before anything is read or written.

Flows in: a path. Flows out: an SQLite connection to a ledger of this version; Mistakes (no ledger, damaged, newer),
Unfinished (not writable, in use, disk full). Must not know: what the tables hold.

The journal is a write-ahead log where the file system has shared memory, else the plain rollback journal; either way
a commit is on the disk when it returns. Reading on a read-only medium needs no other file beside the ledger.
Source: sqlite.org, "Write-Ahead Logging" (sections 5 and 8), "URI Filenames", "Result and Error Codes".
"""

import os
import sqlite3
import stat
from pathlib import Path
from urllib.parse import quote

from drill.errors import Mistake, Mistakes, Unfinished
from drill.ledger.schema import OLDEST_SQLITE, is_current, migrate, no_ledger

_CACHE = "PRAGMA cache_size = -8000"  # 8 MB: a fifth faster than the usual 2 MB with a hundred thousand readings
_COMPANIONS = ("-wal", "-shm", "-journal")
_WITHOUT = "drill run and drill audit can do without it (--no-ledger)"
_BUSY = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL})
_DAMAGED = frozenset({0, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_FORMAT})  # 0: a text that is none any more
OWN_FAULTS = (sqlite3.DataError, sqlite3.IntegrityError, sqlite3.InterfaceError, sqlite3.ProgrammingError)
"""What SQLite raises when this program is wrong, and not the file."""
_REASONS = {
    sqlite3.SQLITE_FULL: "the disk is full; make room",
    sqlite3.SQLITE_READONLY: "it may only be read; allow writing",
    sqlite3.SQLITE_PERM: "it may not be written; allow writing",
    sqlite3.SQLITE_CANTOPEN: "it, or a file that belongs beside it, cannot be opened; allow reading and writing there",
}


def ledger_files(path: Path) -> tuple[Path, ...]:
    """Return all files that a ledger may be made of: itself, and what SQLite keeps beside it while it is in use."""
    return (path, *(path.with_name(path.name + ending) for ending in _COMPANIONS))


def connect(path: Path | None, *, wait_s: float) -> sqlite3.Connection:
    """Open a ledger for writing, make it where there is none, and bring an older one up to date.

    Without a path it is in memory. It waits `wait_s` for others who write. Errors: Mistakes, Unfinished.
    """
    if path is None:
        return _in_memory()
    _check_place(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"the folder of the ledger, {path.parent}, cannot be made: {error.strerror}"
        raise Unfinished(f"{what}; make it, or name another file; {_WITHOUT}") from error
    try:
        try:
            return _writing(path, wait_s, journal="WAL")
        except sqlite3.OperationalError as error:
            if primary(error) in _BUSY:
                raise
            return _writing(path, wait_s, journal="DELETE")  # there may be no shared memory there
    except sqlite3.Error as error:
        raise failure(path, error) from error


def connect_to_read(path: Path, *, wait_s: float) -> sqlite3.Connection:
    """Open a ledger for reading alone, also on a read-only medium; one that is not there is an empty one.

    Errors: Mistakes, Unfinished.
    """
    if not _check_place(path):
        return _in_memory()
    try:
        try:
            return _reading(path, "rw", wait_s)  # so that SQLite can tidy up after a run that was killed
        except sqlite3.OperationalError as error:
            if primary(error) in _BUSY or _size(ledger_files(path)[1]):
                raise  # what is in the log but not in the ledger would be passed over
            return _reading(path, "ro&immutable=1", wait_s)  # nobody can write there
    except sqlite3.Error as error:
        raise failure(path, error) from error


def primary(error: sqlite3.Error) -> int:
    """Return SQLite's primary result code; 0 where it gave none."""
    code: int = getattr(error, "sqlite_errorcode", 0)
    return code & 0xFF


def failure(path: Path | None, error: sqlite3.Error) -> Mistakes | Unfinished:
    """Return what is said to the user of an error that SQLite met."""
    code, where = primary(error), str(path or "the ledger in memory")
    if code == sqlite3.SQLITE_NOTADB:
        return no_ledger(where)
    if code in _DAMAGED:
        return damaged(where, str(error))
    if code in _BUSY:
        what = f"the ledger {where} is in use by another run"
        return Unfinished(f"{what}; run again when that has ended; {_WITHOUT}")
    reason = _REASONS.get(code, f"{error}; look at that disk")
    if path is not None and code == sqlite3.SQLITE_IOERR and not os.access(path.parent, os.W_OK):
        reason = "its folder may not be written"  # where SQLite keeps its log beside it
    what = f"the ledger {where} cannot be used: {reason}"
    return Unfinished(f"{what}, or name another file; {_WITHOUT}")


def damaged(where: str, detail: str) -> Mistakes:
    """Return what is said of a damaged ledger."""
    advice = "nothing in it was changed; move it away, and a new one is begun: what it knew is read again"
    return Mistakes([Mistake(where, "", f"is damaged ({detail})", advice)])


def _check_place(path: Path) -> bool:
    """Say whether something is there. Errors: Mistakes when it is a folder, Unfinished when SQLite is too old."""
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        needed = ".".join(map(str, OLDEST_SQLITE))
        what = f"the ledger needs SQLite {needed} or newer, this Python has {sqlite3.sqlite_version}"
        raise Unfinished(f"{what}; use a newer Python; {_WITHOUT}")
    try:
        if stat.S_ISDIR(path.stat().st_mode):
            raise Mistakes([Mistake(str(path), "", "is a folder, where the ledger should be", "name a file in it")])
    except OSError as error:
        return not isinstance(error, FileNotFoundError | NotADirectoryError)  # SQLite will say what else it is
    return True


def _in_memory() -> sqlite3.Connection:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection, "memory", size=0)
    return connection


def _open(path: Path, mode: str, wait_s: float) -> sqlite3.Connection:
    # After "file://" a path begins with a slash: a drive letter gets one, the two of a Windows share are four.
    name = quote(os.fsencode(path.absolute().as_posix()), safe="/:")
    uri = f"file://{name if name.startswith('/') else f'/{name}'}?mode={mode}"
    return sqlite3.connect(uri, uri=True, timeout=wait_s, isolation_level=None)


def _writing(path: Path, wait_s: float, *, journal: str) -> sqlite3.Connection:
    """Check the file, then set the journal: something else's file must not be touched even by that."""
    connection = _open(path, "rwc", wait_s)
    try:
        if journal == "DELETE":  # a log that another system left can only be taken in by one who has the file alone
            connection.execute("PRAGMA locking_mode = EXCLUSIVE")
        if not is_current(connection, str(path)):
            migrate(connection, str(path), size=_size(path))
        _set_journal(connection, journal)
        connection.execute("PRAGMA locking_mode = NORMAL")
        connection.execute(_CACHE)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("BEGIN IMMEDIATE")  # whether it can be written is known now, not after hours of reading
        connection.execute("ROLLBACK")
        return connection
    except BaseException:
        connection.close()
        raise


def _set_journal(connection: sqlite3.Connection, journal: str) -> None:
    try:
        connection.execute(f"PRAGMA journal_mode = {journal}")
    except sqlite3.OperationalError as error:
        if primary(error) not in _BUSY:
            raise  # a busy one is just being opened by another run, which does the same


def _reading(path: Path, mode: str, wait_s: float) -> sqlite3.Connection:
    connection = _open(path, mode, wait_s)
    try:
        if is_current(connection, str(path)):
            connection.execute("PRAGMA query_only = ON")
            connection.execute(_CACHE)
            return connection
        return _up_to_date(connection, path)
    except BaseException:
        connection.close()
        raise


def _up_to_date(older: sqlite3.Connection, path: Path) -> sqlite3.Connection:
    """Return an older ledger's contents in memory, in this version's tables; the file stays as it is."""
    newer = sqlite3.connect(":memory:", isolation_level=None)
    try:
        older.backup(newer)
        migrate(newer, str(path), size=_size(path))
    except BaseException:
        newer.close()
        raise
    older.close()
    return newer


def _size(path: Path) -> int:
    """Return a file's size in bytes; 0 where none is."""
    try:
        found = path.stat()
    except OSError:
        return 0
    return found.st_size if stat.S_ISREG(found.st_mode) else 0
