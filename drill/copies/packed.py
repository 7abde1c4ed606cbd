"""Compressed tars as units: gzip here, xz and zstd in rooms of their own.

Flows in: a raw stream of the archive's bytes. Flows out: a Packing. Must not know: tar. Facts: RFC 1952 (gzip).
Check values are left alone: whoever judges the content has a digest.
"""

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from io import RawIOBase

from drill.copies.packedxz import Xz
from drill.copies.packedzst import Zstd
from drill.copies.raw import BLOCK
from drill.copies.units import STEP, Packing, Unit, even_pieces, read_at, windows

_MAGIC = b"\x1f\x8b\x08"  # and the only method there is
_PROBED = 64 * 1024
_MOST_PROBES = 16_384  # places that only look like a member, before none is looked for: pictures have one in 16 MB


def packing(kind: str, raw: RawIOBase, size: int) -> Packing:
    """Return the packing of a ".tar.gz", ".tar.xz" or ".tar.zst"; `raw` reads all it is asked for unless it ends."""
    match kind:
        case ".tar.gz":
            return _Gzip(raw, size)
        case ".tar.xz":
            return Xz(raw, size)
        case ".tar.zst":
            return Zstd(raw, size)
    raise ValueError(f"{kind!r} is no compressed tar")


class Inflate:
    def __init__(self) -> None:
        self._unpack = zlib.decompressobj(-zlib.MAX_WBITS)
        self.ended, self.used = False, 0

    def feed(self, packed: bytes) -> Iterator[bytes]:
        held = packed
        while held and not self.ended:
            out = self._unpack.decompress(held, BLOCK)
            held = self._unpack.unconsumed_tail
            self.ended = self._unpack.eof
            if out:
                yield out
        while not self.ended and (out := self._unpack.decompress(b"", BLOCK)):
            yield out
        self.ended = self._unpack.eof
        self.used += len(packed) - len(self._unpack.unused_data)


@dataclass(frozen=True, slots=True)
class _Gzip:
    raw: RawIOBase
    size: int

    def unit_at(self, at: int) -> Unit | None:
        while at and at < self.size and not (head := read_at(self.raw, at, STEP)).strip(b"\0"):
            at += len(head) or self.size
        if at and at < self.size:
            head = read_at(self.raw, at, STEP)
            at += len(head) - len(head.lstrip(b"\0"))
        body = _gzip_body(read_at(self.raw, at, 1 << 17))
        return None if body is None else Unit(at, at + body, None, None, Inflate)

    def after(self, unit: Unit, end: int) -> Unit | None:
        return self.unit_at(end + 8)  # past the check value and the length

    def resume(self, at: int) -> Unit | None:
        probes = 0
        for start, window in windows(self.raw, at, self.size, again=len(_MAGIC) - 1):
            place = window.find(_MAGIC)
            while place >= 0 and probes < _MOST_PROBES:
                head = read_at(self.raw, start + place, 2 * STEP)
                body = _gzip_body(head)
                if body is not None and _unpacks(head[body:]):
                    return Unit(start + place, start + place + body, None, None, Inflate)
                probes += 1
                place = window.find(_MAGIC, place + 1)
        return None

    def first_of(self, unit: Unit) -> int | None:
        return None if unit.start else 0

    def may_have_holes(self, unit: Unit, start: int) -> bool:
        return True  # runs with different bytes in a place that is not stored part at once

    def pieces(self, unit: Unit) -> Iterator[tuple[int, int]]:
        return even_pieces(unit.body, self.size)


def _unpacks(packed: bytes) -> bool:
    """Say whether a deflate stream can begin so."""
    try:
        zlib.decompressobj(-zlib.MAX_WBITS).decompress(packed, _PROBED)
    except zlib.error:
        return False
    return bool(packed)


def _gzip_body(head: bytes) -> int | None:
    """Return where the deflate stream begins after a member's header (RFC 1952, 2.3); None for no header."""
    if head[:3] != _MAGIC or len(head) < 18 or head[3] & 0xE0:
        return None
    at = 10
    if head[3] & 4:
        at += 2 + int.from_bytes(head[at : at + 2], "little")
    for flag in (8, 16):  # a name and a comment, each with a zero at its end
        if head[3] & flag:
            at = head.find(b"\0", at) + 1
            if not at:
                return None
    at += 2 if head[3] & 2 else 0
    return at if at < len(head) else None
