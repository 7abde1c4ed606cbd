"""The header of a 7z archive: which members there are, and in which blocks of packed bytes they lie.

Flows in: the archive's bytes, a password. Flows out: a Layout; Unreadable where the header cannot be read. Must not
know: how blocks are unpacked, receivers. Facts: 7zFormat.txt (ip7z/7zip), and the source of py7zr 1.1, whose header
reader is used here without its extraction loop: that loop stops at the first damage, and skips no block. A 7z
"folder" (a block here) is one packed stream with members one after the other; blocks do not depend on each other.
"""

import io
import stat
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

import py7zr
import py7zr.archiveinfo
from py7zr.exceptions import PasswordRequired, UnsupportedCompressionMethodError

from drill.copies.raw import Steady, Unreadable
from drill.errors import DrillError
from drill.model import Entry, Trouble

AES = b"\x06\xf1\x07\x01"
COPY = b"\x00"
LZMA = b"\x03\x01\x01"
LZMA2 = b"\x21"
PPMD = b"\x03\x04\x01"

# py7zr refuses more than 65,536 packed streams, which is as many pictures that are only stored; what a count costs is
# bounded by the header's own size all the same (`check_count`).
py7zr.archiveinfo.MAX_NUMSTREAMS = 1 << 23
# Of a header it would unpack 256 MB, and of 8 million files make 2 GB of values. 7-Zip writes some 100 bytes a file.
_LARGEST_HEADER = 64 * 1024 * 1024
_TOO_LARGE = "its header is larger than is read here: it says that there are too many files"
py7zr.archiveinfo.MAX_HEADER_SIZE = _LARGEST_HEADER
py7zr.archiveinfo.MAX_NUMFILES = 1 << 20

START_HEADER = 32
"""Bytes of the start header, with the signature: 6 + 2 + 4 + 20 (7zFormat.txt)."""


@dataclass(frozen=True, slots=True)
class Member:
    """One entry of the archive; `plain`: a regular file, not a folder or a link."""

    index: int
    path: str
    size: int
    crc: int | None
    plain: bool
    modified: datetime | None

    @property
    def entry(self) -> Entry:
        """Return it as a view lists it."""
        return Entry(self.path, self.size, self.modified, self.index)


