"""Two ways of seeing a damaged file: with kept pieces laid over it, and with zeros where it cannot be read.

Flows in: raw streams, kept pieces. Flows out: raw streams. Must not know: formats, promises. Nothing is written.

Kernels read a page at a time and drives a sector (4096 bytes, on older ones 512). Some systems fail a whole read for
one bad page in it, so what failed is read again page by page; only what fails at once, as a bad sector in a drill does,
is narrowed down to its very bytes. A failing drive may try each page for seconds: a stretch that fails on and on is
leapt over in growing steps, and its end is then sought from behind. Common practice of copying from failing drives; no
published source for the numbers.
"""

import errno
import io
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from io import RawIOBase

from drill import clock
from drill.errors import DrillError
from drill.extents import Kept
from drill.streams import Placed

PAGE = 4096
_NARROWEST = 512
_AT_ONCE_S = 0.005  # a drive that tried again took longer
_BUSY_S = 0.05  # a computer with other things to do may take so long to say that a read failed at once
_ASKED_AGAIN = 3
_STRETCH_S = 30.0  # of failing in one stretch, before it is leapt over
_STRETCH = 1 << 20  # or so many bytes of it
_LEAP = 64 * 1024
_IN_A_ROW = 32

Range = tuple[int, int]


class Patched(Placed):
    """A raw stream with an archive's kept pieces laid over it, and of the size that the archive had.

    Where the stream ends too early and no piece helps, a read gives OSError(EIO): it is a hole, not the end.
    """

    def __init__(self, raw: RawIOBase, kept: Kept) -> None:
        super().__init__(kept.size)
        self._raw = raw
        self._pieces = sorted(kept.pieces, key=lambda piece: piece.start)
        self._starts = [piece.start for piece in self._pieces]

    def readinto(self, buffer: object, /) -> int:
        view = self.room(buffer)
        if not view:
            return 0
        number = bisect_right(self._starts, self.place) - 1
        piece = self._pieces[number] if number >= 0 else None
        if piece is not None and self.place < piece.start + len(piece.data):
            inside = self.place - piece.start
            chunk = piece.data[inside : inside + len(view)]
            view[: len(chunk)] = chunk
            self.place += len(chunk)
            return len(chunk)
        if number + 1 < len(self._starts):
            view = view[: self._starts[number + 1] - self.place]
        self._raw.seek(self.place)
        got = self._raw.readinto(view) or 0
        if not got:
            raise OSError(errno.EIO, "the file ends too early")
        self.place += got
        return got

    def close(self) -> None:
        if not self.closed:
            self._raw.close()
        super().close()


@dataclass(slots=True)
class Patience:
    """How long reads may fail altogether, in seconds; when that is used up, each further failure is leapt over twice as
    far as the last one, and not looked into any more. Several streams of one failing drive may share it; the drive is
    gone when after that nothing came of many reads in a row."""

    left_s: float = 1800.0
    leap: int = _LEAP
    in_a_row: int = 0

    @property
    def is_gone(self) -> bool:
        """Say whether nothing is to be tried any more."""
        return self.left_s <= 0 and self.in_a_row >= _IN_A_ROW


