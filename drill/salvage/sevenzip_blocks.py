"""One block of a damaged 7z archive unpacked to its end, with zeros for what is lost.

Flows in: the archive's bytes with zeros where they cannot be read, a Block. Flows out: bytes in order, and which of
them are in doubt. Must not know: receivers, what is wanted.
"""

import lzma
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from io import RawIOBase
from itertools import accumulate
from typing import Any

from py7zr.compressor import SupportedMethods
from py7zr.exceptions import UnsupportedCompressionMethodError

from drill.copies.raw import BLOCK, Steady
from drill.copies.sevenzip.chunks import MOST_PACKED
from drill.copies.sevenzip.cipher import GRAIN, Decrypted
from drill.copies.sevenzip.layout import AES, COPY, LZMA2, Block
from drill.copies.sevenzip.unpack import Differs, Run
from drill.salvage.lzma2 import Surgery
from drill.salvage.lzma2_map import HolesIn, map_chunks
from drill.salvage.patched import Around, Range, add_range
from drill.streams import Placed

_DELTA = b"\x03"
_BRANCH_REACH = 8  # bytes that a filter for programs may spoil beside damage
_FOREVER = 1 << 63


class Window(Placed):
    """Some of a stream's bytes as a stream of their own, byte 0 being its first."""

    def __init__(self, around: RawIOBase, start: int, size: int) -> None:
        super().__init__(size)
        self._around, self._start = around, start

    def readinto(self, buffer: object, /) -> int:
        view = self.room(buffer)
        self._around.seek(self._start + self.place)
        got = self._around.readinto(view) or 0
        self.place += got
        return got


@dataclass(slots=True)
class Salvaged:
    """A block's bytes from its first to its last, or to where nothing more comes.

    `doubts` returns those that may be wrong, of all that were given so far; `jump` passes over bytes without reading.
    """

    pieces: Iterator[bytes | memoryview]
    doubts: Callable[[], Sequence[Range]]
    jump: Callable[[int], None] | None = None
    rest: memoryview = field(default_factory=lambda: memoryview(b""))

    def take(self, size: int) -> Iterator[memoryview]:
        """Yield the next `size` bytes, or fewer where nothing more comes."""
        while size:
            if not self.rest:
                coming = next(self.pieces, None)
                if coming is None:
                    return
                self.rest = memoryview(coming)
                continue
            piece, self.rest = self.rest[:size], self.rest[size:]
            size -= len(piece)
            yield piece

    def skip(self, size: int) -> None:
        """Pass over the next `size` bytes."""
        if self.jump is not None:
            self.jump(size - len(self.rest[:size]))
            self.rest = self.rest[size:]
            return
        for _ in self.take(size):
            pass


def salvaged(around: Around, block: Block) -> Salvaged:
    """Return a block's bytes as far as they can be had. Errors: what a decoder raises that cannot do it at all."""
    locked = block.methods[:1] == (AES,)
    methods = block.methods[1:] if locked else block.methods
    if block.streams == 1 and AES not in methods:
        if all(method == COPY for method in methods):
            return _stored(around, block, locked=locked)
        filters = _filters(block) if methods[0] == LZMA2 else None
        if filters is not None:
            return _chunked(around, block, filters, locked=locked)
    return _ordinary(around, block)


def holes_in(around: Around, start: int, *, locked: bool = False) -> HolesIn:
    """Return how to tell which bytes could not be read, counted from `start` on, of those that were.

    Of encrypted bytes it tells which cannot be decrypted: the whole grain, and the next one.
    """

    def holes(from_: int, to: int) -> list[Range]:
        found: list[Range] = []
        first = bisect_right(around.holes, start + from_ - 2 * GRAIN, key=lambda hole: hole[1])
        for hole in around.holes[first:]:
            if hole[0] >= start + to:
                break
            begin, end = hole[0] - start, hole[1] - start
            if locked:
                begin, end = begin // GRAIN * GRAIN, -(-end // GRAIN) * GRAIN + GRAIN
            if max(begin, from_) < min(end, to):
                add_range(found, (max(begin, from_), min(end, to)))
        return found

    return holes


def _stream(around: Around, block: Block, *, locked: bool) -> RawIOBase:
    return Decrypted(around, block) if locked else Window(around, block.start, block.packed)


# --- what is only stored ---------------------------------------------------------------------------------------------


