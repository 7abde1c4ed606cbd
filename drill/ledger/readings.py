"""The readings in the ledger: rows of the last reading of each file, and of what it was first seen to hold.

Flows in: a connection, a place by its id, rows. Flows out: rows and `Evidence`. Must not know: what is pending, runs,
how readings came about. Many rows go into one statement: at each step SQLite lets go of the interpreter's lock, and
what reads files takes it in the meantime.
"""

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache
from itertools import groupby
from operator import attrgetter
from typing import TypeVar

from drill.ledger.connect import OWN_FAULTS
from drill.ledger.rows import (
    COLUMNS,
    Evidence,
    Root,
    RootKey,
    Row,
    Text,
    crc_of,
    digests_of,
    evidence_of,
    from_text,
    is_holdable,
    moment_of,
    root_seed,
    to_text,
)
from drill.model import Entry

_AT_ONCE = (100, 10, 1)  # rows of one statement
_REFUSED = (*OWN_FAULTS, OverflowError, UnicodeError)
_FIELDS = len(Row._fields)
# What a place was first seen to hold, when that is no longer what its last reading says: else rot would be forgotten.
_KEEP = """INSERT OR IGNORE INTO before
    SELECT r.root, r.path, r.number, r.digests FROM (VALUES {rows}) AS new CROSS JOIN readings AS r
    ON r.root = new.column1 AND r.path = new.column2 AND r.number = new.column3
    WHERE r.digests IS NOT NULL AND r.digests IS NOT new.column4"""
_PUT = f"INSERT OR REPLACE INTO readings (root, {COLUMNS}) VALUES {{rows}}"
_BEFORE = "SELECT path, number, digests FROM before WHERE root = ?"
_GET = f"SELECT {COLUMNS} FROM readings WHERE root = ? AND path = ? AND number = ?"
_SOME = f"SELECT {COLUMNS} FROM readings WHERE root = ? AND path IN ({{paths}})"
_ALL = f"SELECT {COLUMNS} FROM readings WHERE root = ?"
# Those that no later listing of the whole place lacked, as they lie: nothing is sorted.
_PRESENT = f"""SELECT {COLUMNS} FROM readings AS r WHERE root = ? AND NOT EXISTS (SELECT 1 FROM absent AS a
    WHERE a.root = r.root AND a.path = r.path AND a.number = r.number AND a.at_us > r.read_at_us)
    ORDER BY path, number"""
_KEYS = "SELECT path, number FROM readings WHERE root = ?"
_ABSENT = "SELECT path, number FROM absent WHERE root = ?"
_IS_ABSENT = "INSERT OR REPLACE INTO absent (root, path, number, at_us) VALUES (?, ?, ?, ?)"
_IS_BACK = "DELETE FROM absent WHERE root = ? AND path = ? AND number = ?"

T = TypeVar("T")
Select = Callable[[sqlite3.Connection, int, RootKey], Iterator[Evidence]]
FileKey = tuple[str, int]  # a file's path on its copy, and its index there


def insert_readings(db: sqlite3.Connection, root: int, seed: int, rows: Sequence[Row], *, is_new: bool) -> list[Row]:
    """Put rows in the place of those that are there; `is_new` says that none are. `seed` is from `root_seed`.

    Return those that SQLite refuses: they hold no other back.
    """
    refused: list[Row] = []
    for some in _cut(rows):
        try:
            _insert(db, root, seed, some, is_new=is_new)
        except _REFUSED:
            if len(some) > 1:  # a statement that is refused has done nothing
                refused += [row for one in some for row in insert_readings(db, root, seed, [one], is_new=is_new)]
            else:
                refused += some
    return refused


def _insert(db: sqlite3.Connection, root: int, seed: int, some: Sequence[Row], *, is_new: bool) -> None:
    if not is_new:
        old = [value for row in some for value in (root, row.path, row.number, row.digests)]
        db.execute(_KEEP.format(rows=_marks(4, len(some))), old)
    new = [value for row in some for value in (root, *row, crc_of(row, seed))]
    db.execute(_PUT.format(rows=_marks(_FIELDS + 2, len(some))), new)


def select_one(db: sqlite3.Connection, root: int, seed: int, entry: Entry) -> Row | None:
    """Return the row of one file; None where there is none, or a byte of it has changed since."""
    if not is_holdable(entry):
        return None
    found = db.execute(_GET, (root, to_text(entry.path), entry.index)).fetchone()
    return None if found is None else _right(found, seed)


