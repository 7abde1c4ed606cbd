"""The frames of a .tar.zst, and their blocks.

Flows in: a raw stream of the archive's bytes. Flows out: Units. Must not know: tar. Facts: RFC 8878 (frames 3.1.1,
blocks 3.1.1.2, skippable frames 3.1.2).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from io import RawIOBase
from typing import Any

import zstandard

from drill.copies.tape import LARGEST_WINDOW
from drill.copies.units import Unit, read_at, windows

_MAGIC, _SKIPPED = b"\x28\xb5\x2f\xfd", range(0x184D2A50, 0x184D2A60)
_LARGEST_BLOCK = 128 * 1024
_STORED = 0
_RUN = 1  # a block that is one byte many times


class _Unzstd:
    def __init__(self) -> None:
        self._unpack: Any = zstandard.ZstdDecompressor(max_window_size=LARGEST_WINDOW).decompressobj()
        self.ended, self.used = False, 0

    def feed(self, packed: bytes) -> Iterator[bytes]:
        out: bytes = self._unpack.decompress(packed)
        self.used += len(packed)
        if out:
            yield out
        self.ended = self._unpack.eof


@dataclass(frozen=True, slots=True)
class Zstd:
    raw: RawIOBase
    size: int

    def unit_at(self, at: int) -> Unit | None:
        while at < self.size:
            head = read_at(self.raw, at, 18)
            if len(head) >= 8 and int.from_bytes(head[:4], "little") in _SKIPPED:
                at += 8 + int.from_bytes(head[4:8], "little")
                continue
            layout = _zstd_header(head)
            if layout is None:
                return None
            body, unpacked, _ = layout
            return Unit(at, at, self._end_of(at + body), unpacked, _Unzstd)
        return None

    def after(self, unit: Unit, end: int) -> Unit | None:
        layout = _zstd_header(read_at(self.raw, unit.start, 18))
        return self.unit_at(end + (layout[2] if layout else 0))

    def resume(self, at: int) -> Unit | None:
        for start, window in windows(self.raw, at, self.size, again=3):
            place = window.find(_MAGIC)
            while place >= 0:
                unit = self.unit_at(start + place)
                if unit is not None and unit.end is not None:
                    return unit
                place = window.find(_MAGIC, place + 1)
        return None

    def first_of(self, unit: Unit) -> int | None:
        return None if unit.start else 0

    def may_have_holes(self, unit: Unit, start: int) -> bool:
        """Only a block that is stored as it is: how much another unpacks to is told before it, so runs may not part."""
        head = read_at(self.raw, start, 1)
        return start > unit.start and bool(head) and head[0] >> 1 & 3 == _STORED

    def pieces(self, unit: Unit) -> Iterator[tuple[int, int]]:
        layout = _zstd_header(read_at(self.raw, unit.start, 18))
        body = unit.start + (layout[0] if layout else 0)
        yield unit.start, body
        yield from self._blocks(body)

    def _end_of(self, at: int) -> int | None:
        """Return where the last block of a frame ends, None when the way there is broken."""
        for start, end in self._blocks(at):
            if end > self.size:
                return None
            if read_at(self.raw, start, 1)[0] & 1:
                return end
        return None

    def _blocks(self, at: int) -> Iterator[tuple[int, int]]:
        """Yield each block of a frame with its header; ends where no block can be (RFC 8878, 3.1.1.2)."""
        while True:
            packed = read_at(self.raw, at, 3)
            head = int.from_bytes(packed, "little")
            kind, length = head >> 1 & 3, head >> 3
            if len(packed) < 3 or kind == 3 or (kind != _RUN and length > _LARGEST_BLOCK):
                return
            end = at + 3 + (1 if kind == _RUN else length)
            yield at, end
            if head & 1:
                return
            at = end


def _zstd_header(head: bytes) -> tuple[int, int | None, int] | None:
    """Return (length, unpacked size or None, bytes of check value) of a frame's header (RFC 8878, 3.1.1.1)."""
    if head[:4] != _MAGIC or len(head) < 6 or head[4] & 8:
        return None
    flags = head[4]
    single = flags >> 5 & 1
    at = 5 + (1 - single) + (0, 1, 2, 4)[flags & 3]
    width = (single, 2, 4, 8)[flags >> 6]
    unpacked = int.from_bytes(head[at : at + width], "little") + (256 if width == 2 else 0) if width else None
    return at + width, unpacked, 4 if flags & 4 else 0
