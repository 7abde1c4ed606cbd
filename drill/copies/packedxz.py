"""The blocks of a .tar.xz.

Flows in: a raw stream of the archive's bytes. Flows out: Units. Must not know: tar. Facts: the .xz file format 1.2.0
(streams 2.1, blocks 3.1, index 4).
"""

import lzma
import zlib
from collections.abc import Iterator
from contextlib import suppress
from io import RawIOBase

from drill.copies.raw import BLOCK
from drill.copies.units import Unit, even_pieces, read_at, windows

_MAGIC, _END = b"\xfd7zXZ\0", b"YZ"
_CHECKS = (0, 4, 4, 4, 8, 8, 8, 16, 16, 16, 32, 32, 32, 64, 64, 64)  # bytes, by the kind of check (2.1.1.2)
_INDEX_LIMIT = 64 * 1024 * 1024


class _Lzma:
    def __init__(self, filters: list[dict[str, int]]) -> None:
        self._unpack = lzma.LZMADecompressor(lzma.FORMAT_RAW, filters=filters)
        self.ended, self.used = False, 0

    def feed(self, packed: bytes) -> Iterator[bytes]:
        held = packed
        while not self.ended:
            out = self._unpack.decompress(held, BLOCK)
            held = b""
            self.ended = self._unpack.eof
            if out:
                yield out
            if self._unpack.needs_input or not (out or self.ended):
                break
        self.used += len(packed) - (len(self._unpack.unused_data) if self.ended else 0)


class Xz:
    def __init__(self, raw: RawIOBase, size: int) -> None:
        self._raw, self._size = raw, size
        self._known = _xz_index(raw, size)  # start → (size without padding, unpacked size)
        self._firsts: dict[int, int] = {}
        total = 0
        for start, (_, unpacked) in sorted(self._known.items()):
            self._firsts[start], total = total, total + unpacked
        self._check = 0
        self._flags(0)

    def unit_at(self, at: int) -> Unit | None:
        while True:
            head = read_at(self._raw, at, 12)
            if head[:6] == _MAGIC:
                self._flags(at)
                at += 12
            elif head[:4] == bytes(4) and len(head) == 12 and not at % 4:  # padding between streams
                at += 4
            elif head[:1] == b"\0":  # an index: another stream may follow
                after = self._past_index(at)
                if after is None:
                    return None
                at = after
            else:
                return self._block(at)

    def after(self, unit: Unit, end: int) -> Unit | None:
        return self.unit_at(end + -end % 4 + self._check)

    def resume(self, at: int) -> Unit | None:
        if self._known:
            later = (self._block(start) for start in sorted(self._known) if start >= at)
            return next((unit for unit in later if unit is not None), None)
        for start, window in windows(self._raw, at + -at % 4, self._size, again=1024):
            for place in range(0, len(window) - 8, 4):
                if window[place] and not window[place + 1] & 0x3C and self._is_header(window, place):
                    return self._block(start + place)
        return None

    def first_of(self, unit: Unit) -> int | None:
        return self._firsts.get(unit.start)

    def may_have_holes(self, unit: Unit, start: int) -> bool:
        return True  # runs with different bytes in a place that is not stored part at once

    def pieces(self, unit: Unit) -> Iterator[tuple[int, int]]:
        return even_pieces(unit.body, self._size if unit.end is None else unit.end)

    def _is_header(self, window: bytes, place: int) -> bool:
        head = window[place : place + (window[place] + 1) * 4]
        return len(head) > 8 and zlib.crc32(head[:-4]) == int.from_bytes(head[-4:], "little")

    def _flags(self, at: int) -> None:
        head = read_at(self._raw, at, 12)
        if head[:6] == _MAGIC and zlib.crc32(head[6:8]) == int.from_bytes(head[8:12], "little"):
            self._check = _CHECKS[head[7] & 15]

    def _past_index(self, at: int) -> int | None:
        """Return the end of the stream whose index begins at `at`."""
        for most in (1 << 16, _INDEX_LIMIT):
            with suppress(lzma.LZMAError):
                index = read_at(self._raw, at, most)
                count, end = _number(index, 1)
                for _ in range(2 * count):
                    _, end = _number(index, end)
                return at + end + -end % 4 + 4 + 12  # padding, its check value, the footer
        return None

    def _block(self, at: int) -> Unit | None:
        head = read_at(self._raw, at, 1024)
        length = (head[0] + 1) * 4 if head else 0
        if not head or not head[0] or len(head) < length:
            return None
        packed, unpacked = self._known.get(at, (None, None))
        if zlib.crc32(head[: length - 4]) != int.from_bytes(head[length - 4 : length], "little"):
            return None
        sizes, filters = _xz_block_header(head[: length - 4])
        end = None if sizes[0] is None else at + length + sizes[0]
        if packed is not None:
            end = at + packed - self._check
        unpacked = sizes[1] if unpacked is None else unpacked
        return Unit(at, at + length, end, unpacked, lambda: _Lzma(filters))


