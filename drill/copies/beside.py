"""A large file's next bytes are read, unpacked and checked on one thread while another writes those before them.

Flows in: pieces of a file as they are made, a receiver. Flows out: begin, data and end calls, as from one thread alone.
Must not know: formats, where bytes come from. What makes the pieces runs on one thread at a time, and never after
`send` has returned.
"""

from collections import deque
from collections.abc import Generator, Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import closing
from types import TracebackType
from typing import Protocol, Self

from drill.copies.raw import Explain, send
from drill.model import Entry, Problem, Receiver

Piece = bytes | memoryview

_LARGE = 1024 * 1024
PIECE = 512 * 1024
"""Bytes of a large file's piece: handing over fewer at a time costs more than it saves."""


def is_large(entry: Entry) -> bool:
    """Say whether a file is, or may be, worth another thread."""
    return entry.size is None or entry.size >= _LARGE


class Send(Protocol):
    """What sends one file: `raw.send`, or the same with another thread beside it."""

    def __call__(
        self, entry: Entry, receiver: Receiver, pieces: Iterator[Piece], /, *, why: Explain
    ) -> Problem | None: ...


class Turns:
    """Two buffers that take turns: what one holds stays while the other is filled."""

    def __init__(self, size: int) -> None:
        self._views = deque(memoryview(bytearray(size)) for _ in range(2))

    def next(self, size: int) -> memoryview:
        """Return room for `size` bytes, or for as many as there can be, in the other buffer."""
        self._views.rotate()
        return self._views[0][:size]


class Beside:
    """The other thread; a context manager that leaves none behind. None is begun before there is something for it."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(1, "beside")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._pool.shutdown()

    def send(self, entry: Entry, receiver: Receiver, pieces: Iterator[Piece], *, why: Explain) -> Problem | None:
        """Send a file as `raw.send` does. A piece must stay as it is while the next one is made, and no longer."""
        if not is_large(entry):
            return send(entry, receiver, pieces, why=why)
        with closing(self._ahead(pieces)) as ahead:
            return send(entry, receiver, ahead, why=why)

    def _ahead(self, pieces: Iterator[Piece]) -> Generator[Piece, None, None]:
        coming = self._pool.submit(next, pieces, None)
        try:
            while (piece := coming.result()) is not None:
                coming = self._pool.submit(next, pieces, None)
                yield piece
        finally:
            wait((coming,))
