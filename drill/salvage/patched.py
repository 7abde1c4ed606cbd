"""Two ways of seeing a damaged file: with kept pieces laid over it, and with zeros where it cannot be read.

Flows in: raw streams, kept pieces. Flows out: raw streams. Must not know: formats, promises. Nothing is written.
Kernels read a page at a time and drives a sector (4096 bytes, on older ones 512); a failing drive may try each for
seconds, so that what fails slowly is given up a page at a time, and what fails at once is narrowed down.
"""

import errno
import io
from bisect import bisect_left, bisect_right
from io import RawIOBase

from drill import clock
from drill.errors import DrillError
from drill.extents import Kept

PAGE = 4096
_NARROWEST = 512
_SLOW_S = 0.3  # a read that fails after this long was tried again and again by the drive
MOST_FAILING_S = 120.0

Range = tuple[int, int]


class Patched(RawIOBase):
    """A raw stream with an archive's kept pieces laid over it, and of the size that the archive had.

    Where the stream ends too early and no piece helps, a read gives OSError(EIO): it is a hole, not the end.
    """

    def __init__(self, raw: RawIOBase, kept: Kept) -> None:
        super().__init__()
        self._raw, self._size, self._at = raw, kept.size, 0
        self._pieces = sorted(kept.pieces, key=lambda piece: piece.start)
        self._starts = [piece.start for piece in self._pieces]

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        self._at = _moved(offset, whence, at=self._at, size=self._size)
        return self._at

    def readinto(self, buffer: object, /) -> int:
        view = memoryview(buffer).cast("B")  # type: ignore[arg-type]
        wanted = min(len(view), self._size - self._at)
        if wanted <= 0:
            return 0
        number = bisect_right(self._starts, self._at) - 1
        piece = self._pieces[number] if number >= 0 else None
        if piece is not None and self._at < piece.start + len(piece.data):
            inside = self._at - piece.start
            chunk = piece.data[inside : inside + wanted]
            view[: len(chunk)] = chunk
            self._at += len(chunk)
            return len(chunk)
        if number + 1 < len(self._starts):
            wanted = min(wanted, self._starts[number + 1] - self._at)
        self._raw.seek(self._at)
        got = self._raw.readinto(view[:wanted]) or 0
        if not got:
            raise OSError(errno.EIO, "the file ends too early")
        self._at += got
        return got

    def close(self) -> None:
        if not self.closed:
            self._raw.close()
        super().close()


class Around(RawIOBase):
    """A raw stream that gives zeros where reading fails with OSError, and remembers where: `holes`, [from, to).

    Reads that fail for longer than `most_s` altogether end the trying: everything from there on counts as a hole.
    """

    def __init__(self, raw: RawIOBase, *, most_s: float = MOST_FAILING_S) -> None:
        super().__init__()
        self._raw, self._left_s = raw, most_s
        self._size, self._at = raw.seek(0, io.SEEK_END), 0
        self.holes: list[Range] = []

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        self._at = _moved(offset, whence, at=self._at, size=self._size)
        return self._at

    def readinto(self, buffer: object, /) -> int:
        view = memoryview(buffer).cast("B")  # type: ignore[arg-type]
        wanted = min(len(view), self._size - self._at)
        if wanted <= 0:
            return 0
        if self._left_s <= 0:
            return self._skip(view[:wanted], self._at + wanted)
        got, _ = self._try(self._at, view[:wanted])
        if got is None:
            page_end = self._at - self._at % PAGE + PAGE
            got, slow = self._try(self._at, view[: min(wanted, page_end - self._at)])
            if got is None:
                end = min(page_end if slow else self._end_of_hole(self._at), self._size)
                return self._skip(view[: min(wanted, end - self._at)], end)
        if not got:  # it has become shorter
            return self._skip(view[:wanted], self._size)
        self._at += got
        return got

    def close(self) -> None:
        if not self.closed:
            self._raw.close()
        super().close()

    def _try(self, at: int, view: memoryview) -> tuple[int | None, bool]:
        """Read; None where it fails, and whether it took its time to."""
        begun_s = clock.ticks_s()
        try:
            self._raw.seek(at)
            return self._raw.readinto(view) or 0, False
        except (OSError, DrillError):
            took_s = clock.ticks_s() - begun_s
            self._left_s -= took_s
            return None, took_s > _SLOW_S

    def _end_of_hole(self, start: int) -> int:
        """Return where, within the page, bytes can be read again after `start`, which cannot."""
        page_end = min(start - start % PAGE + PAGE, self._size)
        probe = memoryview(bytearray(1))
        bad, good = start, page_end
        first = start - start % _NARROWEST + _NARROWEST
        near = [start + (1 << power) for power in range(_NARROWEST.bit_length() - 1)]
        for place in (*(p for p in near if p < min(first, page_end)), *range(first, page_end, _NARROWEST)):
            if self._try(place, probe)[0]:
                good = place
                break
            bad = place
        while bad + 1 < good:
            middle = (bad + good) // 2
            if self._try(middle, probe)[0]:
                good = middle
            else:
                bad = middle
        return good

    def _skip(self, view: memoryview, end: int) -> int:
        view[:] = bytes(len(view))
        add_range(self.holes, (self._at, end))
        self._at += len(view)
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


def _moved(offset: int, whence: int, *, at: int, size: int) -> int:
    to = offset + (size if whence == io.SEEK_END else at if whence == io.SEEK_CUR else 0)
    if to < 0:
        raise OSError(errno.EINVAL, "negative position")
    return to
