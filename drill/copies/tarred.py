"""Tar archives, plain or compressed: list the members, deliver some of them, go on after a damaged header.

Flows in: a raw stream of the archive's bytes, what is wanted. Flows out: Entries; begin, data and end calls. Must
not know: where the stream comes from. A compressed tar is read once, from its start to the last wanted member.
Facts: POSIX ustar and pax (section 11 of the references), the standard library's tarfile, whose own iteration is
not used: it ends without a word at a damaged header.
"""

import io
import lzma
import tarfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from io import RawIOBase
from typing import Any, Protocol, cast

import zstandard

from drill.copies.raw import BLOCK, BrokenOff, Steady, Unreadable, Waiting, explain, fail, send
from drill.errors import DrillError
from drill.model import Entry, Problem, Receiver, Trouble

# tarfile's own classes, which its type stubs leave out.
_EndMark: type[Exception] = tarfile.EOFHeaderError  # type: ignore[attr-defined]
_NoMore: type[Exception] = tarfile.EmptyHeaderError  # type: ignore[attr-defined]

_RECORD = tarfile.BLOCKSIZE
_FEED = 64 * 1024
_SECTOR = 4096  # what a drive cannot read comes in pieces of this size
_LARGEST_HEADER = 64 * 1024 * 1024
_LARGEST_WINDOW = 1 << 31  # as zstd --long=31 makes them
_CHECKSUM_SIGNS = frozenset(b"01234567 \0")

_List = Callable[[RawIOBase, str | None], list[Entry]]
_Deliver = Callable[[RawIOBase, str | None, Waiting, Receiver], None]


def reader(kind: str) -> tuple[_List, _Deliver]:
    """Return the two functions that list and deliver a tar of that kind; they ignore the password: a tar has none."""

    def list_members(raw: RawIOBase, password: str | None) -> list[Entry]:
        return _list(_tape(kind, raw))

    def deliver_members(raw: RawIOBase, password: str | None, waiting: Waiting, receiver: Receiver) -> None:
        links = _deliver(_tape(kind, raw), waiting, receiver)
        while links:
            raw.seek(0)
            links = _deliver_again(_tape(kind, raw), links, waiting=waiting, receiver=receiver)

    return list_members, deliver_members


def is_complete(kind: str, raw: RawIOBase) -> bool:
    """Say whether all headers make sense up to the mark of the end, and only zeros follow. Errors: those of reading."""
    tape = _tape(kind, raw)
    walk = _Walk(tape)
    for _ in walk.members():
        pass
    if walk.marked is None or walk.broken:
        return False
    tape.seek(walk.marked)  # a zeroed header looks like that mark
    return not any(chunk.strip(b"\0") for chunk in iter(lambda: tape.read(BLOCK), b""))


# --- the stream of records ---------------------------------------------------------------------------------------


class _Tape(Protocol):
    """Uncompressed bytes in order. `read` gives all it is asked for unless the bytes end or fail."""

    trouble: Any

    def read(self, size: int, /) -> bytes: ...
    def seek(self, offset: int, /) -> int: ...
    def tell(self) -> int: ...


class _Unpacked:
    """The tape behind a decompressor: forwards only, save over its last read; after a failure it gives nothing more."""

    def __init__(self, stream: Any) -> None:
        self._stream, self._at = stream, 0
        self._last = self._again = b""  # what was read last; what of it is to be read again
        self.trouble: Exception | None = None

    def read(self, size: int, /) -> bytes:
        pieces = [self._again[:size]] if self._again else []
        self._again = self._again[size:]
        left = size - sum(map(len, pieces))
        if left and self.trouble is not None and not pieces:
            raise self.trouble
        while left > 0 and self.trouble is None:
            try:
                # read1, for read would throw away what came before a failure.
                piece = self._stream.read1(min(left, BLOCK))
            except Exception as error:
                self.trouble = error
                if not pieces:
                    raise
                break
            if not piece:
                break
            pieces.append(piece)
            left -= len(piece)
        self._last = pieces[0] if len(pieces) == 1 else b"".join(pieces)
        self._at += len(self._last)
        return self._last

    def seek(self, offset: int, /) -> int:
        back = self._at - offset
        if back > len(self._last):
            raise io.UnsupportedOperation("cannot go back")
        if back > 0:
            self._again = self._last[-back:] + self._again
            self._at, self._last = offset, self._last[:-back]
        while self._at < offset and self.read(min(BLOCK, offset - self._at)):
            pass
        return self._at

    def tell(self) -> int:
        return self._at


