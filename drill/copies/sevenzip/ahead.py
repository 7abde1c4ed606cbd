"""Blocks of a 7z archive unpacked ahead by one or two threads, within a bound on memory.

Flows in: a stream of the archive's bytes, blocks. Flows out: for each block, in order, what behaves as its Run. Must
not know: receivers. Blocks do not depend on each other, and the decompressor lets other threads go on while it works.
Whoever takes the bytes sees one member after the other, in order, as from a single thread.
"""

from collections import deque
from collections.abc import Collection, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from io import SEEK_SET, RawIOBase
from threading import Condition, Lock
from types import TracebackType
from typing import Self

from drill.copies.beside import Piece
from drill.copies.raw import Steady
from drill.copies.sevenzip.layout import AES, COPY, LZMA, LZMA2, Block, Member
from drill.copies.sevenzip.unpack import Differs, Run

WORKERS = 2
_MOST_MEMORY = 144 * 1024 * 1024  # for dictionaries and what is unpacked ahead
_MOST_AHEAD = 96 * 1024 * 1024
_LEAST_AHEAD = 16 * 1024 * 1024  # so little takes no worker away
_OWN = 1024 * 1024  # what the block at hand may always hold, whatever those after it do
_BLOCKS_AHEAD = 16

Wanted = tuple[Block, Sequence[Member]]
"""A block, and its members up to the last one that is wanted."""


def can_go_ahead(wanted: Sequence[Wanted]) -> bool:
    """Say whether unpacking ahead is worth it, and how much memory it takes is known."""
    known = all(set(block.methods) <= {AES, COPY, LZMA, LZMA2} for block, _ in wanted)
    return known and any(block.methods != (COPY,) for block, _ in wanted)


def _bounds(wanted: Sequence[Wanted]) -> tuple[int, int]:
    """Return how many workers there may be, and how many bytes ahead beside the dictionaries of all of them."""
    largest = max(block.dictionary for block, _ in wanted)
    workers = min(WORKERS, len(wanted))
    if _MOST_MEMORY - workers * largest < _LEAST_AHEAD:
        workers = 1
    return workers, max(_LEAST_AHEAD, min(_MOST_AHEAD, _MOST_MEMORY - workers * largest))


@dataclass(frozen=True, slots=True)
class _End:
    """The end of a member: whether its check value differs, or what ended the block."""

    differs: bool = False
    failure: Exception | None = None


@dataclass(frozen=True, slots=True)
class _Begun:
    """A block that can be unpacked, or why it cannot."""

    refused: Exception | None = None


class _Dropped(Exception):
    """Nobody takes what a worker unpacks any more."""


@dataclass(slots=True, eq=False)
class _Pipe:
    """What came of one block and was not taken yet."""

    waiting: deque[bytes | _Begun | _End] = field(default_factory=deque)
    held: int = 0
    closed: bool = False


class AheadRun:
    """A block that a worker unpacks: as a Run, for whoever takes its members in order."""

    def __init__(self, ahead: "Ahead", pipe: _Pipe) -> None:
        self._ahead, self._pipe = ahead, pipe
        self.failure: Exception | None = None
        self.given = 0

    def begun(self) -> "AheadRun":
        """Return itself, or raise what a Run of the block raises when it is made."""
        first = self._ahead._get(self._pipe)
        if isinstance(first, _Begun) and first.refused is not None:
            raise first.refused
        return self

    def bytes_of(self, member: Member) -> Iterator[Piece]:
        """Yield the next member's bytes; raise Differs after them when its CRC differs, or what ended the block."""
        while isinstance(item := self._ahead._get(self._pipe), bytes):
            self.given += len(item)
            yield item
        assert isinstance(item, _End)
        if item.failure is not None:
            self.failure = item.failure
            raise item.failure
        if item.differs:
            raise Differs

    def skip(self, member: Member) -> None:
        """Pass over the next member."""
        try:
            for _ in self.bytes_of(member):
                pass
        except Exception:
            return  # kept as the run's failure, where it is one


