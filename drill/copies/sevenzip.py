"""7z archives: list the members, deliver some of them, go on after damage where the format allows it.

Flows in: a raw stream of the archive's bytes, a password, what is wanted. Flows out: Entries; begin, data and end
calls. Must not know: where the stream comes from. A 7z "folder" (a block here) is one packed stream with members one
after the other; blocks do not depend on each other. Facts: 7zFormat.txt (ip7z/7zip), and the source of py7zr 1.1,
whose header reader and decoder chain are used here without its extraction loop: that loop stops at the first damage,
and skips no block.
"""

import stat
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from io import RawIOBase
from typing import Any, cast

import py7zr
import py7zr.compressor
from py7zr.exceptions import PasswordRequired, UnsupportedCompressionMethodError

from drill.copies.raw import BLOCK, BrokenOff, Steady, Unreadable, Waiting, explain, fail, send
from drill.errors import DrillError
from drill.model import Entry, Problem, Receiver, Trouble

_FEED = 64 * 1024
_IDLE_ROUNDS = 8  # decoder stages may each need a round to give up what they hold
_AES = b"\x06\xf1\x07\x01"
_STORED = b"\x00"
_PPMD = b"\x03\x04\x01"
_PROBED_BLOCKS, _PROBED_BYTES = 3, 64 * 1024 * 1024

# Stretching a password takes 60 ms, and py7zr does it again for each block: 10 minutes for 10,000 stored pictures.
# 7-Zip gives all blocks of an archive the same salt, so the last few keys are kept, as 7-Zip itself does.
py7zr.compressor.calculate_key = lru_cache(maxsize=8)(py7zr.compressor.calculate_key)  # type: ignore[attr-defined]


class _Differs(Exception):
    """Every byte of a member came and its CRC is another one."""


@dataclass(frozen=True, slots=True)
class _Member:
    index: int
    path: str
    size: int
    crc: int | None
    plain: bool  # a regular file, not a folder or a link
    modified: datetime | None


@dataclass(frozen=True, slots=True)
class _Block:
    folder: Any
    start: int
    packed: int
    streams: int
    members: tuple[_Member, ...]

    @property
    def methods(self) -> tuple[bytes, ...]:
        return tuple(coder["method"] for coder in self.folder.coders)


@dataclass(frozen=True, slots=True)
class _Layout:
    members: tuple[_Member, ...]
    blocks: tuple[_Block, ...]


def list_members(raw: RawIOBase, password: str | None) -> list[Entry]:
    """List the regular files in archive order. Errors: Unreadable, also for a missing or a wrong password."""
    source = Steady(raw)
    layout = _open(source, password)
    _refuse_wrong_password(source, layout, password)
    return [Entry(m.path, m.size, m.modified, m.index) for m in layout.members if m.plain]


def deliver_members(raw: RawIOBase, password: str | None, waiting: Waiting, receiver: Receiver) -> None:
    """Deliver what is waiting and found, decoding only the blocks that hold it. Errors: Unreadable."""
    source = Steady(raw)
    layout = _open(source, password)
    in_blocks = {m.index for block in layout.blocks for m in block.members}
    for member in layout.members:
        if member.plain and member.index not in in_blocks:  # an empty file has no bytes anywhere
            entry = waiting.take(member.index, member.path)
            if entry is not None:
                send(entry, receiver, iter(()), why=explain)
    for block in sorted(layout.blocks, key=lambda block: block.start):
        wanted = [m for m in block.members if m.plain and m.index in waiting]
        if wanted:
            members = block.members[: block.members.index(wanted[-1]) + 1]
            _deliver_block(source, block, members, waiting=waiting, receiver=receiver)


# --- the header --------------------------------------------------------------------------------------------------


def _open(source: Steady, password: str | None) -> _Layout:
    try:
        archive = py7zr.SevenZipFile(cast(Any, source), "r", password=password)
        return _layout(archive)
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
        if _encrypted_header(source):
            raise Unreadable(Trouble.REFUSED, "the password is wrong, or the archive's header is damaged") from None
        raise Unreadable(Trouble.DAMAGED, f"the archive's header is damaged ({_words(error)})") from None


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
    return header[:1] == b"\x17" and _AES in header and zlib.crc32(header) == int.from_bytes(start[28:32], "little")


