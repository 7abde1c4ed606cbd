"""The tar behind a damaged archive's bytes, with gaps: what a walk over its headers and its members are read from.

Flows in: a raw stream of the archive. Flows out: tapes that raise OSError inside a gap. Must not know: who waits for
what. Units that cannot be unpacked further are gaps up to the next unit. Where nothing tells how long the gap is, the
tape goes on at the next tar header, and is `shifted` from then on: places are no longer those of the archive when it
was whole.
"""

import errno
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from io import RawIOBase

from drill.copies.packed import packing
from drill.copies.raw import BLOCK, Steady
from drill.copies.tarwalk import RECORD, is_header
from drill.copies.units import Packing, Unit
from drill.model import Problem, Trouble
from drill.salvage.claims import Broken, Gap, Pieces
from drill.salvage.lockstep import Packed, Parted, unpack_around
from drill.salvage.patched import Around
from drill.salvage.pieces import holes_within, read_around, stored

_KEPT_BEHIND = 1024 * 1024
_MOST_RATIO = 20_000  # LZMA packs no more than some 7000 bytes into one; measured, no source
_FAR = 1 << 50  # farther than any tar reaches
_MAGIC, _MAGIC_AT = b"ustar", 257


class PlainTape:
    """A tar that lies there as it is."""

    shifted = False
    torn = False
    forwards_only = False

    def __init__(self, around: Around, size: int) -> None:
        self._around, self._steady, self._at = around, Steady(around), 0
        self.most_zeros = size
        self.trouble: OSError | None = None

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, /) -> int:
        self._at = offset
        return offset

    def read(self, size: int, /) -> bytes:
        self._steady.seek(self._at)
        data = self._steady.read(size)
        holes = holes_within(self._around.holes, self._at, self._at + len(data))
        good = holes[0][0] if holes else len(data)
        if holes and not good:
            self.trouble = _unread()
            raise self.trouble
        self.trouble = _unread() if holes else None
        self._at += good
        return data[:good]

    def beyond(self, at: int) -> int:
        """Return where to look for a header after a place that cannot be read."""
        return at + RECORD

    def pieces(self, start: int, size: int) -> Pieces:
        """Yield `size` bytes from `start` on, fewer where the archive ends."""
        return stored(self._around, start, start + size)


class PackedTape:
    """A tar that is unpacked, forwards only save over the last megabyte."""

    forwards_only = True

    def __init__(self, kind: str, around: Around, raw: RawIOBase, size: int) -> None:
        self._around = around
        self._packing = packing(kind, Steady(raw), size)
        self.shifted = self.torn = False  # torn: some of it could not be unpacked
        self.most_zeros = _MOST_RATIO * size
        self._why = Trouble.DAMAGED
        self.trouble: Exception | None = None
        self._source = self._unroll()
        self._held: deque[tuple[int, bytes | Gap]] = deque()
        self._end, self._behind, self._at = 0, 0, 0

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, /) -> int:
        if offset < (self._held[0][0] if self._held else self._end):
            raise ValueError("cannot go back so far")
        while self._end < offset and self._pull():
            pass
        self._at = min(offset, self._end)
        return self._at

    def read(self, size: int, /) -> bytes:
        got = b""
        self.trouble = None
        while len(got) < size:
            piece = self._piece(size - len(got))
            if isinstance(piece, Gap):
                self.trouble = _unread()
                if not got:
                    raise self.trouble
                break
            if not piece:
                break
            got += piece
            self._at += len(piece)
        return got

    def beyond(self, at: int) -> int:
        """Return where to look for a header after a place that cannot be read."""
        for start, piece in self._held:
            if isinstance(piece, Gap) and start <= at < start + piece.size:
                return max(_next_record(start + piece.size - 1), at + RECORD)
        return at + RECORD

    def pieces(self, start: int, size: int) -> Pieces:
        """Yield `size` bytes from `start` on. Errors: Broken where nothing more comes."""
        self.seek(start)
        if self._at < start:
            raise Broken(Problem(self._why, "comes after the damage in the archive"))
        while size > 0:
            piece = self._piece(min(size, BLOCK))
            length = piece.size if isinstance(piece, Gap) else len(piece)
            if not length:
                raise Broken(Problem(self._why, "cannot be unpacked to its end"))
            self._at += length
            size -= length
            yield piece

    def _piece(self, most: int) -> bytes | Gap:
        """Return what lies at the place at hand, at most so many bytes; none at the end."""
        while self._at >= self._end and self._pull():
            pass
        for start, piece in reversed(self._held):
            if start <= self._at:
                if isinstance(piece, Gap):
                    return Gap(min(most, piece.size - (self._at - start)), piece.unread)
                return piece[self._at - start : self._at - start + most]
        return b""

    def _pull(self) -> bool:
        piece = next(self._source, None)
        if piece is None:
            return False
        self._held.append((self._end, piece))
        self._end += piece.size if isinstance(piece, Gap) else len(piece)
        while len(self._held) > 1 and self._held[1][0] <= min(self._at, self._end - _KEPT_BEHIND):
            self._held.popleft()
        return True

    def _unroll(self) -> Iterator[bytes | Gap]:
        """Yield the tar from its start to where nothing more can be had."""
        unit = self._packing.unit_at(0)
        lost = unit is None
        unit = unit or self._packing.resume(0)
        self.torn = lost
        search, sought = _Search(found=True), False
        done = 0
        while unit is not None:
            pieces: Iterator[bytes | Gap]
            unwinding = _Unwinding(self._packing, unit, self._around)
            first = self._packing.first_of(unit)
            if first is not None and first > done:
                yield Gap(first - done)
                done = first
            if lost and first is None:
                search, sought = _Search(), True
            pieces = unwinding.pieces() if search.found else search.over(unwinding.pieces())
            for piece in pieces:
                if piece and sought:  # a header was found: what begins with it lies nobody knows how far behind
                    self.shifted, sought = True, False
                    yield Gap(_FAR - done % _FAR)
                    done += _FAR - done % _FAR
                if piece:
                    done += piece.size if isinstance(piece, Gap) else len(piece)
                    yield piece
            self._why = Trouble.IO if unwinding.unread else self._why
            unit, follows = unwinding.next()
            lost = not (unwinding.whole and follows)
            self.torn = self.torn or unwinding.torn or (lost and unit is not None)


