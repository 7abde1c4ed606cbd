"""The worst sector of a copy, found by trying: the one whose loss costs most promised files, the first of equals.

Flows in: an opened copy, what each of its files is worth. Flows out: (path of the file, sector number).
Must not know: promises, restore. In a folder every sector of a file costs that file. In an archive the bytes that a
reader needs before it can list anything cost everything, so those are tried first, from the front.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from io import RawIOBase

from drill.copies import archive_view
from drill.errors import DrillError
from drill.faults.draw import Damage
from drill.faults.overlay import Overlay
from drill.globs import matcher
from drill.model import Entry, Problem, Store, View
from drill.shelf import OpenCopy


def worst_sector(
    found: OpenCopy, *, worth: Callable[[Entry], int], sector_size: int, files: tuple[str, ...] | None = None
) -> tuple[str, int] | None:
    """Return the worst sector as (path, number) among the files that match, None where there is no byte to lose."""
    assert found.store is not None
    matches = matcher(("**",) if files is None else files)
    if not found.is_archive:
        left = (entry for entry in found.entries if entry.size != 0 and (files is None or matches(entry.path)))
        best = max(left, key=worth, default=None)  # max keeps the first of equals
        return None if best is None else (best.path, 0)
    archive = next(iter(found.store.files()), None)
    if archive is None or not archive.size or (files is not None and not matches(archive.path)):
        return None
    promised = [entry for entry in found.entries if worth(entry)]
    return archive.path, _worst_in_archive(found, archive, promised, worth, sector_size)


def _worst_in_archive(
    found: OpenCopy, archive: Entry, promised: Sequence[Entry], worth: Callable[[Entry], int], sector_size: int
) -> int:
    if found.copy.archive == ".tar":
        return _worst_in_tar(promised, worth, sector_size)
    if not promised or _loses_all(found, archive, promised, 0, sector_size):
        return 0
    opening = _Trace()
    _view(found, archive, opening.wrap).entries()
    heads = opening.sectors(sector_size)
    fatal = next((s for s in heads if _loses_all(found, archive, promised, s, sector_size)), None)
    costs: Counter[int] = Counter()
    for number, entry in enumerate(promised, start=1):
        trace = _Trace()
        _view(found, archive, trace.wrap).deliver([entry], _Ignore())
        for sector in trace.sectors(sector_size):
            costs[sector] += worth(entry)
        common = sum(worth(e) for e in promised[:number])
        if fatal is not None and not any(costs[s] == common for s in costs if s < fatal):
            return fatal  # no single sector before the fatal one costs every promised file
    before = {s: cost for s, cost in costs.items() if fatal is None or s < fatal}
    everything = sum(worth(e) for e in promised)
    if fatal is not None and max(before.values(), default=0) < everything:
        return fatal
    return min(before, key=lambda s: (-before[s], s), default=0)


def _worst_in_tar(promised: Sequence[Entry], worth: Callable[[Entry], int], sector_size: int) -> int:
    """Plain tar: a reader finds the next header again, so a sector costs the members whose header or data it holds.

    An entry's index is where its data begins; its header is the 512 bytes before (POSIX ustar).
    """
    costs: Counter[int] = Counter()
    for entry in promised:
        first, end = entry.index - 512, entry.index + (entry.size or 0)
        for sector in range(first // sector_size, -(-end // sector_size)):
            costs[sector] += worth(entry)
    return min(costs, key=lambda sector: (-costs[sector], sector), default=0)


def _loses_all(found: OpenCopy, archive: Entry, promised: Sequence[Entry], sector: int, sector_size: int) -> bool:
    """Try it: say whether not one promised member comes out while that sector cannot be read."""
    damage = Damage(bad={(sector * sector_size, sector_size)})
    try:
        _view(found, archive, lambda raw: Overlay(raw, damage, archive.size)).deliver(promised, _FirstWhole())
    except _CameWhole:
        return False
    return True


def _view(found: OpenCopy, archive: Entry, wrap: Callable[[RawIOBase], RawIOBase]) -> View:
    store = found.store
    assert store is not None and found.copy.archive is not None
    wrapped = Store(files=lambda: [archive], open=lambda entry: wrap(store.open(entry)))
    return archive_view(wrapped, found.copy.archive, found.copy.password)


class _Trace:
    """Remembers which bytes were read through the streams it wraps."""

    def __init__(self) -> None:
        self.ranges: list[tuple[int, int]] = []

    def wrap(self, raw: RawIOBase) -> RawIOBase:
        return _Traced(raw, self.ranges)

    def sectors(self, sector_size: int) -> list[int]:
        found = {s for start, end in self.ranges for s in range(start // sector_size, -(-end // sector_size))}
        return sorted(found)


class _Traced(RawIOBase):
    def __init__(self, base: RawIOBase, ranges: list[tuple[int, int]]) -> None:
        super().__init__()
        self._base, self._ranges = base, ranges

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return self._base.seekable()

    def tell(self) -> int:
        return self._base.tell()

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._base.seek(offset, whence)

    def readinto(self, buffer: object, /) -> int:
        start = self._base.tell()
        got = self._base.readinto(buffer) or 0  # type: ignore[arg-type]
        if got:
            self._ranges.append((start, start + got))
        return got

    def close(self) -> None:
        if not self.closed:
            self._base.close()
        super().close()


class _Ignore:
    def begin(self, entry: Entry) -> None:
        """Take nothing."""

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        """Take nothing."""

    def end(self, entry: Entry, problem: Problem | None) -> None:
        """Take nothing."""


class _CameWhole(DrillError):
    """One member came out whole; the rest need not be tried."""


class _FirstWhole(_Ignore):
    def end(self, entry: Entry, problem: Problem | None) -> None:
        if problem is None:
            raise _CameWhole(entry.path)
