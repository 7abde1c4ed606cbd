"""One block of a 7z archive unpacked: its members' bytes one after the other, each checked.

Flows in: a stream of the archive's bytes, a Block. Flows out: chunks; what ended them. Must not know: receivers, what
is wanted. What is only stored is read as it is, LZMA2 goes through the standard library; all else, and what is
encrypted, through py7zr's decoders (measured: half as fast, as each block is copied several times).
"""

import lzma
from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import Any

import py7zr.compressor
from py7zr.exceptions import PasswordRequired, UnsupportedCompressionMethodError

from drill.copies.beside import PIECE, Piece, Turns, is_large
from drill.copies.crc import crc32
from drill.copies.raw import BLOCK, BrokenOff, Steady, explain
from drill.copies.sevenzip.layout import AES, COPY, LZMA2, PPMD, Block, Member
from drill.errors import DrillError
from drill.model import Problem, Trouble

_FEED = 64 * 1024
_FEED_UNBOUNDED = 8 * 1024  # to py7zr's Deflate, which gives out all at once: 1032 bytes for one at most (zlib)
_DEFLATE = frozenset((b"\x04\x01\x08", b"\x04\x01\x09"))
_IDLE_ROUNDS = 8  # decoder stages may each need a round to give up what they hold

# Stretching a password takes 60 ms, and py7zr does it again for each block: 10 minutes for 10,000 stored pictures.
# 7-Zip gives all blocks of an archive the same salt, so the last few keys are kept, as 7-Zip itself does.
stretched_key = lru_cache(maxsize=8)(py7zr.compressor.calculate_key)  # type: ignore[attr-defined]
py7zr.compressor.calculate_key = stretched_key  # type: ignore[attr-defined]


class _Zstd(py7zr.compressor.ZstdDecompressor):
    """py7zr's stage with a bound on what comes out: 64 kB may unpack to 2 GB (RFC 8878, 3.1.1.2.2)."""

    def decompress(self, data: bytes | bytearray | memoryview, max_length: int = -1) -> bytes:
        return self.decompressor.decompress(data, max_length)

    @property
    def needs_input(self) -> bool:
        return bool(self.decompressor.needs_input)


class _Brotli(py7zr.compressor.BrotliDecompressor):
    """py7zr's stage, which has that bound, but does not say when it takes no more input."""

    @property
    def needs_input(self) -> bool:
        return bool(self._decompressor.can_accept_more_data())


_STAGES = py7zr.compressor.algorithm_class_map
_STAGES[py7zr.FILTER_BROTLI] = (py7zr.compressor.BrotliCompressor, _Brotli)
_STAGES[py7zr.FILTER_ZSTD] = (py7zr.compressor.ZstdCompressor, _Zstd)

_Take = Callable[[int], Piece]


class Differs(Exception):
    """Every byte of a member came and its CRC is another one."""


class Run:
    """One pass over one block; `given` bytes have come so far, `failure` is what ended it.

    A piece stays as it is while the next one is made, and no longer; `turns` may be shared between one run and the
    next. Errors: what a decoder raises, for a block that it refuses.
    """

    def __init__(self, source: Steady, block: Block, turns: Turns | None = None) -> None:
        self.failure: Exception | None = None
        self.given = 0
        _refuse_unsupported(block)
        self._stored = _Stored(source, block, turns) if block.methods == (COPY,) else None
        if self._stored is not None:
            self._take: _Take = self._stored.take
        elif block.methods == (LZMA2,):
            self._take = _Lzma2(source, block).take
        else:
            self._take = _Chain(source, block).take

    def bytes_of(self, member: Member) -> Iterator[Piece]:
        """Yield the next member's bytes, never more than its size; raise Differs after them when its CRC differs."""
        crc, left = 0, member.size
        most = PIECE if self._stored is not None and is_large(member.entry) else BLOCK
        try:
            while left:
                piece = self._take(min(left, most))
                crc = crc32(piece, crc)
                left -= len(piece)
                self.given += len(piece)
                yield piece
        except Exception as error:
            self.failure = error
            raise
        if member.crc is not None and crc != member.crc:
            raise Differs

    def skip(self, member: Member) -> None:
        """Pass over the next member, which nobody wants, whatever its check value says."""
        if self._stored is not None:
            self._stored.skip(member.size)
            self.given += member.size
            return
        try:
            for _ in self.bytes_of(member):
                pass
        except Exception:
            return  # kept as the run's failure, where it is one