class Around(Placed):
    """A raw stream that gives zeros where reading fails with OSError, and remembers where: `holes`, [from, to).

    What is known to be a hole is not read again.
    """

    def __init__(self, raw: RawIOBase, *, patience: Patience | None = None) -> None:
        super().__init__(raw.seek(0, io.SEEK_END))
        self._raw, self._patience = raw, patience or Patience()
        self._doubted = 0  # a read that went up to here failed: page by page until then
        self._stretch = (0, 0, 0.0)  # the last one that failed: from, to, and the seconds that took
        self.holes: list[Range] = []

    def readinto(self, buffer: object, /) -> int:
        view = self.room(buffer)
        if not view:
            return 0
        number = bisect_right(self.holes, self.place, key=lambda hole: hole[0])
        if number and self.place < self.holes[number - 1][1]:
            return self._pass(view, self.holes[number - 1][1])
        if number < len(self.holes):
            view = view[: self.holes[number][0] - self.place]
        if self._patience.is_gone:
            return self._hole(view, self.size)
        in_page = PAGE - self.place % PAGE
        tries = [view[:in_page]] if self.place < self._doubted or len(view) <= in_page else [view, view[:in_page]]
        spans_s: list[float] = []
        for part in tries:
            got, took_s = self._try(self.place, part)
            if got:
                self.place += got
                return got
            if got == 0:  # it has become shorter
                return self._hole(view, self.size)
            self._doubted = max(self._doubted, self.place + len(part))
            spans_s.append(took_s)
        return self._hole(view, self._end_of_hole(self.place, spans_s))

    def close(self) -> None:
        if not self.closed:
            self._raw.close()
        super().close()

    def _try(self, at: int, view: memoryview) -> tuple[int | None, float]:
        """Read; None where it fails, and the seconds that failing took."""
        begun_s = clock.ticks_s()
        try:
            self._raw.seek(at)
            got = self._raw.readinto(view) or 0
            self._patience.in_a_row = 0
            return got, 0.0
        except (OSError, DrillError):
            took_s = clock.ticks_s() - begun_s
            self._patience.left_s -= took_s
            self._patience.in_a_row += 1
            return None, took_s

    def _gives(self, at: int) -> bool:
        """Say whether the byte at a place can be read, which a drive finds out for its whole page."""
        return bool(self._try(at, memoryview(bytearray(1)))[0])

    def _end_of_hole(self, start: int, spans_s: Sequence[float]) -> int:
        """Return where bytes can be read again after `start`, which failed so often, in so many seconds."""
        page_end = min(start - start % PAGE + PAGE, self.size)
        if self._patience.left_s <= 0:
            leap, self._patience.leap = self._patience.leap, 2 * self._patience.leap
            return min(start + leap, self.size)
        first, until, failed_s = self._stretch if start == self._stretch[1] else (start, start, 0.0)
        failed_s += sum(spans_s)
        if failed_s > _STRETCH_S or until - first >= _STRETCH:
            end = self._leapt(page_end - 1 - (page_end - 1) % PAGE)
        else:
            end = self._narrowed(start, page_end) if self._fails_at_once(start, spans_s) else page_end
        self._stretch = first, end, failed_s
        return end

    def _fails_at_once(self, at: int, spans_s: Sequence[float]) -> bool:
        """Say whether a place fails without the drive having tried again. A busy computer is asked again."""
        if min(spans_s) > _BUSY_S:
            return False
        probe = memoryview(bytearray(1))
        return min(spans_s) <= _AT_ONCE_S or any(self._try(at, probe)[1] <= _AT_ONCE_S for _ in range(_ASKED_AGAIN))

    def _leapt(self, bad: int) -> int:
        """Leap on from a bad page until one can be read, then go back to the first of those before it that can."""
        leap, good = _LEAP, self.size
        while bad + leap < self.size and self._patience.left_s > 0:
            if self._gives(bad + leap):
                good = bad + leap
                break
            bad, leap = bad + leap, 2 * leap
        if good == self.size and self._patience.left_s <= 0:
            return min(bad + PAGE, self.size)
        while bad + PAGE < good:
            middle = (bad + good) // 2 // PAGE * PAGE
            if middle <= bad:
                break
            if self._gives(middle):
                good = middle
            else:
                bad = middle
        return good

    def _narrowed(self, start: int, page_end: int) -> int:
        """Return where, within the page, bytes can be read again."""
        bad, good = start, page_end
        first = start - start % _NARROWEST + _NARROWEST
        near = [start + (1 << power) for power in range(_NARROWEST.bit_length() - 1)]
        for place in (*(p for p in near if p < min(first, page_end)), *range(first, page_end, _NARROWEST)):
            if self._gives(place):
                good = place
                break
            bad = place
        while bad + 1 < good:
            middle = (bad + good) // 2
            if self._gives(middle):
                good = middle
            else:
                bad = middle
        return good

    def _hole(self, view: memoryview, end: int) -> int:
        add_range(self.holes, (self.place, end))
        return self._pass(view, end)

    def _pass(self, view: memoryview, end: int) -> int:
        view = view[: end - self.place]
        view[:] = bytes(len(view))
        self.place += len(view)
        return len(view)


def add_range(ranges: list[Range], new: Range) -> None:
    """Add a range to sorted ranges that neither touch nor overlap, and keep them so."""
    start, end = new
    if start >= end:
        return
    first = bisect_left(ranges, start, key=lambda each: each[1])
    last = bisect_right(ranges, end, key=lambda each: each[0])
    if first < last:
        start, end = min(start, ranges[first][0]), max(end, ranges[last - 1][1])
    ranges[first:last] = [(start, end)]
