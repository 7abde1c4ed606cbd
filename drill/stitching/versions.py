"""Versions: damaged versions of one file, their bytes as they lie in scratch, and a file put together from them.

Flows in: paths in scratch. Flows out: bytes, a View of the file put together. Must not know: digests, what is likely.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from types import TracebackType
from typing import Self

from drill.errors import NoRoom
from drill.model import Entry, Receiver, View

CHUNK = 1024 * 1024
_IN_MEMORY = 32 * 1024 * 1024  # all versions together

Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Version:
    """One damaged version of a file: the copy it is from, where its bytes lie, how many came, and which of these are
    holes ([from, to), in order, apart). `declared` is the size that its copy says it has."""

    source: str
    path: Path
    size: int
    holes: tuple[Range, ...] = ()
    declared: int | None = None


@dataclass(frozen=True, slots=True)
class Cut:
    """A stretch of the file and the version that has its right bytes; None where they are zeros that nobody gave."""

    start: int
    end: int
    version: int | None


@dataclass(frozen=True, slots=True)
class Stitched:
    """A file put together: its cuts in order, the copies whose bytes are needed, and `held`: for each stretch that not
    all copies have right, the copies that do."""

    size: int
    cuts: tuple[Cut, ...]
    sources: tuple[str, ...]
    held: tuple[frozenset[str], ...]


class Bytes:
    """The bytes of several versions, for reading; small files are in memory. Errors: NoRoom, where scratch fails."""

    def __init__(self, versions: Sequence[Version]) -> None:
        self._versions = versions
        self._files: list[FileIO] = []
        self._small: dict[int, bytes] = {}

    def __enter__(self) -> Self:
        try:
            for version in self._versions:
                self._files.append(version.path.open("rb", buffering=0))
            if sum(version.size for version in self._versions) <= _IN_MEMORY:
                self._small = {number: file.read() for number, file in enumerate(self._files)}
        except OSError as error:
            self._close()
            raise _scratch_failed(error) from error
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._close()

    def _close(self) -> None:
        for file in self._files:
            file.close()

    def read(self, number: int | None, start: int, end: int) -> bytes:
        """Return bytes start to end of a version; zeros for None and where it is shorter."""
        if number is None:
            got = b""
        elif number in self._small:
            got = self._small[number][start:end]
        else:
            got = self._read(self._files[number], start, end)
        return got if len(got) == end - start else got + bytes(end - start - len(got))

    def _read(self, file: FileIO, start: int, end: int) -> bytes:
        try:
            file.seek(start)
            blocks = []
            while start < end and (block := file.read(end - start)):
                blocks.append(block)
                start += len(block)
        except OSError as error:
            raise _scratch_failed(error) from error
        return blocks[0] if len(blocks) == 1 else b"".join(blocks)

    def pieces(self, number: int | None, start: int, end: int) -> Iterator[bytes]:
        """Yield bytes start to end of a version in pieces that fit in memory."""
        for at in range(start, end, CHUNK):
            yield self.read(number, at, min(at + CHUNK, end))


def as_view(stitched: Stitched, versions: Sequence[Version], entry: Entry) -> View:
    """Return the file put together as a view that holds nothing else, for restore to write it."""

    def deliver(wanted: Sequence[Entry], receiver: Receiver) -> None:
        with Bytes(versions) as content:
            for each in wanted:
                receiver.begin(each)
                for cut in stitched.cuts:
                    for piece in content.pieces(cut.version, cut.start, cut.end):
                        receiver.data(piece)
                receiver.end(each, None)

    return View(lambda: [entry], deliver)


def _scratch_failed(error: OSError) -> NoRoom:
    return NoRoom(f"cannot be read: {error.strerror}")
