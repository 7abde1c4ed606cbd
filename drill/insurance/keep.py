"""When an archive's headers are kept: it opened in good health, they are few, and alone they list all that is in it.

Flows in: an opened copy, the folder beside the ledger. Flows out: the last two states of its headers there, and what
went wrong in words. Must not know: promises, scenarios. A file is written aside, flushed and renamed; the state before
the last is kept, because an archive may be made anew and turn out worse. Damage changes no file's time; a tar can be
cut short, or lose a header, and still be listed without a complaint.
"""

import errno
import hashlib
import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from io import RawIOBase
from pathlib import Path

from drill import clock, units
from drill.copies import lists_all
from drill.errors import CannotReach, CannotRead, DrillError
from drill.extents import Kept, Piece
from drill.insurance.form import About, Text, read, read_about, sum_of, write
from drill.model import Copy, Entry, Store
from drill.salvage import salvage_entries
from drill.shelf import OpenCopy, State
from drill.streams import Placed
from drill.structure import header_spans

MOST_BYTES = 16 * 1024 * 1024
MOST_PIECES = 100_000
_MOST_TEXT = 4 * MOST_BYTES + 200 * MOST_PIECES
_MOST_FILLED = 64 * 1024
_HEAD = 8192  # characters in which a text says what it is about
KEEPS = frozenset({".7z", ".zip", ".tar"})
"""The formats whose headers can be kept: a compressed tar has none that stand apart."""


@dataclass(frozen=True, slots=True)
class Held:
    """The kept headers of one copy, the latest first, with the time the archive had ("": not known), and what was wrong
    with the files they are in."""

    headers: tuple[Kept, ...] = ()
    modified: tuple[str, ...] = ()
    warnings: tuple[str, ...] = field(default=())


def headers_folder(ledger: Path) -> Path:
    """Return the folder beside a ledger where headers are kept: `ledger.headers` beside `ledger.sqlite`."""
    folder = ledger.with_suffix(".headers")
    return folder if folder != ledger else ledger.with_name(f"{ledger.name}.headers")


def insure(found: OpenCopy, folder: Path, *, now: datetime) -> str | None:
    """Keep the headers of an archive that opened in good health; return in words what was in the way, or that it names
    fewer files than it did.

    Nothing is written while they are as they were kept, nor over others where the archive was damaged since.
    """
    archive = _archive_of(found)
    if archive is None:
        return None
    latest, older = _paths(found.copy.id, folder)
    known = _whole(latest)
    modified = _time_of(archive)
    fewer = None
    if known is not None and modified and (known.size, known.modified) == (archive.size, modified):
        return None
    try:
        pieces = _headers_of(found)
        about = About(found.copy.id, archive.path, archive.size or 0, modified, sum_of(pieces, archive.size or 0))
        if known is None or (known.size, known.sum) != (about.size, about.sum):
            fewer = _fewer(found, kept_headers(found.copy.id, folder))
            folder.mkdir(parents=True, exist_ok=True)
            _swap_in(latest, write(about, pieces, kept=clock.rfc3339(now)), before=older if known is not None else None)
    except _InTheWay as error:
        return f"the headers of {found.copy.id} as they are now are not kept: {error}"
    except OSError as error:
        return f"the headers of {found.copy.id} cannot be kept: {folder}: {error.strerror}"
    return fewer


def _archive_of(found: OpenCopy) -> Entry | None:
    """Return the file of an archive that is in good health and has headers to keep."""
    if found.state is not State.HERE or found.reason or found.copy.archive not in KEEPS or found.store is None:
        return None
    return next(iter(found.store.files()), None)


def _time_of(archive: Entry) -> str:
    return "" if archive.modified is None else archive.modified.isoformat()