def _layout(archive: Any) -> _Layout:
    header = getattr(archive, "header", None)
    if header is None or header.files_info is None:
        return _Layout((), ())
    streams = header.main_streams
    sized = list(_sizes(streams)) if streams is not None else []
    infos = header.files_info.files
    flags = iter(header.files_info.emptyfiles)  # one for each entry without a stream: is it a file?
    any_flags = bool(header.files_info.emptyfiles)
    members: list[_Member] = []
    streamed: list[_Member] = []
    for index, info in enumerate(infos):
        empty = info["emptystream"]
        size, crc = (0, None) if empty else sized[len(streamed)]
        plain = _is_file(info)
        if empty:
            # py7zr writes no such flags: then the attributes decide, and without those it is a folder.
            flagged = next(flags, False) if any_flags else info.get("attributes") is not None
            plain = plain and flagged
        member = _Member(index, _path(info["filename"]), size, crc, plain, _modified(info))
        members.append(member)
        if not empty:
            streamed.append(member)
    return _Layout(tuple(members), tuple(_blocks(archive, streamed)) if streams is not None else ())


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


def _blocks(archive: Any, streamed: Sequence[_Member]) -> Iterator[_Block]:
    streams = archive.header.main_streams
    pack = streams.packinfo
    first_stream = first_member = 0
    for folder, count in zip(streams.unpackinfo.folders, _counts(streams), strict=True):
        # Folder.num_packedstreams may be unset (py7zr 1.1): count them from the coders.
        inputs = sum(coder["numinstreams"] for coder in folder.coders) - len(folder.bindpairs)
        start = archive.afterheader + pack.packpos + pack.packpositions[first_stream]
        packed = pack.packpositions[first_stream + inputs] - pack.packpositions[first_stream]
        members = tuple(streamed[first_member : first_member + count])
        yield _Block(folder, start, packed, inputs, members)
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


# --- the packed bytes --------------------------------------------------------------------------------------------


class _Feed:
    """What the decoder reads from: little at a time, and nothing while it still holds input.

    py7zr would read a megabyte ahead for each small member: that holds the packed stream in memory, and lets a bad
    sector hit members that lie well before it.
    """

    def __init__(self, source: Steady, start: int, *, aligned: bool) -> None:
        self._source, self._at, self._aligned = source, start, aligned
        self.chain: list[Any] = []

    def read(self, size: int) -> bytes:
        if any(_holds_input(stage) for stage in self.chain):
            return b""
        size = min(size, _FEED)
        self._source.seek(self._at)
        chunk = self._source.read(size)
        if self._aligned and len(chunk) < size and self._source.trouble is not None:
            chunk = chunk[: len(chunk) & ~15]  # AES takes blocks of 16; what is over cannot be decoded
            if not chunk:
                raise self._source.trouble
        self._at += len(chunk)
        return chunk


def _holds_input(stage: Any) -> bool:
    for holder in (stage, getattr(stage, "_decompressor", None), getattr(stage, "decoder", None)):
        needs: bool | None = getattr(holder, "needs_input", None)
        if needs is not None:
            return not needs
    return False


class _Run:
    """One pass over one block; `failure` is what ended it."""

    def __init__(self, source: Steady, block: _Block) -> None:
        self.failure: Exception | None = None
        self.given = 0
        _refuse_unsupported(block)
        self._feed = _Feed(source, block.start, aligned=_AES in block.methods)
        block.folder.decompressor = None  # else it would go on from where the last pass stopped
        self._decoder = block.folder.get_decompressor(block.packed)
        self._feed.chain = self._decoder.chain

    def bytes_of(self, member: _Member) -> Iterator[bytes]:
        """Yield the next member's bytes, never more than its size; raise _Differs after them when its CRC differs."""
        crc, left = 0, member.size
        try:
            while left:
                chunk = self._take(min(left, BLOCK))
                crc = zlib.crc32(chunk, crc)
                left -= len(chunk)
                self.given += len(chunk)
                yield chunk
        except Exception as error:
            self.failure = error
            raise
        if member.crc is not None and crc != member.crc:
            raise _Differs

    def _take(self, size: int) -> bytes:
        # What is unpacked already comes alone: asked for more, the decoder would read on and lose it to a bad sector.
        size = min(size, len(self._decoder._buf) - self._decoder._pos or size)
        idle = 0
        while idle < _IDLE_ROUNDS:
            before = self._decoder.consumed
            chunk: bytes = self._decoder.decompress(self._feed, size)
            if chunk:
                return chunk
            idle = idle + 1 if self._decoder.consumed == before else 0
        raise BrokenOff("the packed data end too early")