class _Gunzip:
    """Gzip members one after the other (RFC 1952), unpacked as far as the bytes go.

    The standard library's reader drops up to a block of good input at a bad sector, and the last bytes at a wrong
    check value; tar never reads as far as that value, and whoever judges the content needs no CRC-32.
    """

    def __init__(self, source: Steady) -> None:
        self._source, self._held = source, b""
        self._unpack: Any = None
        self._members = 0

    def read1(self, size: int) -> bytes:
        while True:
            if self._unpack is None and not self._begin():
                return b""
            out: bytes = self._unpack.decompress(self._held, size)
            self._held = self._unpack.unconsumed_tail
            if self._unpack.eof:
                self._held = self._unpack.unused_data
                self._unpack = None
            elif not out:
                self._more()
            if out:
                return out

    def _begin(self) -> bool:
        """Read a member's header; False where no more member comes: gzip, too, ignores what else lies there."""
        self._skip(8 if self._members else 0)  # the check value and the length of the one before
        while not self._held.lstrip(b"\0"):
            self._held = self._source.read(_FEED)
            if not self._held and not self._members:
                raise EOFError
            if not self._held:
                return False
        self._held = self._held.lstrip(b"\0") if self._members else self._held
        head = self._take(4)
        if head[:3] != b"\x1f\x8b\x08":
            if self._members:
                return False
            raise ValueError("no gzip header")
        self._take(6)
        if head[3] & 4:
            self._skip(int.from_bytes(self._take(2), "little"))
        for flag in (8, 16):  # a name and a comment, each with a zero at its end
            while head[3] & flag and self._take(1) != b"\0":
                pass
        self._skip(2 if head[3] & 2 else 0)
        self._unpack = zlib.decompressobj(-zlib.MAX_WBITS)
        self._members += 1
        return True

    def _more(self) -> None:
        more = self._source.read(_FEED)
        if not more:
            raise EOFError
        self._held += more

    def _take(self, size: int) -> bytes:
        while len(self._held) < size:
            self._more()
        taken, self._held = self._held[:size], self._held[size:]
        return taken

    def _skip(self, size: int) -> None:
        with suppress(EOFError):
            self._take(size)


def _tape(kind: str, raw: RawIOBase) -> _Tape:
    source: Any = Steady(raw)
    match kind:
        case ".tar.gz":
            return _Unpacked(_Gunzip(source))
        case ".tar.xz":
            return _Unpacked(lzma.LZMAFile(source))
        case ".tar.zst":
            unpacker = zstandard.ZstdDecompressor(max_window_size=_LARGEST_WINDOW)
            return _Unpacked(unpacker.stream_reader(source, read_across_frames=True, closefd=False))
    return cast(_Tape, source)


# --- the headers -------------------------------------------------------------------------------------------------


class _Headers(tarfile.TarFile):
    """What tarfile needs to parse one header; it does not go looking for the first one by itself."""

    def next(self) -> None:
        return None


class _Bounded:
    """The tape as the header parser reads it: a header that asks for a gigabyte is damage."""

    def __init__(self, tape: _Tape) -> None:
        self._tape = tape
        self.seek, self.tell = tape.seek, tape.tell

    def read(self, size: int) -> bytes:
        if size > _LARGEST_HEADER:
            raise ValueError("absurd header")
        return self._tape.read(size)


@dataclass(slots=True)
class _Walk:
    """How far a walk over the headers came: `broken` when one made no sense, `unread` when one could not be read."""

    tape: _Tape
    waiting: Waiting | None = None
    broken: bool = False
    unread: bool = False
    marked: int | None = None  # where the mark of the end was met
    files: dict[str, tarfile.TarInfo] = field(default_factory=dict)

    def members(self) -> Iterator[tuple[Entry, tarfile.TarInfo]]:
        """Yield each regular file, and each hard link with the header of the file that has its bytes."""
        for info in self._headers():
            path = _path(info.name)
            if info.isreg():
                self.files[path] = info
                yield _entry(path, info, info), info
            elif info.islnk() and _path(info.linkname) in self.files:
                target = self.files[path] = self.files[_path(info.linkname)]
                yield _entry(path, info, target), target

    def _headers(self) -> Iterator[tarfile.TarInfo]:
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
                at = self._resync(at + _RECORD) if self.waiting else None
            except _NoMore:
                self.broken = self.broken or at == 0
                return
            except Exception as error:
                self.broken = True
                self.unread = self.unread or isinstance(error, OSError) or isinstance(self.tape.trouble, OSError)
                at = self._resync(at + _RECORD)
            else:
                yield info
                at = tar.offset

    def _resync(self, at: int) -> int | None:
        """Return where, from `at` on, the next readable header lies; None at the end of the tape."""
        while True:
            try:
                if self.tape.seek(at) < at:
                    return None
                record = self.tape.read(_RECORD)
            except Exception:
                self.unread = True
                if isinstance(self.tape, _Unpacked):
                    return None
                at += _SECTOR - at % _SECTOR
                continue
            if len(record) < _RECORD and self.tape.trouble is None:
                return None
            if _is_header(record):
                return at
            at += _RECORD