def _fewer(found: OpenCopy, held: Held) -> str | None:
    """Say how many files an archive that was made anew names no more. Errors: _InTheWay, where it was damaged."""
    store = found.store
    assert store is not None
    if not held.headers:
        return None
    lost = lost_since(found, held)
    if lost:
        raise _InTheWay(f"they named {len(lost)} files more before, so it is damaged; those kept before stay")
    if not _is_sound(found, store):
        raise _InTheWay("it ends too early, or headers in it are damaged; those kept before stay")
    own = {entry.path for entry in found.entries}
    gone: list[str] = []
    with suppress(CannotRead, CannotReach):
        gone = [entry.path for entry in _listed_by(held.headers[0], found, store) if entry.path not in own]
    if not gone:
        return None
    files = "1 file that it had before is" if len(gone) == 1 else f"{len(gone)} files that it had before are"
    return f"{found.copy.id} has changed, and {files} not in it any more, such as {gone[0]}"


def _is_sound(found: OpenCopy, store: Store) -> bool:
    """Say whether nothing of an archive's listing can be missing: others than tars cannot be listed in part.

    A tar is filled up with zeros at its end (POSIX pax: to 10,240 bytes by default), and so is what was never written.
    """
    if found.copy.archive != ".tar":
        return True
    try:
        with store.open(store.files()[0]) as raw:
            size = raw.seek(0, os.SEEK_END)
            last = _exactly(raw, max(0, size - _MOST_FILLED), size)
            raw.seek(0)
            return bool(last.strip(b"\0")) and lists_all(".tar", raw)
    except (OSError, DrillError):
        return False


def kept_headers(id_: str, folder: Path) -> Held:
    """Return what is kept of a copy's headers; a file that is damaged is left out and told."""
    headers: list[Kept] = []
    modified: list[str] = []
    warnings: list[str] = []
    for path in _paths(id_, folder):
        try:
            known = _read_text(path)
        except FileNotFoundError:
            continue
        except (OSError, ValueError) as error:
            warnings.append(f"the kept headers in {path} cannot be used: {error}")
            continue
        if known.about.copy != id_:
            warnings.append(f"the kept headers in {path} are left alone: they are of {known.about.copy}")
            continue
        if known.damaged:
            warnings.append(f"the kept headers in {path} are damaged in places; what is whole is used")
        headers.append(known.kept)
        modified.append(known.about.modified)
    return Held(tuple(headers), tuple(modified), tuple(warnings))


def named_by(copy: Copy, headers: Sequence[Kept]) -> list[Entry]:
    """Return what kept headers name in an archive that nobody can look at now; nothing where they do not open."""
    for kept in headers:
        file = Entry("archive", kept.size)
        with suppress(CannotRead, CannotReach):
            alone = Store(lambda file=file: (file,), lambda entry, kept=kept: _Nothing(kept.size))  # type: ignore[misc]
            return salvage_entries(alone, copy.archive or "", copy.password, kept=kept)
    return []


def lost_since(found: OpenCopy, held: Held) -> list[Entry]:
    """Return what kept headers name in an archive of this very size and its own headers name no more.

    Damage can make a listing shorter without an error: zeros are the end of a tar. Where the archive still has the kept
    bytes, nothing else is looked at; and one that was written since, and is sound, is another archive.
    """
    store, archive = found.store, next(iter(found.store.files()), None) if found.store is not None else None
    if found.state is not State.HERE or store is None or archive is None or found.copy.archive not in KEEPS:
        return []
    own = {(entry.path, entry.index) for entry in found.entries}
    time = _time_of(archive)
    for kept, modified in zip(held.headers, held.modified, strict=True):
        if kept.size != archive.size or _still_there(store, kept):
            continue
        if time and modified and time != modified and _is_sound(found, store):
            continue
        with suppress(CannotRead, CannotReach):
            named = _listed_by(kept, found, store)
            return [entry for entry in named if (entry.path, entry.index) not in own]
    return []


def _still_there(store: Store, kept: Kept) -> bool:
    try:
        with store.open(store.files()[0]) as raw:
            return all(_exactly(raw, piece.start, piece.start + len(piece.data)) == piece.data for piece in kept.pieces)
    except (OSError, DrillError):
        return False


def is_kept(id_: str, folder: Path) -> bool:
    """Say whether headers of a copy are kept, by the first lines of the file alone."""
    return any(_about(path) is not None for path in _paths(id_, folder))