class _Unwinding:
    """One unit's way through its decoder; `whole` once it came to its known end, gaps included."""

    def __init__(self, packing: Packing, unit: Unit, around: Around) -> None:
        self._packing, self._unit, self._around = packing, unit, around
        self._decoder = unit.decoder()
        self._fed = self._doubt = unit.body  # how far it was fed, and from where on another unit may begin
        self._holed = False
        self.whole = self.unread = self.torn = False

    def pieces(self) -> Iterator[bytes | Gap]:
        unit, done = self._unit, 0
        try:
            for piece in unpack_around(self._decoder, unit.decoder, self._ranges):
                done += piece.size if isinstance(piece, Gap) else len(piece)
                yield piece
        except Parted as parted:
            self.unread = parted.unread
        else:
            self.whole = self._decoder.ended or self._fed == unit.end
        self.torn = not self.whole
        if not self.whole and unit.unpacked is not None and done <= unit.unpacked:
            yield Gap(unit.unpacked - done, self.unread)
            self.whole = True

    def next(self) -> tuple[Unit | None, bool]:
        """Return the next unit that there is, and whether it is the one that follows this one."""
        end = self._unit.end
        if end is None and self._decoder.ended:
            end = self._unit.body + self._decoder.used
        if end is None:
            return self._packing.resume(self._doubt), False
        unit = self._packing.after(self._unit, end)
        return (unit, True) if unit is not None else (self._packing.resume(end), False)

    def _ranges(self) -> Iterator[Packed]:
        for start, end in self._packing.pieces(self._unit):
            self._fed = max(self._fed, end)
            self._doubt = self._doubt if self._holed else max(self._doubt, start)
            for packed in read_around(self._around, ((start, end),)):
                if packed.holes:
                    self._holed, self._doubt = True, max(self._doubt, start + packed.holes[-1][0])
                if packed.holes and not self._packing.may_have_holes(self._unit, start):
                    raise Parted(unread=True)
                yield packed


@dataclass(slots=True)
class _Search:
    """The search for the first tar header after a gap of unknown length, from unit to unit."""

    found: bool = False
    held: bytes = b""

    def over(self, pieces: Iterator[bytes | Gap]) -> Iterator[bytes | Gap]:
        """Yield pieces from the first header on, wherever it lies."""
        for piece in pieces:
            if isinstance(piece, Gap):
                self.held = b""
                continue
            self.held += piece
            start = _first_header(self.held)
            if start is not None:
                self.found = True
                yield self.held[start:]
                yield from pieces
                return
            self.held = self.held[-2 * RECORD :]


def _first_header(data: bytes) -> int | None:
    place = data.find(_MAGIC, _MAGIC_AT)
    while place >= 0:
        start = place - _MAGIC_AT
        if is_header(data[start : start + RECORD]):
            return start
        place = data.find(_MAGIC, place + 1)
    return None


def _next_record(at: int) -> int:
    return at + RECORD - at % RECORD


def _unread() -> OSError:
    return OSError(errno.EIO, "bytes that cannot be had")