def _is_header(record: bytes) -> bool:
    if len(record) < _RECORD or not _CHECKSUM_SIGNS.issuperset(record[148:156]):
        return False
    with suppress(tarfile.HeaderError, ValueError):
        tarfile.TarInfo.frombuf(record, "utf-8", "surrogateescape")
        return True
    return False


def _path(name: str) -> str:
    while name.startswith("./"):
        name = name[2:]
    return name


def _entry(path: str, info: tarfile.TarInfo, bytes_in: tarfile.TarInfo) -> Entry:
    modified = None
    with suppress(ValueError, OverflowError, OSError):
        modified = datetime.fromtimestamp(info.mtime, UTC)
    # The place of the bytes, not a running number: it stays the same when a header before it is lost.
    return Entry(path, bytes_in.size, modified, bytes_in.offset_data)


# --- listing and delivering --------------------------------------------------------------------------------------


def _list(tape: _Tape) -> list[Entry]:
    """List the regular files up to the mark of the end. Errors: Unreadable when not one header can be read."""
    walk = _Walk(tape)
    entries = [entry for entry, _ in walk.members()]
    if not entries and walk.broken:
        if isinstance(tape.trouble, DrillError):
            raise tape.trouble
        if tape.trouble is not None:
            problem = _explain(tape.trouble, 0)
            raise Unreadable(problem.trouble, f"the archive cannot be read ({problem.detail})")
        raise Unreadable(Trouble.DAMAGED, "the archive has no readable tar header")
    return entries


def _deliver(tape: _Tape, waiting: Waiting, receiver: Receiver) -> list[Entry]:
    """Deliver what is waiting; return the hard links to bytes that had gone by. Those are waiting still."""
    links: list[Entry] = []
    walk = _Walk(tape, waiting)
    for entry, info in walk.members():
        wanted = waiting.take(entry.index, entry.path)
        if wanted is not None and isinstance(tape, _Unpacked) and tape.tell() > info.offset_data:
            links.append(wanted)
        elif wanted is not None:
            send(wanted, receiver, _bytes_of(tape, info), why=_explain)
        if not waiting:
            break
    if waiting and isinstance(tape, _Unpacked) and tape.trouble is not None:
        trouble = _explain(tape.trouble, 0).trouble
        fail(waiting.rest(), receiver, Problem(trouble, "comes after the damage in the archive"))
    elif waiting and walk.unread:
        fail(waiting.rest(), receiver, Problem(Trouble.IO, "not found: I/O errors where the archive's headers lie"))
    waiting.back(links)
    return links


def _deliver_again(tape: _Tape, links: list[Entry], *, waiting: Waiting, receiver: Receiver) -> list[Entry]:
    """Deliver one link to each file; return those left for another pass, none when this one got nowhere."""
    left = list(links)
    for entry, info in _Walk(tape).members():
        link = next((link for link in left if link.index == entry.index), None)
        if link is not None and tape.tell() <= info.offset_data:
            left.remove(link)
            waiting.take(link.index, link.path)
            send(link, receiver, _bytes_of(tape, info), why=_explain)
        if not left:
            break
    return left if len(left) < len(links) else []


def _bytes_of(tape: _Tape, info: tarfile.TarInfo) -> Iterator[bytes]:
    """Yield the bytes of a member, the holes of a sparse one filled with zeros."""
    tape.seek(info.offset_data)
    done = 0
    for start, size in [*(getattr(info, "sparse", None) or [(0, info.size)]), (info.size, 0)]:
        while done < start:
            hole = bytes(min(BLOCK, start - done))
            done += len(hole)
            yield hole
        end = start + size
        while done < end:
            chunk = tape.read(min(BLOCK, end - done))
            if not chunk:
                raise BrokenOff(f"the archive ends after {done} of its {info.size} bytes")
            done += len(chunk)
            yield chunk


def _explain(error: Exception, at: int) -> Problem:
    match error:
        case zstandard.ZstdError() if "memory" in str(error):
            return Problem(Trouble.UNSUPPORTED, "is packed with a window larger than can be read here")
        case OSError() | DrillError() | MemoryError():
            return explain(error, at)
    return Problem(Trouble.DAMAGED, f"cannot be unpacked from byte {at} on")