def _paths(id_: str, folder: Path) -> tuple[Path, Path]:
    """Return where the latest state of a copy's headers is kept, and the one before. Ids may differ in case alone."""
    name = f"{id_}-{hashlib.sha256(id_.encode()).hexdigest()[:8]}"
    return folder / f"{name}.txt", folder / f"{name}-older.txt"


def _read_text(path: Path) -> Text:
    """Errors: OSError, ValueError."""
    with path.open(encoding="utf-8", errors="surrogateescape") as file:
        text = file.read(_MOST_TEXT + 1)
    if len(text) > _MOST_TEXT:
        raise ValueError("it is too long")
    return read(text)


def _whole(path: Path) -> About | None:
    """Return what a kept text is about, if nothing of it is damaged."""
    try:
        text = _read_text(path)
    except (OSError, ValueError):
        return None
    return None if text.damaged else text.about


def _about(path: Path) -> About | None:
    try:
        with path.open(encoding="utf-8", errors="surrogateescape") as file:
            return read_about(file.read(_HEAD))
    except (OSError, ValueError):
        return None


def _swap_in(latest: Path, text: str, *, before: Path | None) -> None:
    """Write a text in whole; the one that is there goes to `before`, if it is worth keeping."""
    aside = latest.with_name(f".{latest.name}-{os.getpid()}.part")
    try:
        with aside.open("w", encoding="utf-8", errors="surrogateescape", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        if before is not None:
            latest.replace(before)
        aside.replace(latest)
    finally:
        with suppress(OSError):
            aside.unlink(missing_ok=True)


# --- the headers -------------------------------------------------------------------------------------------------


class _InTheWay(DrillError):
    """Why an archive's headers cannot be kept."""


def _headers_of(found: OpenCopy) -> list[Piece]:
    """Read an archive's headers. Errors: _InTheWay."""
    store = found.store
    assert store is not None and found.copy.archive is not None
    try:
        pieces = _read(store, header_spans(store, found.copy.archive, found.copy.password))
    except (CannotRead, CannotReach) as error:
        raise _InTheWay(str(error)) from None
    except OSError as error:
        raise _InTheWay(f"they cannot be read ({error.strerror or error})") from None
    if not _list_alone(found, pieces, store):
        raise _InTheWay("alone they do not list what is in it")
    return pieces


def _read(store: Store, spans: Sequence[tuple[int, int]]) -> list[Piece]:
    total = sum(end - start for start, end in spans)
    if total > MOST_BYTES or len(spans) > MOST_PIECES:
        raise _InTheWay(f"they take {units.say_size(total)} in {len(spans)} pieces, more than is kept")
    with store.open(store.files()[0]) as raw:
        return [Piece(start, _exactly(raw, start, end)) for start, end in spans]


def _exactly(raw: RawIOBase, start: int, end: int) -> bytes:
    raw.seek(start)
    data = b""
    while len(data) < end - start and (more := raw.read(end - start - len(data))):
        data += more
    if len(data) != end - start:
        raise _InTheWay(f"the archive ends at byte {start + len(data)}")
    return data


def _list_alone(found: OpenCopy, pieces: Sequence[Piece], store: Store) -> bool:
    """Say whether the pieces list all that is in the archive when nothing else of it can be read."""
    try:
        listed = _listed_by(Kept(store.files()[0].size or 0, tuple(pieces)), found, store)
    except (CannotRead, CannotReach):
        return False
    return {(e.path, e.index, e.size) for e in listed} >= {(e.path, e.index, e.size) for e in found.entries}


def _listed_by(kept: Kept, found: OpenCopy, store: Store) -> list[Entry]:
    """List an archive by kept headers alone. Errors: CannotRead, CannotReach."""
    assert found.copy.archive is not None
    alone = Store(store.files, lambda entry: _Nothing(kept.size))
    return salvage_entries(alone, found.copy.archive, found.copy.password, kept=kept)


class _Nothing(Placed):
    """A file of which nothing can be read."""

    def readinto(self, buffer: object, /) -> int:
        if not self.room(buffer):
            return 0
        raise OSError(errno.EIO, "Input/output error")
