"""The structure of a tar: headers, data, padding; of a compressed one, what each packed byte is needed for.

Flows in: a raw stream of the archive. Flows out: its Anatomy. Must not know: faults, promises, salvage. Of a plain tar
only the headers are read. What is inside a compressed one nothing but unpacking tells: it is unpacked once, in little
memory, and how far the bytes before each place reach gives sound bounds. A hard link counts as its target: that its own
header is lost is not counted. That bytes are lost is said of bytes that are not all zeros.
"""

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from io import RawIOBase
from itertools import pairwise

from drill.copies.packed import packing
from drill.copies.raw import BrokenOff, Steady, Unreadable
from drill.copies.tape import Tape
from drill.copies.tarred import explain_tar
from drill.copies.tarwalk import Walk, stretches
from drill.copies.units import STEP
from drill.errors import DrillError
from drill.extents import Anatomy, Extent, Members, Part
from drill.model import Entry, Trouble
from drill.structure.gapless import NONE, gapless

_MOST_PLACES = 1 << 20
_ZSTD_BLOCK = 128 * 1024  # what a byte of a zstd frame says may lie so far behind what had come before it


@dataclass(frozen=True, slots=True)
class _Span:
    """One member on the tape: its headers from `start`, its bytes from `data` to `end`, the next header at `after`."""

    start: int
    data: int
    end: int
    after: int
    entry: Entry | None  # None for folders and the like
    shared: bool  # a hard link: the bytes are another member's


def anatomy_of(kind: str, raw: RawIOBase, size: int, *, kept: bool) -> Anatomy:
    """Return the structure of a ".tar", ".tar.gz", ".tar.xz" or ".tar.zst". Errors: Unreadable."""
    try:
        return _plain(Steady(raw), size, kept=kept) if kind == ".tar" else _packed(kind, Steady(raw), size)
    except DrillError:
        raise
    except Exception as error:  # whatever damage makes of a library
        problem = explain_tar(error, 0)
        raise Unreadable(problem.trouble, f"the archive cannot be read ({problem.detail})") from None


# --- the members -------------------------------------------------------------------------------------------------


def _spans(tape: Tape) -> list[_Span]:
    walk = Walk(tape)
    spans = []
    for info in walk.headers():
        member = walk.member_of(info)
        entry, shared = (None, False) if member is None else (member[0], member[1] is not info)
        held = max(0, sum(size for _, size in stretches(info))) if info.isreg() and not shared else 0
        spans.append(_Span(walk.start, info.offset_data, info.offset_data + held, walk.after, entry, shared))
    if not spans and walk.broken:
        raise Unreadable(Trouble.DAMAGED, "the archive has no readable tar header")
    return spans


@dataclass(frozen=True, slots=True)
class _Numbers:
    """The members by number: by where their bytes lie, hard links beside their target, then those without bytes."""

    members: list[Entry]
    begins: list[int]  # for each member with bytes where the bytes begin, links included
    empty: dict[int, Members]  # by where the header ends

    def at(self, place: int) -> Members:
        """Return the members whose bytes begin exactly there."""
        return bisect_left(self.begins, place), bisect_right(self.begins, place)

    def next(self, place: int) -> int:
        """Return the number of the first member whose bytes begin at `place` or after it, of all where none does."""
        number = bisect_left(self.begins, place)
        return number if number < len(self.begins) else len(self.members)


def _number(spans: list[_Span]) -> _Numbers:
    entries = [span.entry for span in spans if span.entry is not None]
    full = sorted((e for e in entries if e.size), key=lambda e: e.index)
    empty = sorted((e for e in entries if not e.size), key=lambda e: e.index)
    places = [e.index for e in empty]
    numbers = {p: (len(full) + bisect_left(places, p), len(full) + bisect_right(places, p)) for p in places}
    return _Numbers([*full, *empty], [e.index for e in full], numbers)


def _costs(span: _Span, numbers: _Numbers) -> Members:
    if span.entry is None or span.shared:
        return NONE
    return numbers.at(span.data) if span.entry.size else numbers.empty.get(span.data, NONE)


# --- a plain tar ---------------------------------------------------------------------------------------------------


def _plain(source: Steady, size: int, *, kept: bool) -> Anatomy:
    spans = _spans(source)
    numbers = _number(spans)
    found = (extent for span in spans for extent in _extents(span, numbers, kept=kept))
    extents = gapless(found, size, numbers.begins, members=len(numbers.members))
    held = sum(span.end - span.data for span in spans)
    return Anatomy(size, numbers.members, extents, _stream_size(numbers), held, kept_elsewhere=kept)


def _extents(span: _Span, numbers: _Numbers, *, kept: bool) -> Iterator[Extent]:
    """Yield a member's headers (whoever has an older listing has the member without them) and its bytes."""
    costs = _costs(span, numbers)
    most = NONE if kept else costs
    stops = numbers.next(span.data)
    yield Extent(span.start, span.data, Part.HEADERS, stops, NONE, most, "a member's header")
    if span.end > span.data:
        yield Extent(span.data, span.end, Part.STORED, stops, costs, costs)
    if span.after > span.end:
        after = numbers.next(max(span.after, span.end))
        yield Extent(span.end, span.after, Part.NOTHING, after, NONE, NONE, "padding")


