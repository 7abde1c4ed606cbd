"""The chunks of a damaged LZMA2 stream: which can be followed, where they cannot, and where they go on.

Flows in: a stream of the packed bytes that gives zeros where it cannot be read, and where that is. Flows out: Pieces.
Must not know: archives, members, decoders. Where a chunk's header is lost the next one is searched for: what follows
it must be chunk after chunk to the stream's end, or for long enough. A compressed chunk's bytes begin with a zero (the
range coder's first byte), which tells one from chance in 255 of 256 cases.
"""

from __future__ import annotations  # an array takes no type in brackets before Python 3.12

import re
from array import array
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from io import RawIOBase
from typing import NamedTuple

from drill.copies.sevenzip.chunks import HEAD, MOST_PACKED, Chunk, chunk_at
from drill.salvage.patched import Range

_GAP = 3  # a control byte that no chunk has
_LONG_ENOUGH = 48  # chunks in a row, each right by chance at most every second time
_BEFORE_A_HOLE = 8
_BACK = 24  # chunks before one that cannot be: one of them may have been altered and have led astray
_CANDIDATE = re.compile(rb"(?=([\x80-\xbf].{4}\x00|[\xc0-\xff].{4}[\x00-\xe0]\x00|[\x01\x02]))", re.DOTALL)
_MOST_SEARCHED = 16 * 1024 * 1024
_TIGHTEST = 8192  # 2 MiB of one and the same byte take 300 bytes

HolesIn = Callable[[int, int], Sequence[Range]]
"""Tell which of the bytes from one place to another could not be read; they have been read before."""


class Piece(NamedTuple):
    """A chunk as it is there, or, with `lost`, bytes between two chunks that unpacked to so many bytes."""

    start: int
    head: int
    end: int
    unpacked: int
    control: int
    lost: bool


@dataclass(slots=True)
class ChunkMap:
    """The pieces of one stream, 17 bytes each; `ended`: the mark of the stream's end was found, at `end`.

    Of the pieces in the range `astray`, by number, it is not known where among the unpacked bytes they belong.
    """

    control: array[int] = field(default_factory=lambda: array("B"))
    start: array[int] = field(default_factory=lambda: array("Q"))
    unpacked: array[int] = field(default_factory=lambda: array("Q"))
    end: int = 0
    ended: bool = False
    astray: Range = (0, 0)

    def __iter__(self) -> Iterator[Piece]:
        for number, control in enumerate(self.control):
            start = self.start[number]
            end = self.start[number + 1] if number + 1 < len(self.start) else self.end
            head = 0 if control == _GAP else 3 if control < 0x80 else 5 if control < 0xC0 else HEAD
            yield Piece(start, head, end, self.unpacked[number], control, control == _GAP)

    @property
    def size(self) -> int:
        """Return how many bytes all of it unpacks to."""
        return sum(self.unpacked)

    def _add(self, control: int, start: int, unpacked: int) -> None:
        self.control.append(control)
        self.start.append(start)
        self.unpacked.append(unpacked)

    def _back_to(self, number: int) -> None:
        del self.control[number:], self.start[number:], self.unpacked[number:]


def map_chunks(stream: RawIOBase, packed: int, holes: HolesIn, *, unpacked: int | None, padding: int = 0) -> ChunkMap:
    """Follow the chunks of a stream that takes `packed` bytes, and perhaps some `padding` among these.

    `unpacked` is how many bytes they unpack to altogether; None: neither that nor where they end is known.
    """
    found = ChunkMap()
    reader = _Reader(stream, packed, holes, padding)
    at, furthest = 0, -1  # each place is gone back from once, so that it comes to an end
    while at < packed:
        chunk = reader.chunk(at)
        if chunk is not None and not chunk.control and (unpacked is None or reader.last(at)):
            found.ended = True
            break
        if chunk is not None and chunk.control:
            found._add(chunk.control, at, chunk.unpacked)
            at += chunk.head + chunk.packed
            continue
        back = _BACK if at > furthest else 0
        at, furthest = _step_over(found, reader, at, back=back, unpacked=unpacked), max(at, furthest)
    found.end = min(at, packed)
    _settle_gaps(found, unpacked)
    return found


def _step_over(found: ChunkMap, reader: _Reader, at: int, *, back: int, unpacked: int | None) -> int:
    """Note what cannot be followed from `at` on as a gap, and return where chunks go on."""
    hole_end = reader.hole_over(at)
    from_ = at + 1 if hole_end is None else hole_end
    to = from_ + MOST_PACKED + HEAD
    if hole_end is None and found.control and back:
        from_ = found.start[max(0, len(found.start) - back)] + 1
    left = None if unpacked is None else unpacked - found.size
    following = _go_on(reader, reader.search(from_, to), at=at, left=left)
    while found.start and found.start[-1] > following:
        found._back_to(len(found.start) - 1)
    if hole_end is None and found.start and found.start[-1] < following < at:
        at = found.start[-1]  # the chunk that led past the next one
        found._back_to(len(found.start) - 1)
    found._add(_GAP, at, 0)
    return following


def _go_on(reader: _Reader, places: Iterator[int], *, at: int, left: int | None) -> int:
    """Return the first place from which chunks go on, the stream's end if none is; `left` bytes are still to come.

    By chance a place may look like the header of a chunk that ends where the next true one begins. Where chunk follows
    chunk from there to the stream's end, what these unpack to must leave room for what is lost before the place; and
    where it leaves just what one stored chunk of that length has, that was it.
    """
    first = doubtful = None
    for place in places:
        after, ended = (0, False) if left is None or place < at else reader.unpacked_from(place)
        missing = 0 if left is None else left - after
        if ended and missing == place - at - 3:
            return place
        plausible = missing >= 0 and (not ended or missing <= _TIGHTEST * (place - at))
        if first is None and plausible:
            first = place
        if doubtful is None:
            doubtful = place  # what came before may be what is wrong
        if first is not None and not ended:
            break
    return next((place for place in (first, doubtful) if place is not None), reader.packed)


