"""Streams that keep their own place: what is common to every raw stream that is laid over, or stands in for, another.

Flows in: sizes, bytes. Flows out: raw streams. Must not know: files, formats, faults.
"""

import errno
import io
from io import RawIOBase


class Placed(RawIOBase):
    """A raw stream of `size` bytes that keeps its own `place`; what is read there is the subclass's.

    It can be sought in past its end, as a file can. Errors: OSError (EINVAL) before its first byte.
    """

    def __init__(self, size: int) -> None:
        super().__init__()
        self.size, self.place = size, 0

    def readable(self) -> bool:
        """Say that it can be read."""
        return True

    def seekable(self) -> bool:
        """Say that it can be sought in."""
        return True

    def tell(self) -> int:
        """Return the place that is read next."""
        return self.place

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        """Go to a place and return it."""
        to = offset + (self.size if whence == io.SEEK_END else self.place if whence == io.SEEK_CUR else 0)
        if to < 0:
            raise OSError(errno.EINVAL, "negative position")
        self.place = to
        return to

    def room(self, buffer: object) -> memoryview:
        """Return as much of a buffer as there are bytes left to fill it."""
        view = memoryview(buffer).cast("B")  # type: ignore[arg-type]
        return view[: max(0, self.size - self.place)]


class InMemory(Placed):
    """Bytes held in memory as a raw stream."""

    def __init__(self, content: bytes) -> None:
        super().__init__(len(content))
        self._content = content

    def readinto(self, buffer: object, /) -> int:
        """Give the bytes at this place."""
        view = self.room(buffer)
        view[:] = memoryview(self._content)[self.place : self.place + len(view)]
        self.place += len(view)
        return len(view)