def _stream_size(numbers: _Numbers) -> int:
    return sum(entry.size or 0 for entry in numbers.members)


# --- a compressed tar ------------------------------------------------------------------------------------------------


class _Log:
    """A tape over an archive's units that notes how far each stretch of packed bytes reaches.

    `reach[i]` is the number of unpacked bytes that need nothing at or after packed byte `i * step`.
    """

    trouble: Exception | None = None

    def __init__(self, kind: str, source: Steady, size: int) -> None:
        self.step = STEP
        while size // self.step > _MOST_PLACES:
            self.step *= 2
        self.reach = array("Q")
        self.units: list[
            tuple[int, int, int]
        ] = []  # where each begins, where what is fed ends, its first unpacked byte
        self._source, self._size, self._packing = source, size, packing(kind, source, size)
        self._pieces = self._unpack()
        self._held, self._from, self._at, self._total = b"", 0, 0, 0

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, /) -> int:
        if offset < self._from:
            raise ValueError("cannot go back")
        while self._from + len(self._held) < offset and (piece := next(self._pieces, b"")):
            self._from, self._held = self._from + len(self._held), piece
        self._at = min(offset, self._from + len(self._held))
        return self._at

    def read(self, size: int, /) -> bytes:
        begun = self._held[self._at - self._from :]
        got = [begun]
        left = size - len(begun)
        while left > 0 and (piece := next(self._pieces, b"")):
            got.append(piece)
            left -= len(piece)
        held = b"".join(got)
        self._from, self._held = self._at, held
        self._at += min(size, len(held))
        return held[:size]

    def finish(self) -> None:
        """Unpack what is left, so that every packed byte is noted."""
        for _ in self._pieces:
            pass
        self._note(self._size + self.step + 1)

    def _unpack(self) -> Iterator[bytes]:
        unit = self._packing.unit_at(0)
        if unit is None:
            raise ValueError("its beginning makes no sense")
        while unit is not None:
            first = self._total
            end = unit.body
            decoder = unit.decoder()
            for start, stop in self._packing.pieces(unit):
                self._note(stop)
                for piece in decoder.feed(self._packed(start, stop)):
                    self._total += len(piece)
                    yield piece
                end = stop
                if decoder.ended:
                    end = unit.body + decoder.used
                    break
            if not decoder.ended and end != unit.end:
                raise BrokenOff("the archive ends before its time")
            self.units.append((unit.start, end, first))
            unit = self._packing.after(unit, end)

    def _packed(self, start: int, stop: int) -> bytes:
        self._source.seek(start)
        packed = self._source.read(stop - start)
        if len(packed) < stop - start and self._source.trouble is not None:
            raise self._source.trouble
        return packed

    def _note(self, stop: int) -> None:
        while len(self.reach) * self.step < stop:
            self.reach.append(self._total)


def _packed(kind: str, source: Steady, size: int) -> Anatomy:
    log = _Log(kind, source, size)
    spans = _spans(log)
    log.finish()
    numbers = _number(spans)
    found = _cells(log, spans, numbers, size=size, margin=_ZSTD_BLOCK if kind == ".tar.zst" else 0)
    extents = gapless(found, size, numbers.begins, members=len(numbers.members))
    restarts = len(log.units) - 1
    return Anatomy(size, numbers.members, extents, _stream_size(numbers), size, restarts=restarts)


def _cells(log: _Log, spans: list[_Span], numbers: _Numbers, *, size: int, margin: int) -> Iterator[Extent]:
    """Yield what each step of packed bytes costs: at least the member that has all it can reach, at most all up to the
    next unit."""
    ends = [span.end if span.entry is not None and span.entry.size else span.data for span in spans]
    packed = [start for start, _, _ in log.units]
    firsts = [first for _, _, first in log.units]
    total = len(numbers.members)
    for number, (reached, further) in enumerate(pairwise(log.reach)):
        start, end = number * log.step, min((number + 1) * log.step, size)
        unit = bisect_left(packed, end) - 1  # the last that begins before the end
        limit = firsts[unit + 1] if unit + 1 < len(firsts) else None
        touched = bisect_right(ends, reached)  # the first span that is not over by then
        if touched == len(spans):
            yield Extent(start, end, Part.NOTHING, total, NONE, NONE, "the end")
            continue
        span = spans[touched]
        within = span.data <= reached and further + margin < span.end and packed[unit] <= start
        inside = within and log.units[unit][0] <= start and end <= log.units[unit][1]
        stops = numbers.next(span.data)
        most = _most(spans, numbers, min(stops, len(numbers.begins)), limit)
        yield Extent(start, end, Part.COMPRESSED, stops, _costs(span, numbers) if inside else NONE, most)


def _most(spans: list[_Span], numbers: _Numbers, first: int, limit: int | None) -> Members:
    """Return the members from that number on to the last whose header begins before `limit`."""
    if limit is None or first >= len(numbers.begins):
        return first, len(numbers.members)
    last = bisect_left(spans, limit, key=lambda span: span.start)
    if last == len(spans) or any(place <= limit for place in numbers.empty):
        return first, len(numbers.members)
    return first, numbers.next(spans[last].data)