@dataclass(frozen=True, slots=True)
class Block:
    """One 7z "folder": `packed` bytes from `start` on, of so many packed `streams`, that unpack to its members."""

    folder: Any
    start: int
    packed: int
    streams: int
    members: tuple[Member, ...]

    @property
    def methods(self) -> tuple[bytes, ...]:
        """Return its methods in the order in which they decode."""
        return tuple(coder["method"] for coder in self.folder.coders)

    @property
    def size(self) -> int:
        """Return how many bytes its members have together."""
        return sum(member.size for member in self.members)

    def properties(self, method: bytes) -> bytes:
        """Return the properties that the header gives for one of its methods."""
        return next((c["properties"] or b"" for c in self.folder.coders if c["method"] == method), b"")

    @property
    def dictionary(self) -> int:
        """Return the size of its LZMA or LZMA2 dictionary, never more than it has bytes; 0 without one.

        Source: LZMA SDK, Lzma2Dec.c (LZMA2_DIC_SIZE_FROM_PROP) and lzma-specification.txt.
        """
        if LZMA2 in self.methods:
            (step,) = self.properties(LZMA2)[:1] or b"\0"
            declared = (2 | (step & 1)) << (step // 2 + 11) if step < 40 else (1 << 32) - 1
        elif LZMA in self.methods:
            declared = int.from_bytes(self.properties(LZMA)[1:5], "little")
        else:
            return 0
        return max(4096, min(declared, int(self.folder.get_unpack_size())))


@dataclass(frozen=True, slots=True)
class Layout:
    """An archive's members and blocks; its headers lie from `headers` to `end`; `locked`: they are encrypted."""

    members: tuple[Member, ...]
    blocks: tuple[Block, ...]
    headers: int = START_HEADER
    end: int = START_HEADER
    locked: bool = False

    def without_bytes(self) -> list[Member]:
        """Return the files that no block holds: they are empty."""
        in_blocks = {member.index for block in self.blocks for member in block.members}
        return [member for member in self.members if member.plain and member.index not in in_blocks]


def open_layout(source: Steady, password: str | None) -> Layout:
    """Read the header. Errors: Unreadable, also for a missing or a wrong password where it is encrypted."""
    try:
        _refuse_large(source)
        archive = py7zr.SevenZipFile(cast(Any, source), "r", password=password)
        return _layout(archive, source)
    except DrillError:
        raise
    except PasswordRequired:
        raise Unreadable(Trouble.REFUSED, "it is encrypted and no password is given") from None
    except Exception as error:  # whatever a damaged header makes of the parser
        if isinstance(source.trouble, DrillError):
            raise source.trouble from None
        if source.trouble is not None or isinstance(error, OSError):
            raise Unreadable(Trouble.IO, "I/O error in the archive's header") from None
        if isinstance(error, UnsupportedCompressionMethodError):
            raise Unreadable(Trouble.UNSUPPORTED, "its header is packed in a way that cannot be read here") from None
        if isinstance(error, py7zr.exceptions.ArchiveError) and "exceeds limit" in str(error):
            raise Unreadable(Trouble.UNSUPPORTED, _TOO_LARGE) from None
        if _encrypted_header(source):
            raise Unreadable(Trouble.REFUSED, "the password is wrong, or the archive's header is damaged") from None
        raise Unreadable(Trouble.DAMAGED, f"the archive's header is damaged ({_words(error)})") from None


def _refuse_large(source: Steady) -> None:
    """Refuse a header that is there, and is larger than is held in memory. Errors: Unreadable; OSError."""
    source.seek(0)
    start = source.read(START_HEADER)
    if len(start) < START_HEADER or zlib.crc32(start[12:]) != int.from_bytes(start[8:12], "little"):
        return
    offset, size = (int.from_bytes(start[at : at + 8], "little") for at in (12, 20))
    end = source.seek(0, io.SEEK_END)
    source.seek(0)
    if _LARGEST_HEADER < size <= end - START_HEADER - offset:
        raise Unreadable(Trouble.UNSUPPORTED, _TOO_LARGE)


def _words(error: Exception) -> str:
    return str(error) if isinstance(error, py7zr.exceptions.ArchiveError) and str(error) else type(error).__name__


def _encrypted_header(source: Steady) -> bool:
    """Say whether the header that the start header points to is packed with AES."""
    try:
        source.seek(0)
        start = source.read(32)
        source.seek(32 + int.from_bytes(start[12:20], "little"))
        header = source.read(min(int.from_bytes(start[20:28], "little"), 4096))
    except (OSError, OverflowError, ValueError):
        return False
    return header[:1] == b"\x17" and AES in header and zlib.crc32(header) == int.from_bytes(start[28:32], "little")


def _layout(archive: Any, source: Steady) -> Layout:
    header = getattr(archive, "header", None)
    start = archive.sig_header.nextheaderofs + START_HEADER
    end = start + archive.sig_header.nextheadersize
    if header is None or header.files_info is None:
        return Layout((), (), headers=start, end=end)
    streams = header.main_streams
    sized = list(_sizes(streams)) if streams is not None else []
    infos = header.files_info.files
    flags = iter(header.files_info.emptyfiles)  # one for each entry without a stream: is it a file?
    any_flags = bool(header.files_info.emptyfiles)
    members: list[Member] = []
    streamed: list[Member] = []
    for index, info in enumerate(infos):
        empty = info["emptystream"]
        size, crc = (0, None) if empty else sized[len(streamed)]
        plain = _is_file(info)
        if empty:
            # py7zr writes no such flags: then the attributes decide, and without those it is a folder.
            flagged = next(flags, False) if any_flags else info.get("attributes") is not None
            plain = plain and flagged
        member = Member(index, _path(info["filename"]), size, crc, plain, _modified(info))
        members.append(member)
        if not empty:
            streamed.append(member)
    blocks = tuple(_blocks(archive, streamed)) if streams is not None else ()
    # What is left between the last block and the header is the header's own packed stream.
    headers = min(start, max((block.start + block.packed for block in blocks), default=START_HEADER))
    return Layout(tuple(members), blocks, headers=headers, end=end, locked=_encrypted_header(source))


def _sizes(streams: Any) -> Iterator[tuple[int, int | None]]:
    """Yield the size and the CRC of each sub-stream, in order."""
    folders = streams.unpackinfo.folders
    parts = streams.substreamsinfo
    sizes = iter(parts.unpacksizes) if parts is not None and parts.unpacksizes is not None else None
    number = 0
    for folder, count in zip(folders, _counts(streams), strict=True):
        # py7zr keeps one size also for a folder without any sub-stream.
        own = [next(sizes) for _ in range(max(1, count))] if sizes is not None else [folder.get_unpack_size()]
        for size in own[:count]:
            if size < 0:
                raise ValueError("negative size")
            known = parts is not None and parts.digestsdefined[number]
            yield size, parts.digests[number] if known else None
            number += 1


def _counts(streams: Any) -> list[int]:
    parts = streams.substreamsinfo
    return list(parts.num_unpackstreams_folders) if parts is not None else [1] * len(streams.unpackinfo.folders)


def _blocks(archive: Any, streamed: Sequence[Member]) -> Iterator[Block]:
    streams = archive.header.main_streams
    pack = streams.packinfo
    first_stream = first_member = 0
    for folder, count in zip(streams.unpackinfo.folders, _counts(streams), strict=True):
        # Folder.num_packedstreams may be unset (py7zr 1.1): count them from the coders.
        inputs = sum(coder["numinstreams"] for coder in folder.coders) - len(folder.bindpairs)
        start = archive.afterheader + pack.packpos + pack.packpositions[first_stream]
        packed = pack.packpositions[first_stream + inputs] - pack.packpositions[first_stream]
        members = tuple(streamed[first_member : first_member + count])
        yield Block(folder, start, packed, inputs, members)
        first_stream += inputs
        first_member += count


def _is_file(info: dict[str, Any]) -> bool:
    attributes = info.get("attributes") or 0
    if attributes & 0x8000 and attributes >> 16:  # the Unix mode is in the upper half
        return stat.S_IFMT(attributes >> 16) in (0, stat.S_IFREG)
    return not attributes & (stat.FILE_ATTRIBUTE_DIRECTORY | stat.FILE_ATTRIBUTE_REPARSE_POINT)


def _path(name: str) -> str:
    while name.startswith("./"):
        name = name[2:]
    return name


def _modified(info: dict[str, Any]) -> datetime | None:
    time = info.get("lastwritetime")
    try:
        return None if time is None else time.as_datetime()
    except (ValueError, OverflowError, OSError):
        return None
