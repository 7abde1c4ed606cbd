"""Bytes to look into: opened as often as a look needs them, with every failed read remembered.

Flows in: bytes, or a way to open a stream. Flows out: seekable streams. Must not know: formats, where the bytes lie. No
stream here has a file's name or number: a library that finds one would read past the stream.
"""

import io
from collections.abc import Callable
from io import RawIOBase

from drill.copies.raw import explain
from drill.errors import DrillError
from drill.model import Entry, Problem, Store

Source = bytes | Callable[[], RawIOBase]
_BLOCK = 256 * 1024


class Watched(RawIOBase):
    """A stream that remembers the first read that failed: a decoder may make something else of it."""

    def __init__(self, raw: RawIOBase | io.BytesIO, troubles: list[Problem]) -> None:
        super().__init__()
        self._raw, self._troubles = raw, troubles

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return self._raw.seekable()

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        return self._raw.seek(offset, whence)

    def tell(self) -> int:
        return self._raw.tell()

    def readinto(self, buffer: memoryview | bytearray, /) -> int:  # type: ignore[override]
        at = self._raw.tell()
        try:
            return self._raw.readinto(buffer) or 0
        except (OSError, DrillError) as error:
            self._troubles.append(explain(error, at))
            raise

    def close(self) -> None:
        self._raw.close()
        super().close()


class Opener:
    """One file's source: opens it, and keeps what went wrong in `troubles`, the first first."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self.troubles: list[Problem] = []

    def raw(self) -> Watched:
        """Open it unbuffered, at its start. Errors: OSError, DrillError."""
        try:
            opened = io.BytesIO(self._source) if isinstance(self._source, bytes) else self._source()
        except (OSError, DrillError) as error:
            self.troubles.append(explain(error, 0))
            raise
        return Watched(opened, self.troubles)

    def buffered(self) -> io.BufferedReader:
        """Open it buffered, at its start. Errors: OSError, DrillError."""
        return io.BufferedReader(self.raw(), _BLOCK)

    def content(self) -> bytes:
        """Return all of it. Errors: OSError, DrillError."""
        if isinstance(self._source, bytes):
            return self._source
        with self.buffered() as stream:
            return stream.read()

    def store(self, size: int) -> Store:
        """Return it as a store of one file."""
        return Store(lambda: [Entry("file", size)], lambda entry: self.raw())