def _xz_block_header(head: bytes) -> tuple[tuple[int | None, int | None], list[dict[str, int]]]:
    """Return (packed, unpacked) sizes where the header has them, and the filters. Errors: LZMAError for odd ones."""
    at = 2
    sizes: list[int | None] = [None, None]
    for number, flag in enumerate((0x40, 0x80)):
        if head[1] & flag:
            sizes[number], at = _number(head, at)
    filters = []
    for _ in range((head[1] & 3) + 1):
        kind, at = _number(head, at)
        length, at = _number(head, at)
        filters.append(_xz_filter(kind, head[at : at + length]))
        at += length
    return (sizes[0], sizes[1]), filters


def _xz_filter(kind: int, properties: bytes) -> dict[str, int]:
    if kind == lzma.FILTER_LZMA2 and len(properties) == 1 and properties[0] <= 40:
        bits = properties[0]
        return {"id": kind, "dict_size": 0xFFFFFFFF if bits == 40 else (2 | bits & 1) << (bits // 2 + 11)}
    if kind == lzma.FILTER_DELTA and len(properties) == 1:
        return {"id": kind, "dist": properties[0] + 1}
    if lzma.FILTER_X86 <= kind <= lzma.FILTER_SPARC and len(properties) in (0, 4):
        start = int.from_bytes(properties, "little")
        return {"id": kind, "start_offset": start} if start else {"id": kind}
    raise lzma.LZMAError("packed in a way that cannot be read here")


def _xz_index(raw: RawIOBase, size: int) -> dict[int, tuple[int, int]]:
    """Return each block's (size without padding, unpacked size) by its start, from the indexes at the streams' ends.

    Nothing at all where one index cannot be read or does not fit.
    """
    known: dict[int, tuple[int, int]] = {}
    end = size
    while end > 0:
        while end >= 4 and read_at(raw, end - 4, 4) == bytes(4):
            end -= 4
        foot = read_at(raw, end - 12, 12) if end >= 12 else b""
        if foot[10:] != _END or zlib.crc32(foot[4:10]) != int.from_bytes(foot[:4], "little"):
            return {}
        length = (int.from_bytes(foot[4:8], "little") + 1) * 4
        index = read_at(raw, end - 12 - length, length) if length <= min(end - 12, _INDEX_LIMIT) else b""
        if len(index) != length or zlib.crc32(index[:-4]) != int.from_bytes(index[-4:], "little"):
            return {}
        count, at = _number(index, 1)
        blocks = []
        for _ in range(count):
            packed, at = _number(index, at)
            unpacked, at = _number(index, at)
            blocks.append((packed, unpacked))
        start = end - 12 - length - sum(packed + -packed % 4 for packed, _ in blocks)
        if start < 12:
            return {}
        place = start
        for packed, unpacked in blocks:
            known[place] = packed, unpacked
            place += packed + -packed % 4
        end = start - 12
    return known


def _number(data: bytes, at: int) -> tuple[int, int]:
    """Return a multibyte integer (1.2) and the place after it. Errors: LZMAError when it has no end."""
    value = 0
    for shift in range(9):
        if at >= len(data):
            break
        value |= (data[at] & 0x7F) << (7 * shift)
        at += 1
        if not data[at - 1] & 0x80:
            return value, at
    raise lzma.LZMAError("a number without an end")
