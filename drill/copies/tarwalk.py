"""The headers of a tar, one by one, and on after a damaged one.

Flows in: a tape. Flows out: tarfile's header values, Entries, what is wrong with the whole. Must not know: what the
tape is packed with, who waits for what. Facts: POSIX ustar and pax (section 11 of the references), the standard
library's tarfile, whose own iteration is not used: it ends without a word at a damaged header. What a header says of
itself is not believed without bound: neither how long it is nor how many zeros a sparse file has (no source for the
bounds, they are generous).

Two blocks of zeros are the mark of the end (POSIX), and so does a header look that was overwritten with zeros. So the
walk goes on behind it, to the end of the tape: zeros alone are the end; other bytes are what is left of a member. A
header right behind it is the next tar's, where the mark has the length that programs give it.
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
_LARGEST_HEADER = 1024 * 1024  # of a pax header or a long name
_LARGEST_HEADERS = 4 * _LARGEST_HEADER  # of all that belong to one member, the map of a sparse one included
_MOST_IN_VAIN = 2 * _LARGEST_HEADERS  # read of headers that made no sense, in one walk; from then on a little of each
_A_LITTLE = 12 * RECORD
_HOLES_AT_LEAST = 1024 * 1024 * 1024  # zeros that the holes of sparse files may have together
_HOLES_RATIO = 16  # and so many more for each byte of the tar up to there
_CHUNK = 64 * 1024
_ZEROS = bytes(RECORD)
_MARK = 2 * RECORD  # the end as POSIX has it, and as 7-Zip and libarchive write it
_PADDED = 20 * RECORD  # GNU tar and Python's tarfile go on with zeros to a multiple of that
_CHECKSUM_SIGNS = frozenset(b"01234567 \0")


class _Headers(tarfile.TarFile):
    """What tarfile needs to parse one header; it does not go looking for the first one by itself."""

    def next(self) -> None:
        return None


class TooHollow(Exception):
    """A sparse file that says it has more zeros than is believed of its archive."""


class _Bounded:
    """The tape as the header parser reads it: a header that asks for a gigabyte is damage."""

    def __init__(self, tape: Tape) -> None:
        self._tape = tape
        self.tell = tape.tell
        self._read = self._in_vain = 0

    def seek(self, offset: int) -> int:
        return self._tape.seek(offset)

    def begin(self) -> None:
        """Forget what was read for the member before."""
        self._read = 0

    def failed(self) -> None:
        """Note that what was read made no sense: it will be read again."""
        self._in_vain += self._read

    def read(self, size: int) -> bytes:
        most = _LARGEST_HEADERS if self._in_vain < _MOST_IN_VAIN else _A_LITTLE
        if size > _LARGEST_HEADER or self._read + size > most:
            raise ValueError("absurd header")
        data = self._tape.read(size)
        self._read += len(data)
        if len(data) < size and size > RECORD:
            raise ValueError("header cut short")
        return data


def _next_sector(at: int) -> int:
    return at + _SECTOR - at % _SECTOR


@dataclass(slots=True)
class Walk:
    """How far a walk over the headers came: `broken` when one made no sense, `unread` when one could not be read."""

    tape: Tape
    beyond: Callable[[int], int] = _next_sector  # where to look on after a place that cannot be read
    broken: bool = False
    unread: bool = False
    zeroed: bool = False  # zeros stand where a header was, as far as what is behind them tells
    joined: bool = False  # another tar begins behind a mark of the end
    ended: bool = False  # nothing but zeros lies behind the last mark of the end
    marked: int | None = None  # where the first mark of the end was met: other programs end there
    start: int = 0  # where the headers of the member at hand begin, pax headers included
    after: int = 0  # where the next header is expected
    holes: int = 0  # zeros in the holes of the sparse files that were met and are believed
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
            return self._entry(path, info, info), info
        if info.islnk() and path_of(info.linkname) in self.files:
            target = self.files[path] = self.files[path_of(info.linkname)]
            return self._entry(path, info, target), target
        return None

    def _entry(self, path: str, info: tarfile.TarInfo, bytes_in: tarfile.TarInfo) -> Entry:
        """Return the Entry; its size is not told where it has more zeros than is believed."""
        stored = sum(size for _, size in stretches(bytes_in))
        holes = self.holes + max(0, bytes_in.size - stored)
        if holes > max(self.holes, _HOLES_AT_LEAST + _HOLES_RATIO * (bytes_in.offset_data + stored)):
            return entry_of(path, info, bytes_in, size=None)
        self.holes = holes
        return entry_of(path, info, bytes_in, size=bytes_in.size)

    def headers(self) -> Iterator[tarfile.TarInfo]:
        """Yield the header of each member of any kind."""
        bounded = _Bounded(self.tape)
        tar = _Headers(fileobj=cast(Any, bounded), mode="r", encoding="utf-8", errors="surrogateescape")
        at: int | None = 0
        while at is not None:
            try:
                bounded.begin()
                self.tape.seek(at)
                tar.offset = at
                info = tarfile.TarInfo.fromtarfile(tar)
                if info.size < 0 or tar.offset <= at:
                    raise tarfile.HeaderError("absurd size")
            except _EndMark:
                self.marked = at if self.marked is None else self.marked
                at = self._behind_mark(at)
            except _NoMore:
                self.broken = self.broken or at == 0
                return
            except Exception as error:
                self.broken = True
                bounded.failed()
                self.unread = self.unread or isinstance(error, OSError) or isinstance(self.tape.trouble, OSError)
                at = self._resync(at + RECORD)
            else:
                self.start, self.after = at, tar.offset
                yield info
                at = self.after

    def doubt(self) -> str:
        """Say in words why the walk, once over, may not have met all that was in the tar; nothing where it has."""
        if self.zeroed:
            return "it goes on behind what looks like its end: a file's header seems to be overwritten with zeros"
        if self.unread or self.tape.trouble is not None:
            return "it cannot be read to its end"
        if self.broken:
            return "the header of a file in it makes no sense"
        return "" if self.ended else "the mark of its end is missing: it may be cut short"

    def _behind_mark(self, at: int) -> int | None:
        """Return where the next header behind a mark of the end lies, None where none does; note what that shows."""
        self.ended = False
        begins, foreign = self._look_on(at + RECORD)
        if begins is not None and not foreign and begins - at >= _MARK:
            is_tar = begins - at == _MARK or begins % _PADDED == 0
            self.joined, self.zeroed = self.joined or is_tar, self.zeroed or not is_tar
        elif begins is not None or foreign:
            self.zeroed = True
        else:
            self.ended = True
        return begins

    def _resync(self, at: int) -> int | None:
        """Return where, from `at` on, the next readable header lies; None at the end of the tape."""
        return self._look_on(at)[0]

    def _look_on(self, at: int) -> tuple[int | None, bool]:
        """Return where, from `at` on, the next readable header lies, and whether anything but zeros lies before it."""
        foreign, size = False, RECORD  # little at first: the next header may be the next record, a million times
        while True:
            try:
                if self.tape.seek(at) < at:
                    return None, foreign
                chunk = self.tape.read(size)
            except Exception:
                self.unread = True
                if isinstance(self.tape, Unpacked):
                    return None, foreign
                at = self.beyond(at)
                continue
            whole = len(chunk) - len(chunk) % RECORD
            for start in range(0, whole, RECORD):
                record = chunk[start : start + RECORD]
                if is_header(record):
                    return at + start, foreign
                foreign = foreign or record != _ZEROS
            if not whole and self.tape.trouble is None:
                return None, foreign or bool(chunk.strip(b"\0"))
            at += whole or RECORD
            size = min(2 * size, _CHUNK)


def is_header(record: bytes) -> bool:
    if len(record) < RECORD or record == _ZEROS or not _CHECKSUM_SIGNS.issuperset(record[148:156]):
        return False
    with suppress(tarfile.HeaderError, ValueError):
        tarfile.TarInfo.frombuf(record, "utf-8", "surrogateescape")
        return True
    return False


def path_of(name: str) -> str:
    while name.startswith("./"):
        name = name[2:]
    return name


def stretches(info: tarfile.TarInfo) -> list[tuple[int, int]]:
    """Return (start, size) of each stretch of a file that lies in the archive; a sparse one has zeros between them."""
    sparse: list[tuple[int, int]] | None = getattr(info, "sparse", None)
    return [(0, info.size)] if sparse is None else sparse


def entry_of(path: str, info: tarfile.TarInfo, bytes_in: tarfile.TarInfo, *, size: int | None) -> Entry:
    modified = None
    with suppress(ValueError, OverflowError, OSError):
        modified = datetime.fromtimestamp(info.mtime, UTC)
    # The place of the bytes, not a running number: it stays the same when a header before it is lost.
    return Entry(path, size, modified, bytes_in.offset_data)