def _refuse_unsupported(block: Block) -> None:
    if block.streams != 1:
        raise UnsupportedCompressionMethodError(None, "several packed streams")
    if PPMD in block.methods:
        # Seen with pyppmd 1.3: damaged data, or a header that asks for too much memory, end the whole program.
        raise UnsupportedCompressionMethodError(None, "PPMd")


def why(error: Exception, at: int, *, block: Block, given: int = 1) -> Problem:
    """Put what ended a member, after `at` of its bytes and `given` of the block's, into words."""
    doubt = ", or the password is wrong" if AES in block.methods else ""
    match error:
        case Differs():
            return Problem(Trouble.CHECK_VALUE, f"its check value in the archive differs{doubt}")
        case PasswordRequired():
            return Problem(Trouble.REFUSED, "it is encrypted and no password is given")
        case UnsupportedCompressionMethodError():
            return Problem(Trouble.UNSUPPORTED, "it is packed in a way that cannot be read here")
        case OSError() | DrillError() | MemoryError():
            return explain(error, at)
    return Problem(Trouble.DAMAGED, f"cannot be unpacked from byte {at} on{doubt if not given else ''}")


# --- packed bytes that are the members' own --------------------------------------------------------------------------


class _Stored:
    """A block that is only stored: its bytes are read as they are."""

    def __init__(self, source: Steady, block: Block, turns: Turns | None) -> None:
        self._source, self._at, self._end = source, block.start, block.start + block.packed
        self._turns = turns or Turns(min(block.packed, PIECE))

    def take(self, size: int) -> memoryview:
        room = self._turns.next(min(size, self._end - self._at))
        self._source.seek(self._at)
        got = self._source.readinto(room)
        if not got:
            raise BrokenOff("the packed data end too early")
        self._at += got
        return room[:got]

    def skip(self, size: int) -> None:
        self._at = min(self._at + size, self._end)


# --- LZMA2 -----------------------------------------------------------------------------------------------------------


class _Lzma2:
    """A block of LZMA2 alone, decoded by the standard library."""

    def __init__(self, source: Steady, block: Block) -> None:
        self._feed = _Feed(source, block.start, aligned=False)
        self._left = block.packed
        # No dictionary is larger than what there is to unpack, whatever the header asks for.
        filters = [{"id": lzma.FILTER_LZMA2, "dict_size": block.dictionary}]
        self._decoder = lzma.LZMADecompressor(lzma.FORMAT_RAW, filters=filters)

    def take(self, size: int) -> bytes:
        while True:
            packed = b""
            if self._decoder.needs_input and not self._decoder.eof:
                packed = self._feed.read(min(self._left, _FEED))
                self._left -= len(packed)
            if self._decoder.eof or not (packed or not self._decoder.needs_input):
                raise BrokenOff("the packed data end too early")
            chunk = self._decoder.decompress(packed, size)
            if chunk:
                return chunk


# --- all else --------------------------------------------------------------------------------------------------------


class _Chain:
    """A block that py7zr's decoders unpack."""

    def __init__(self, source: Steady, block: Block) -> None:
        most = _FEED if _DEFLATE.isdisjoint(block.methods) else _FEED_UNBOUNDED
        self._feed = _Feed(source, block.start, aligned=AES in block.methods, most=most)
        block.folder.decompressor = None  # else it would go on from where the last pass stopped
        self._decoder = block.folder.get_decompressor(block.packed)
        self._feed.chain = self._decoder.chain

    def take(self, size: int) -> bytes:
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


class _Feed:
    """What a decoder reads from: little at a time, and nothing while it still holds input.

    py7zr would read a megabyte ahead for each small member: that holds the packed stream in memory, and lets a bad
    sector hit members that lie well before it.
    """

    def __init__(self, source: Steady, start: int, *, aligned: bool, most: int = _FEED) -> None:
        self._source, self._at, self._aligned, self._most = source, start, aligned, most
        self.chain: list[Any] = []

    def read(self, size: int) -> bytes:
        if any(_holds_input(stage) for stage in self.chain):
            return b""
        size = min(size, self._most)
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