class _Reader:
    """Chunk headers of a stream by place."""

    def __init__(self, stream: RawIOBase, packed: int, holes: HolesIn, padding: int) -> None:
        self._stream, self.packed, self._holes, self._padding = stream, packed, holes, padding

    def last(self, at: int) -> bool:
        """Say whether the stream can end with the byte at this place."""
        return at + 1 + self._padding >= self.packed

    def read(self, start: int, end: int) -> bytes:
        self._stream.seek(start)
        got = bytearray()
        while len(got) < end - start:
            chunk = self._stream.read(end - start - len(got))
            if not chunk:
                break
            got += chunk
        return bytes(got)

    def chunk(self, at: int, *, strict: bool = False) -> Chunk | None:
        """Return the chunk whose header is there and readable, and fits; strict: and begins as one must."""
        head = self.read(at, min(at + HEAD + 1, self.packed))
        chunk = chunk_at(head)
        if chunk is None or at + chunk.head + chunk.packed > self.packed:
            return None
        if self._holes(at, at + chunk.head):
            return None
        if strict and chunk.control >= 0x80 and head[chunk.head : chunk.head + 1] != b"\0":
            return chunk if self._holes(at + chunk.head, at + chunk.head + 1) else None
        return chunk

    def hole_over(self, at: int) -> int | None:
        """Return where the hole ends that takes the header at this place, or None."""
        self.read(at, min(at + HEAD, self.packed))
        ranges = self._holes(at, min(at + HEAD, self.packed))
        if not ranges:
            return None
        end = ranges[-1][1]
        while end < self.packed:  # what was read tells only of what was read
            self.read(end, min(end + MOST_PACKED, self.packed))
            further = [each for each in self._holes(end, min(end + MOST_PACKED, self.packed)) if each[0] <= end]
            if not further:
                break
            end = further[0][1]
        return end

    def search(self, start: int, end: int) -> Iterator[int]:
        """Yield the places from which chunk follows chunk, at last perhaps the stream's end."""
        at, most = start, start + _MOST_SEARCHED
        while at < min(end, self.packed, most):
            window = self.read(at, min(at + MOST_PACKED, self.packed))
            for match in _CANDIDATE.finditer(window + bytes(HEAD + 1)):
                place = at + match.start()
                if place < min(end, self.packed) and self._chained(place):
                    yield place
            if len(window) < MOST_PACKED:
                break
            blind = self._holes(at, at + len(window))
            end += sum(to - from_ for from_, to in blind)  # a header may have been lost in there too
            at += len(window) - HEAD
        if end >= self.packed and self._ends(start):
            yield self.packed - 1

    def unpacked_from(self, at: int) -> tuple[int, bool]:
        """Return how many bytes the chunks from a place on unpack to, and whether they go on to the stream's end."""
        size = 0
        while at < self.packed:
            chunk = self.chunk(at)
            if chunk is None or not chunk.control:
                return size, chunk is not None and self.last(at)
            size += chunk.unpacked
            at += chunk.head + chunk.packed
        return size, True

    def _chained(self, at: int) -> bool:
        for steps in range(_LONG_ENOUGH):
            chunk = self.chunk(at, strict=True)
            if chunk is None:
                return steps >= _BEFORE_A_HOLE and bool(self._holes(at, min(at + HEAD, self.packed)))
            if not chunk.control:
                return steps > 0 and self.last(at)
            at += chunk.head + chunk.packed
        return True

    def _ends(self, start: int) -> bool:
        """Say whether the mark of the stream's end is there, at `start` or after it."""
        last = self.packed - 1
        return start <= last and self.read(last, self.packed) == b"\0" and not self._holes(last, self.packed)


def _settle_gaps(found: ChunkMap, unpacked: int | None) -> None:
    """Find out how many bytes each gap unpacked to.

    Where the bytes that are missing are just what stored chunks of these lengths have, they were that. Where not, the
    one gap that is followed by a chunk that goes on from compressed bytes makes the difference.
    """
    gaps = {number: piece.end - piece.start for number, piece in enumerate(found) if piece.lost}
    if not gaps:
        return
    as_stored = {number: length - 3 for number, length in gaps.items() if 3 < length <= MOST_PACKED + 3}
    unsure: list[int] = []
    left = 0
    if unpacked is not None:  # and never more than any encoder packs so tightly, whatever the header claims
        missing = min(max(0, unpacked - found.size), _TIGHTEST * sum(gaps.values()))
        if len(as_stored) < len(gaps) or sum(as_stored.values()) != missing:
            unsure = [number for number in gaps if number not in as_stored or _continued(found, number + 1)]
            unsure = list(gaps) if len(gaps) == 1 else unsure or list(gaps)
            left = missing - sum(size for number, size in as_stored.items() if number not in unsure)
            if left < 0:
                unsure, left = list(gaps), missing
    for number in gaps:
        found.unpacked[number] = as_stored.get(number, 0) if number not in unsure else left // len(unsure)
    if unsure:
        found.unpacked[unsure[-1]] += left % len(unsure)
    if len(unsure) > 1:
        found.astray = unsure[0], unsure[-1]


def _continued(found: ChunkMap, number: int) -> bool:
    return number < len(found.control) and 0x80 <= found.control[number] < 0xA0


def was_stored(piece: Piece) -> bool:
    """Say whether a gap has just the bytes of one stored chunk."""
    return piece.lost and 0 < piece.unpacked == piece.end - piece.start - 3
