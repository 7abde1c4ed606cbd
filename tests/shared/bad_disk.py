"""A disk with bad sectors, and a collector of what a salvage still gets off it."""

import errno
from collections.abc import Iterable
from io import RawIOBase

from gather import Gather

from drill.extents import Anatomy
from drill.model import Entry


class BadDisk(RawIOBase):
    """Archive bytes on a disk with bad sectors: what lies before one comes first, then OSError(EIO)."""

    def __init__(self, content: bytes, bad: Iterable[int] = (), sector: int = 4096) -> None:
        super().__init__()
        self._content, self._at = content, 0
        self._bad, self._sector = frozenset(bad), sector
        self.bytes_read = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = 0) -> int:
        self._at = offset + (0, self._at, len(self._content))[whence]
        return self._at

    def readinto(self, buffer: bytearray, /) -> int:  # type: ignore[override]
        end = min(self._at + len(buffer), len(self._content))
        first = self._at // self._sector
        for number in range(first, -(-end // self._sector)):
            if number in self._bad:
                if number == first:
                    raise OSError(errno.EIO, "Input/output error")
                end = number * self._sector
                break
        chunk = self._content[self._at : end]
        buffer[: len(chunk)] = chunk
        self._at += len(chunk)
        self.bytes_read += len(chunk)
        return len(chunk)


class Salvaged(Gather):
    """What came of each entry, and where it has holes. A hole holds zeros and lies inside its entry."""

    def __init__(self) -> None:
        super().__init__()
        self.holes: dict[Entry, list[tuple[int, int]]] = {}
        self._noted: list[tuple[int, int]] = []

    def hole(self, start: int, end: int) -> None:
        assert self._now is not None and 0 <= start < end
        self._noted.append((start, end))

    def end(self, entry: Entry, problem: object) -> None:
        super().end(entry, problem)  # type: ignore[arg-type]
        content, _ = self.got[entry]
        for start, end in self._noted:
            assert problem is not None and entry.size is not None and end <= entry.size
            assert not content[start:end].strip(b"\0")
        self.holes[entry], self._noted = self._noted, []

    def whole(self, files: dict[str, bytes]) -> set[str]:
        """Return the paths that came with all their bytes right, as a judge of the content finds them."""
        return {e.path for e, (content, _) in self.got.items() if files.get(e.path) == content and not self.holes[e]}

    def wrong(self, files: dict[str, bytes]) -> set[str]:
        """Return the paths whose bytes are wrong without a word."""
        return {e.path for e, (content, p) in self.got.items() if p is None and files.get(e.path) != content}


def foretold(anatomy: Anatomy, sector: int, size: int = 4096) -> tuple[set[str], set[str], set[str]]:
    """Return the paths that the loss of one sector costs: at least, at most, and who stops at its first error."""
    least: set[str] = set()
    most: set[str] = set()
    stops = len(anatomy.members)
    for extent in anatomy.extents:
        if extent.start < (sector + 1) * size and sector * size < extent.end:
            least |= {e.path for e in anatomy.members[slice(*extent.least)]}
            most |= {e.path for e in anatomy.members[slice(*extent.most)]}
            stops = min(stops, extent.stops)
    return least, most, {e.path for e in anatomy.members[stops:]}