def _refuse_unsupported(block: _Block) -> None:
    if block.streams != 1:
        raise UnsupportedCompressionMethodError(None, "several packed streams")
    if _PPMD in block.methods:
        # Seen with pyppmd 1.3: damaged data, or a header that asks for too much memory, end the whole program.
        raise UnsupportedCompressionMethodError(None, "PPMd")


def _deliver_block(
    source: Steady, block: _Block, members: Sequence[_Member], *, waiting: Waiting, receiver: Receiver
) -> None:
    try:
        run = _Run(source, block)
    except Exception as error:
        _fail_rest(members, _explain(error, 0, block=block), waiting=waiting, receiver=receiver)
        return
    for number, member in enumerate(members):
        chunks = run.bytes_of(member)
        entry = waiting.take(member.index, member.path) if member.plain else None
        if entry is not None:
            send(entry, receiver, chunks, why=lambda error, at: _explain(error, at, block=block, given=run.given))
        _drain(chunks)
        if run.failure is not None:
            first = _explain(run.failure, 0, block=block)
            what = "a bad sector" if first.trouble is Trouble.IO else "the damage"
            rest = Problem(first.trouble, f"comes after {what} in the same block of the archive")
            _fail_rest(members[number + 1 :], rest, waiting=waiting, receiver=receiver)
            return


def _drain(chunks: Iterator[bytes]) -> None:
    """Decode past a member that nobody wants, whatever its check value says."""
    try:
        for _ in chunks:
            pass
    except Exception:
        return  # the run keeps it as its failure, where it is one


def _fail_rest(members: Sequence[_Member], problem: Problem, *, waiting: Waiting, receiver: Receiver) -> None:
    for member in members:
        entry = waiting.take(member.index, member.path) if member.plain else None
        if entry is not None:
            fail([entry], receiver, problem)


def _explain(error: Exception, at: int, *, block: _Block, given: int = 1) -> Problem:
    doubt = ", or the password is wrong" if _AES in block.methods else ""
    match error:
        case _Differs():
            return Problem(Trouble.CHECK_VALUE, f"its check value in the archive differs{doubt}")
        case PasswordRequired():
            return Problem(Trouble.REFUSED, "it is encrypted and no password is given")
        case UnsupportedCompressionMethodError():
            return Problem(Trouble.UNSUPPORTED, "it is packed in a way that cannot be read here")
        case OSError() | DrillError() | MemoryError():
            return explain(error, at)
    return Problem(Trouble.DAMAGED, f"cannot be unpacked from byte {at} on{doubt if not given else ''}")


# --- the password ------------------------------------------------------------------------------------------------


def _refuse_wrong_password(source: Steady, layout: _Layout, password: str | None) -> None:
    """Raise Unreadable when the members cannot be decrypted: 7z keeps no check of the password itself."""
    locked = [block for block in layout.blocks if _AES in block.methods and block.members and block.streams == 1]
    if not locked:
        return
    if password is None:
        if len(locked) == len([block for block in layout.blocks if block.members]):
            raise Unreadable(Trouble.REFUSED, "it is encrypted and no password is given")
        return
    smallest = sorted(locked, key=lambda block: block.members[0].size)[:_PROBED_BLOCKS]
    if all(_password_fits(source, block) is False for block in smallest):
        raise Unreadable(Trouble.REFUSED, "the password is wrong, or the archive is damaged")


def _password_fits(source: Steady, block: _Block) -> bool | None:
    """Decode the beginning of a block; None when that tells nothing.

    Where the data are also compressed, bytes from a wrong key make no sense to the decompressor; where they are only
    stored, the check values alone tell, and one that is right is enough.
    """
    stored = all(method in (_AES, _STORED) for method in block.methods)
    try:
        run = _Run(source, block)
        for member in block.members:
            if not member.size or member.crc is None:
                continue
            if stored and run.given + member.size > _PROBED_BYTES:
                return None
            try:
                for _ in run.bytes_of(member):
                    if run.given > _PROBED_BYTES:
                        return True
            except _Differs:
                if stored:
                    continue
            return True
    except (OSError, DrillError, MemoryError, UnsupportedCompressionMethodError) as error:
        return False if isinstance(error, BrokenOff) else None
    except Exception:
        return False
    return False
