"""Readings as rows of the ledger and back: nothing that was put comes out as anything else.

Flows in: roots, entries, what a reading showed or ran into. Flows out: rows of `readings`, `Evidence`, `Seen`. Must
not know: connections, runs.

Every row has a check value over all its columns and the root it belongs to. SQLite would not notice a byte that a
failing disk changed inside a digest or a time; such a row is passed over, and its file read again.
"""

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import NamedTuple

from drill.model import Digest, Entry, Problem, Seen, Taken, Trouble

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FIRST_US = (datetime(1, 1, 2, tzinfo=UTC) - _EPOCH) // timedelta(microseconds=1)
_LAST_US = (datetime(9999, 12, 30, tzinfo=UTC) - _EPOCH) // timedelta(microseconds=1)
_LARGEST = 2**63 - 1  # an archive may list any size; SQLite's whole numbers end here

Text = str | bytes
RootKey = tuple[str, str, bool]
Ranges = Sequence[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Root:
    """Where a copy lies: the real path of its folder or archive file, and the medium it is on.

    The medium counts because two drives may take turns at one path. For an archive its own size and modified time
    count too. Without `archive` it is a folder, or a link: then `path` is its address without what is secret in it,
    and the copy's id.
    """

    path: str
    on: str = ""
    archive: bool = False
    size: int | None = None
    modified: datetime | None = None

    @property
    def key(self) -> RootKey:
        """Return what stays the same when the archive changes."""
        return self.path, self.on, self.archive

    @property
    def is_link(self) -> bool:
        """Say whether it is behind a link, where no later change of a file shows."""
        return self.path.startswith(("http://", "https://"))


class Evidence(NamedTuple):
    """What the last reading of one file showed, or the problem it ran into, and when; the file as it was then.

    `root` is where the copy lay, for an archive with its size and time as they were. `ranges` are the bytes that could
    not be read, each from its first byte to the one after its last. Times are in UTC, `took_s` is in seconds.
    `before` is what the file was first seen to hold, where a later reading showed anything else.
    (A tuple, as a copy may have a million of them: made in a third of the time of a frozen dataclass.)
    """

    root: Root
    path: str
    index: int  # type: ignore[assignment]  # of the file, not tuple's
    size: int | None
    modified: datetime | None
    digests: tuple[Digest, ...]
    problem: Problem | None
    ranges: tuple[tuple[int, int], ...]
    read_at: datetime
    took_s: float
    before: tuple[Digest, ...] = ()


class Row(NamedTuple):
    """A row of `readings` but for its root and its check value; the fields are the columns, in their order."""

    path: Text
    number: int
    size: int | None
    modified_us: int | None
    root_size: int | None
    root_modified_us: int | None
    digests: str | None
    taken: Text | None
    captured: int
    whole: int | None
    trouble: str | None
    detail: Text | None
    ranges: str | None
    read_at_us: int
    took_us: int
    run: int | None
    parts: bytes | None


COLUMNS = ", ".join((*Row._fields, "crc"))
_PLAIN = "|".join(["%s"] * (len(Row._fields) - 1))


def unchanged(evidence: Evidence, root: Root, entry: Entry) -> bool:
    """Say whether a file is, by path, size and modified time, the one that was read; without a known time it is not."""
    return (
        _is_datable(root, entry)
        and (evidence.root.key, evidence.path, evidence.index) == (root.key, entry.path, entry.index)
        and evidence.size == entry.size
        and us_of(evidence.modified) == us_of(entry.modified)
        and (evidence.root.size, us_of(evidence.root.modified)) == _archive_state(root)
    )


def is_holdable(entry: Entry) -> bool:
    """Say whether a file's index fits into a row; a damaged archive may give one of its members any.

    None is put in its place, as it would be another member's.
    """
    return -_LARGEST <= entry.index <= _LARGEST


def _is_datable(root: Root, entry: Entry) -> bool:
    """Say whether a later change of the file would show: its size and its time are known, or its archive's."""
    if entry.size is None or root.is_link:
        return False
    return None not in (_archive_state(root) if root.archive else (us_of(entry.modified),))


def reading_row(root: Root, entry: Entry, seen: Seen, *, read_at_us: int, took_s: float, run: int | None) -> Row | None:
    """Return the row of a reading that came to its end; None where a later change of the file would not show, or no row
    can hold it.

    Of what a link gave there is one all the same: it says what the server sent then.
    """
    modified_us, root_state, is_link = us_of(entry.modified), _archive_state(root), root.is_link
    if is_link and entry.size is None:
        entry = replace(entry, size=seen.size)
    if seen.size != entry.size or not is_holdable(entry):
        return None
    if not is_link and None in (root_state if root.archive else (modified_us,)):
        return None
    return Row(
        to_text(entry.path),
        entry.index,
        entry.size,
        modified_us,
        *root_state,
        " ".join([f"{kind}:{hex_}" for kind, hex_ in seen.digests]),
        None if seen.taken is None else to_text(f"{seen.taken.when.isoformat()} {seen.taken.camera}"),
        int(seen.captured),
        None if seen.whole is None else int(seen.whole),
        *(None, None, None),
        read_at_us,
        round(took_s * 1e6),
        run,
        seen.parts or None,
    )


def problem_row(
    root: Root, entry: Entry, problem: Problem, *, ranges: Ranges, read_at: datetime, took_s: float, run: int | None
) -> Row | None:
    """Return the row of a reading that ran into a problem; None where no row can hold it."""
    if not is_holdable(entry):
        return None
    root_size, root_modified_us = _archive_state(root)
    return Row(
        to_text(entry.path),
        entry.index,
        _bounded(entry.size),
        us_of(entry.modified),
        _bounded(root_size),
        root_modified_us,
        *(None, None, 0, None),
        problem.trouble.value,
        to_text(problem.detail),
        json.dumps([list(each) for each in ranges]) if ranges else None,
        needed_us(read_at),
        round(took_s * 1e6),
        run,
        None,
    )


def crc_of(row: Row, seed: int) -> int:
    """Return the check value of a row; `seed` is its root's, from `root_seed`."""
    plain = (_PLAIN % row[:-1]).encode()  # whole numbers and texts: written the same by all versions of Python
    return zlib.crc32(plain, zlib.crc32(row.parts, seed) if row.parts else seed)


@cache
def root_seed(key: RootKey) -> int:
    """Return what the check values of a root's rows begin with: a row is of no other root."""
    return zlib.crc32(ascii(key).encode("ascii"))


def is_of(row: Row, root: Root, entry: Entry) -> bool:
    """Say whether a row, of a reading that came to its end, is of that very file, unchanged since."""
    return (
        not root.is_link
        and row.size == entry.size
        and row.modified_us == us_of(entry.modified)
        and (row.root_size, row.root_modified_us) == _archive_state(root)
    )


def seen_of(row: Row) -> Seen | None:
    """Return what the reading showed; None where it ran into a problem."""
    if row.digests is None or row.size is None:
        return None
    whole = None if row.whole is None else bool(row.whole)
    return Seen(row.size, digests_of(row.digests), row.parts or b"", _taken(row.taken), bool(row.captured), whole)


def evidence_of(row: Row, root: Root) -> Evidence:
    """Return a row as evidence; `root` is where it lies, with the archive's state as in the row."""
    problem = None if row.trouble is None else Problem(Trouble(row.trouble), from_text(row.detail or ""))
    return Evidence(
        root,
        from_text(row.path),
        row.number,
        row.size,
        None if row.modified_us is None else moment_of(row.modified_us),
        digests_of(row.digests) if row.digests else (),
        problem,
        tuple((first, end) for first, end in json.loads(row.ranges)) if row.ranges else (),
        moment_of(row.read_at_us),
        row.took_us / 1e6,
    )


def us_of(when: datetime | None) -> int | None:
    """Return a moment in microseconds since 1970; None also at the calendar's very ends, where no zone fits."""
    if when is None:
        return None
    us = _since_1970_us(when)
    return us if _FIRST_US <= us <= _LAST_US else None


def needed_us(when: datetime) -> int:
    """Return a moment that is needed in microseconds since 1970; one outside the calendar is moved to its end."""
    return min(max(_since_1970_us(when), _FIRST_US), _LAST_US)


def moment_of(us: int) -> datetime:
    """Return the moment of so many microseconds since 1970, in UTC."""
    return _EPOCH + timedelta(0, 0, us)


def to_text(text: str) -> Text:
    """Return a text as SQLite can hold it: as bytes where it is no valid Unicode, or has a NUL in it."""
    if "\0" not in text:
        if text.isascii():
            return text
        try:
            text.encode("utf-8")
            return text
        except UnicodeEncodeError:
            pass
    return text.encode("utf-8", "surrogatepass")


def from_text(stored: Text) -> str:
    """Return a text as it was before `to_text`."""
    return stored if isinstance(stored, str) else stored.decode("utf-8", "surrogatepass")


def _since_1970_us(when: datetime) -> int:
    since = when - _EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds


def _archive_state(root: Root) -> tuple[int | None, int | None]:
    return (root.size, us_of(root.modified)) if root.archive else (None, None)


def _bounded(size: int | None) -> int | None:
    return None if size is None or size > _LARGEST else size


def digests_of(text: str) -> tuple[Digest, ...]:
    """Return digests as a row has them."""
    return tuple([Digest._make(word.split(":")) for word in text.split()])


def _taken(stored: Text | None) -> Taken | None:
    if stored is None:
        return None
    when, _, camera = from_text(stored).partition(" ")
    return Taken(datetime.fromisoformat(when), camera)