def select_some(db: sqlite3.Connection, root: int, seed: int, keys: Sequence[FileKey]) -> dict[FileKey, Row]:
    """Return the same of many files; also of others that share a path with one of them."""
    rows: dict[FileKey, Row] = {}
    for some in _cut(keys):
        query = _SOME.format(paths=", ".join("?" * len(some)))
        for found in db.execute(query, (root, *(to_text(path) for path, _ in some))):
            row = _right(found, seed)
            if row is not None:
                rows[from_text(row.path), row.number] = row
    return rows


def select_present(db: sqlite3.Connection, root: int, key: RootKey) -> Iterator[Evidence]:
    """Yield, of each path, what was there when it was last read and no later listing lacked: for a copy that cannot be
    listed now.

    An archive's member has another index after the archive was packed anew, and its older readings stay beside the last
    one. Members of one path that were read in the same state of their archive all count; behind a link no state shows,
    and the last one alone does.
    """
    for _, of_path in groupby(_select(db, root, key, _PRESENT), key=attrgetter("path")):
        some = list(of_path)
        last = max(some, key=attrgetter("read_at"))
        yield from some if len(some) == 1 else (one for one in some if one is last or _is_beside(one, last))


def _is_beside(one: Evidence, last: Evidence) -> bool:
    return last.root.archive and one.root == last.root


def select_evidence(db: sqlite3.Connection, root: int, key: RootKey) -> Iterator[Evidence]:
    """Yield the last reading of every file that was ever read in a place."""
    return _select(db, root, key, _ALL)


def _select(db: sqlite3.Connection, root: int, key: RootKey, query: str) -> Iterator[Evidence]:
    seed, path, on = root_seed(key), key[0], key[1]
    roots: dict[tuple[int | None, int | None], Root] = {}
    before = {(from_text(p), number): digests_of(text) for p, number, text in db.execute(_BEFORE, (root,))}
    for values in db.execute(query, (root,)):
        row = _right(values, seed)
        if row is None:
            continue
        state = row.root_size, row.root_modified_us
        if state not in roots:
            modified = None if state[1] is None else moment_of(state[1])
            roots[state] = Root(path, on, key[2], state[0], modified)
        one = evidence_of(row, roots[state])
        place = one.path, one.index
        yield one._replace(before=before[place]) if place in before else one


def absences(
    db: sqlite3.Connection, root: int, listed: Iterable[Entry], closed: Sequence[str]
) -> tuple[list[FileKey], list[FileKey]]:
    """Return what was read in a place and is not listed there any more, and what was missing once and is listed again.

    What lies in a folder that is `closed` is neither.
    """
    missing = {_key(row) for row in db.execute(_ABSENT, (root,))}
    here = {entry.path for entry in listed if not entry.index}  # of folders, that is all
    also = {(entry.path, entry.index) for entry in listed if entry.index}

    def is_listed(key: FileKey) -> bool:
        return key in also if key[1] else key[0] in here

    below = tuple(f"{folder}/" if folder not in ("", ".") else "" for folder in closed)  # of "", that is everything
    read = (_key(row) for row in db.execute(_KEYS, (root,)))
    gone = [key for key in read if not is_listed(key) and not key[0].startswith(below)]
    return gone, [key for key in missing if is_listed(key)]


def write_absences(
    db: sqlite3.Connection, root: int, gone: Iterable[FileKey], back: Iterable[FileKey], at_us: int
) -> None:
    """Note what is gone from a place since then, and what is back."""
    db.executemany(_IS_ABSENT, ((root, to_text(path), number, at_us) for path, number in gone))
    db.executemany(_IS_BACK, ((root, to_text(path), number) for path, number in back))


def _key(row: tuple[Text, int]) -> FileKey:
    return from_text(row[0]), row[1]


def _right(values: tuple[object, ...], seed: int) -> Row | None:
    """Return a row as it was put; None where a byte of it has changed since."""
    row = Row._make(values[:-1])
    try:
        return row if crc_of(row, seed) == values[-1] else None
    except TypeError:  # where bytes should be is something else now
        return None


def _cut(items: Sequence[T]) -> Iterator[Sequence[T]]:
    """Cut into what one statement takes: of few lengths, as SQLite's programs for them are kept, and large."""
    start = 0
    for length in _AT_ONCE:
        while len(items) - start >= length:
            yield items[start : start + length]
            start += length


@cache
def _marks(columns: int, rows: int) -> str:
    """Return the places for values of so many rows."""
    return ", ".join([f"({', '.join('?' * columns)})"] * rows)
