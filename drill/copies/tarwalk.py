"""The headers of a tar, one by one, and on after a damaged one.

Flows in: a tape. Flows out: tarfile's header values, Entries. Must not know: what the tape is packed with, who waits
for what. Facts: POSIX ustar and pax (section 11 of the references), the standard library's tarfile, whose own
iteration is not used: it ends without a word at a damaged header.
"""

import tarfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, cast

from drill.copies.tape import Tape, Unpacked
from drill.model import Entry

# tarfile's own classes, which its type stubs leave out.
_EndMark: type[Exception] = tarfile.EOFHeaderError  # type: ignore[attr-defined]
_NoMore: type[Exception] = tarfile.EmptyHeaderError  # type: ignore[attr-defined]

RECORD = tarfile.BLOCKSIZE
_SECTOR = 4096  # what a drive cannot read comes in pieces of this size
_LARGEST_HEADER = 64 * 1024 * 1024
_CHECKSUM_SIGNS = frozenset(b"01234567 \0")


class _Headers(tarfile.TarFile):
    """What tarfile needs to parse one header; it does not go looking for the first one by itself."""

    def next(self) -> None:
        return None


class _Bounded:
    """The tape as the header parser reads it: a header that asks for a gigabyte is damage."""

    def __init__(self, tape: Tape) -> None:
        self._tape = tape
        self.seek, self.tell = tape.seek, tape.tell

    def read(self, size: int) -> bytes:
        if size > _LARGEST_HEADER:
            raise ValueError("absurd header")
        return self._tape.read(size)


def _next_sector(at: int) -> int:
    return at + _SECTOR - at % _SECTOR


@dataclass(slots=True)
class Walk:
    """How far a walk over the headers came: `broken` when one made no sense, `unread` when one could not be read."""

    tape: Tape
    missed: Callable[[], bool] = bool  # whether something is still missed when the mark of the end is met: no
    beyond: Callable[[int], int] = _next_sector  # where to look on after a place that cannot be read
    broken: bool = False
    unread: bool = False
    marked: int | None = None  # where the mark of the end was met
    start: int = 0  # where the headers of the member at hand begin, pax headers included
    after: int = 0  # where the next header is expected
    files: dict[str, tarfile.TarInfo] = field(default_factory=dict)

    def members(self) -> Iterator[tuple[Entry, tarfile.TarInfo]]:
        """Yield each regular file, and each hard link with the header of the file that has its bytes."""
        for info in self.headers():
            member = self.member_of(info)
            if member is not None:
                yield member

    def member_of(self, info: tarfile.TarInfo) -> tuple[Entry, tarfile.TarInfo] | None:
        """Return the header's Entry with the header of the bytes it stands for; None for folders and what else is."""
        path = path_of(info.name)
        if info.isreg():
            self.files[path] = info
            return entry_of(path, info, info), info
        if info.islnk() and path_of(info.linkname) in self.files:
            target = self.files[path] = self.files[path_of(info.linkname)]
            return entry_of(path, info, target), target
        return None

    def headers(self) -> Iterator[tarfile.TarInfo]:
        """Yield the header of each member of any kind."""
        tar = _Headers(fileobj=cast(Any, _Bounded(self.tape)), mode="r", encoding="utf-8", errors="surrogateescape")
        at: int | None = 0
        while at is not None:
            try:
                self.tape.seek(at)
                tar.offset = at
                info = tarfile.TarInfo.fromtarfile(tar)
                if info.size < 0 or tar.offset <= at:
                    raise tarfile.HeaderError("absurd size")
            except _EndMark:
                self.marked = at
                # The mark of the end, or a sector of zeros where a header was: look on while something is missed.
                at = self._resync(at + RECORD) if self.missed() else None
            except _NoMore:
                self.broken = self.broken or at == 0
                return
            except Exception as error:
                self.broken = True
                self.unread = self.unread or isinstance(error, OSError) or isinstance(self.tape.trouble, OSError)
                at = self._resync(at + RECORD)
            else:
                self.start, self.after = at, tar.offset
                yield info
                at = self.after

    def _resync(self, at: int) -> int | None:
        """Return where, from `at` on, the next readable header lies; None at the end of the tape."""
        while True:
            try:
                if self.tape.seek(at) < at:
                    return None
                record = self.tape.read(RECORD)
            except Exception:
                self.unread = True
                if isinstance(self.tape, Unpacked):
                    return None
                at = self.beyond(at)
                continue
            if len(record) < RECORD and self.tape.trouble is None:
                return None
            if is_header(record):
                return at
            at += RECORD


def is_header(record: bytes) -> bool:
    if len(record) < RECORD or not _CHECKSUM_SIGNS.issuperset(record[148:156]):
        return False
    with suppress(tarfile.HeaderError, ValueError):
        tarfile.TarInfo.frombuf(record, "utf-8", "surrogateescape")
        return True
    return False


def path_of(name: str) -> str:
    while name.startswith("./"):
        name = name[2:]
    return name


def entry_of(path: str, info: tarfile.TarInfo, bytes_in: tarfile.TarInfo) -> Entry:
    modified = None
    with suppress(ValueError, OverflowError, OSError):
        modified = datetime.fromtimestamp(info.mtime, UTC)
    # The place of the bytes, not a running number: it stays the same when a header before it is lost.
    return Entry(path, bytes_in.size, modified, bytes_in.offset_data)