def _stored(around: Around, block: Block, *, locked: bool) -> Salvaged:
    stream, holes = _stream(around, block, locked=locked), holes_in(around, block.start, locked=locked)
    doubts: list[Range] = []
    at = 0

    def pieces() -> Iterator[bytes]:
        nonlocal at
        while at < block.packed:
            stream.seek(at)
            piece = stream.read(min(BLOCK, block.packed - at))
            if not piece:
                return
            for hole in holes(at, at + len(piece)):
                add_range(doubts, hole)
            at += len(piece)
            yield piece

    def jump(size: int) -> None:
        nonlocal at
        at += size

    return Salvaged(pieces(), lambda: doubts, jump)


# --- LZMA2 -----------------------------------------------------------------------------------------------------------


def _chunked(around: Around, block: Block, filters: list[dict[str, Any]], *, locked: bool) -> Salvaged:
    stream, holes = _stream(around, block, locked=locked), holes_in(around, block.start, locked=locked)
    padding = GRAIN - 1 if locked else 0
    chunks = map_chunks(stream, block.packed, holes, unpacked=block.size, padding=padding)
    ends = list(accumulate(member.size for member in block.members))
    surgery = Surgery(stream, chunks, holes, dictionary=block.dictionary, ends=ends)
    if not filters:
        return Salvaged(surgery.chunks(), lambda: surgery.doubts)
    reach = _FOREVER if any(each["id"] == lzma.FILTER_DELTA for each in filters) else _BRANCH_REACH

    def doubts() -> list[Range]:
        return [(max(0, start - _BRANCH_REACH), end + reach) for start, end in surgery.doubts]

    return Salvaged(_filtered(surgery.chunks(), filters), doubts)


def _filters(block: Block) -> list[dict[str, Any]] | None:
    """Return what the standard library needs to undo the filters behind LZMA2; None where it cannot."""
    filters: list[dict[str, Any]] = []
    coders = block.folder.coders
    number = next(number for number, coder in enumerate(coders) if coder["method"] == LZMA2)
    for coder in coders[number + 1 :]:
        try:
            each: dict[str, Any] = {"id": SupportedMethods.get_filter_id(coder)}  # type: ignore[no-untyped-call]
        except UnsupportedCompressionMethodError:
            return None
        if coder["method"] == _DELTA:
            each["dist"] = (coder["properties"] or b"\0")[0] + 1
        elif not lzma.FILTER_X86 <= each["id"] <= lzma.FILTER_SPARC:
            return None
        filters.insert(0, each)
    return filters


def _filtered(pieces: Iterator[bytes], filters: list[dict[str, Any]]) -> Iterator[bytes]:
    """Undo filters: what is unpacked goes through them as LZMA2 chunks that are stored."""
    chain = [*filters, {"id": lzma.FILTER_LZMA2, "dict_size": 4096}]
    decoder = lzma.LZMADecompressor(lzma.FORMAT_RAW, filters=chain)
    control = 0x01
    for piece in pieces:
        for start in range(0, len(piece), MOST_PACKED):
            part = piece[start : start + MOST_PACKED]
            out = decoder.decompress(bytes((control,)) + (len(part) - 1).to_bytes(2, "big") + part)
            control = 0x02
            if out:
                yield out
    yield decoder.decompress(b"\0")


# --- all else --------------------------------------------------------------------------------------------------------


class _Piecewise(Steady):
    """A stream that gives what lies before a hole alone: a decoder that fails on zeros would take it along."""

    def __init__(self, around: Around) -> None:
        super().__init__(around)
        self._holes = holes_in(around, 0)

    def read(self, size: int | None = -1, /) -> bytes:
        start = self.tell()
        got = super().read(size)
        for from_, to in self._holes(start, start + len(got)):
            got = got[: (from_ if from_ > start else to) - start]
            break
        self.seek(start + len(got))
        return got


def _ordinary(around: Around, block: Block) -> Salvaged:
    """Go on past zeros and check values that differ, until the decoder itself gives up."""
    run = Run(_Piecewise(around), block)
    doubts: list[Range] = []
    holes = holes_in(around, block.start)

    def pieces() -> Iterator[bytes | memoryview]:
        for member in block.members:
            chunks = run.bytes_of(member)
            while True:
                before = run.given
                try:
                    chunk = next(chunks, None)
                except Differs:
                    break
                except Exception:
                    return
                if chunk is None:
                    break
                if holes(0, block.packed):
                    add_range(doubts, (before, _FOREVER))
                yield chunk

    return Salvaged(pieces(), lambda: doubts)
