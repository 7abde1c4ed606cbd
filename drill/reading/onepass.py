"""One pass over one file's bytes: all its digests, the digests of its sixteenths, and when a picture was taken.

Flows in: the bytes in pieces. Flows out: a Seen. Must not know: copies, media, threads. The head and the tail in which
a picture's own record of its time lies are kept as they go by, so that nothing is read a second time.
"""

from collections.abc import Iterable
from datetime import datetime

import xxhash

from drill import capture
from drill.digests import Digester
from drill.model import Seen, Taken

PARTS = 16
SMALLEST_PARTED = 4096  # smaller files have no parts (see `drill.model.Seen`)


class OnePass:
    """Takes a file's bytes and says what they show; with `not_after` also its parts and when it was taken.

    `size` is the listed one: where another number of bytes comes, the real size counts and there are no parts.
    """

    __slots__ = ("_digester", "_not_after", "_parts", "_path", "_window")

    def __init__(self, path: str, size: int | None, *, kinds: Iterable[str], not_after: datetime | None) -> None:
        self._path = path
        self._digester = Digester(kinds)
        self._not_after = not_after
        capturing = not_after is not None
        self._parts = _Parts(size) if capturing and size is not None and size >= SMALLEST_PARTED else None
        self._window = _Edges(size) if capturing and capture.can_have(path) else None

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        """Take the next bytes; the chunk may be reused after the call."""
        if self._window is not None:
            self._window.data(chunk, at=self._digester.size)
        if self._parts is not None:
            self._parts.data(memoryview(chunk))
        self._digester.update(chunk)

    def seen(self) -> Seen:
        """Return what all the bytes showed."""
        size = self._digester.size
        parts = b"" if self._parts is None else self._parts.digests(size)
        taken, whole = None, None
        if self._window is not None and self._not_after is not None:
            taken = self._window.taken(size, not_after=self._not_after)
            whole = self._window.is_whole(self._path, size)
        return Seen(size, self._digester.digests(), parts, taken, self._not_after is not None, whole)


class _Parts:
    """Digests each sixteenth of a file of known size: part i ends at byte size × i // 16."""

    __slots__ = ("_at", "_ends", "_found", "_hash", "_size")

    def __init__(self, size: int) -> None:
        self._size, self._at = size, 0
        self._ends = [size * number // PARTS for number in range(1, PARTS + 1)]
        self._found: list[bytes] = []
        self._hash = xxhash.xxh3_64()

    def data(self, chunk: memoryview) -> None:
        start, self._at = self._at, self._at + len(chunk)
        if start == 0 and self._at == self._size:  # a small file in one piece: no running digest needed
            begins = [0, *self._ends[:-1]]
            self._found = [xxhash.xxh3_64_digest(chunk[a:b]) for a, b in zip(begins, self._ends, strict=True)]
            return
        while len(self._found) < PARTS and self._ends[len(self._found)] <= self._at:
            end = self._ends[len(self._found)] - start
            self._hash.update(chunk[:end])
            self._found.append(self._hash.digest())
            self._hash.reset()
            chunk, start = chunk[end:], start + end
        if len(self._found) < PARTS:
            self._hash.update(chunk)

    def digests(self, size: int) -> bytes:
        return b"".join(self._found) if size == self._size else b""


class _Edges:
    """Keeps the head of a file, and its tail where the size is known beforehand."""

    __slots__ = ("_head", "_size", "_tail")

    def __init__(self, size: int | None) -> None:
        self._size = size
        self._head, self._tail = bytearray(), bytearray()

    def data(self, chunk: bytes | bytearray | memoryview, *, at: int) -> None:
        if at < capture.HEAD_BYTES:
            self._head += chunk[: capture.HEAD_BYTES - at]
        if self._size is not None:
            begins = self._size - capture.TAIL_BYTES - at
            if begins < len(chunk) and len(self._tail) < capture.TAIL_BYTES:
                self._tail += chunk[max(0, begins) :]

    def is_whole(self, path: str, size: int) -> bool | None:
        if size != self._size:
            return None
        return capture.is_whole(path, bytes(self._head[:16]), bytes(self._tail))

    def taken(self, size: int, *, not_after: datetime) -> Taken | None:
        tail = bytes(self._tail) if size == self._size else b""
        return capture.taken(capture.Window(size, bytes(self._head), tail), not_after=not_after)