class Ahead:
    """Blocks unpacked by workers; a context manager that leaves no thread behind."""

    def __init__(self, raw: RawIOBase, wanted: Sequence[Wanted], indices: Collection[int]) -> None:
        self._raw, self._lock, self._wanted, self._indices = raw, Lock(), wanted, indices
        workers, self._room = _bounds(wanted)
        self._changed = Condition()
        self._held = 0
        self._current: _Pipe | None = None
        self._stopped = False
        self._pool = ThreadPoolExecutor(workers, "unpack")
        self._pipes: deque[_Pipe] = deque()
        self._coming = iter(wanted)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._changed:
            self._stopped = True
            self._changed.notify_all()
        self._pool.shutdown(cancel_futures=True)

    def runs(self) -> Iterator[AheadRun]:
        """Yield one run for each block in order; what the last one still holds is let go of."""
        for _ in self._wanted:
            while len(self._pipes) < _BLOCKS_AHEAD and (coming := next(self._coming, None)) is not None:
                pipe = _Pipe()
                self._pipes.append(pipe)
                self._pool.submit(self._unpack, pipe, *coming)
            pipe = self._pipes.popleft()
            with self._changed:
                self._current = pipe
                self._changed.notify_all()
            yield AheadRun(self, pipe)
            with self._changed:
                self._held -= pipe.held
                pipe.closed, pipe.held = True, 0
                pipe.waiting.clear()
                self._changed.notify_all()

    def _unpack(self, pipe: _Pipe, block: Block, members: Sequence[Member]) -> None:
        try:
            try:
                run = Run(Steady(_Turn(self._raw, self._lock)), block)
            except Exception as error:
                self._put(pipe, _Begun(error))
                return
            self._put(pipe, _Begun())
            self._unpack_members(pipe, run, members)
        except _Dropped:
            return
        except Exception as error:  # said by whoever takes the block
            with suppress(_Dropped):
                self._put(pipe, _End(failure=error))

    def _unpack_members(self, pipe: _Pipe, run: Run, members: Sequence[Member]) -> None:
        for member in members:
            end = _End()
            if member.index in self._indices:
                try:
                    for chunk in run.bytes_of(member):
                        self._put(pipe, bytes(chunk))
                except Differs:
                    end = _End(differs=True)
            else:
                run.skip(member)
                if run.failure is not None:
                    raise run.failure
            self._put(pipe, end)

    def _put(self, pipe: _Pipe, item: bytes | _Begun | _End) -> None:
        size = len(item) if isinstance(item, bytes) else 0
        with self._changed:
            while size and not (self._free(pipe) or self._stopped or pipe.closed):
                self._changed.wait()
            if self._stopped or pipe.closed:
                raise _Dropped
            pipe.waiting.append(item)
            pipe.held += size
            self._held += size
            self._changed.notify_all()

    def _free(self, pipe: _Pipe) -> bool:
        return self._held < self._room or (pipe is self._current and pipe.held < _OWN)

    def _get(self, pipe: _Pipe) -> bytes | _Begun | _End:
        with self._changed:
            while not pipe.waiting:
                self._changed.wait()
            item = pipe.waiting.popleft()
            if isinstance(item, bytes):
                pipe.held -= len(item)
                self._held -= len(item)
                self._changed.notify_all()
            return item


class _Turn(RawIOBase):
    """A stream that several threads read, each at its own place."""

    def __init__(self, raw: RawIOBase, lock: Lock) -> None:
        super().__init__()
        self._raw, self._lock, self._at = raw, lock, 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = SEEK_SET) -> int:
        self._at = offset + (self._at if whence else 0)
        return self._at

    def readinto(self, buffer: memoryview | bytearray, /) -> int:  # type: ignore[override]
        with self._lock:
            self._raw.seek(self._at)
            got = self._raw.readinto(buffer) or 0
        self._at += got
        return got
