"""Parts: what a salvage gives of files that no copy gives whole, kept in scratch until they are stitched or given up.

Flows in: copies under a fault, files wanted, kept headers. Flows out: for each file a Part. What no fault touches is
salvaged once for all drills of a shoot, as far as scratch has room. Must not know: promises' paths, verdicts.
"""

import shutil
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from drill.errors import NoRoom
from drill.extents import Kept
from drill.faults import Faulted
from drill.model import Collector, Entry, Store, View
from drill.rehearse.reads import Read, Reads, check_still_there
from drill.restore import Key, Restored, collect, restore
from drill.salvage import deliver_around, salvage
from drill.shelf import OpenCopy
from drill.stitching import Version
from drill.verify import Finding

_MOST_KEPT = 4  # of what is free in scratch, one part in so many is for what later drills can use again


@dataclass(frozen=True, slots=True)
class Part:
    """What a salvage gave of one file: the read, and where its bytes lie if they are no promised file's."""

    read: Read
    version: Version | None


@dataclass(frozen=True, slots=True)
class Source:
    """One way to salvage an archive: the headers to use in the place of its own, what it then lists (None: what it
    always listed), and which try this is."""

    kept: Kept | None = None
    listing: Sequence[Entry] | None = None
    turn: int = 0


class Parts:
    """The parts that a run has at hand. They lie where its reads do, for one drill or, if shared, until `forget`."""

    def __init__(self, reads: Reads) -> None:
        self._reads = reads
        self._shared: dict[tuple[str, str, int, int], Part] = {}
        self._passing: list[Path] = []
        self._kept = 0

    def of(self, found: OpenCopy, faulted: Faulted, wanted: Sequence[Entry], source: Source) -> dict[Key, Part]:
        """Salvage files of a copy; every one is judged as any other read. Errors: Unfinished."""
        results: dict[Key, Part] = {}
        left = []
        for entry in wanted:
            known = self._shared.get((found.copy.id, entry.path, entry.index, source.turn))
            if known is None or faulted.touches(entry):
                left.append(entry)
            else:
                results[entry.path, entry.index] = known
        if not left:
            return results
        paths = {entry: self._reads.fresh_path() for entry in left}
        judge = self._reads.judge_of(found, paths, leaves_others=True)
        came = collect(_way(found, faulted.store, source), paths, flusher=self._reads.flusher, judge=judge)
        for entry, path in paths.items():
            part = self._part(found.copy.id, entry, came[entry.path, entry.index], path)
            results[entry.path, entry.index] = part
            self._settle(found, faulted, entry, source, part)
        check_still_there(found, (part.read for part in results.values()))
        return results

    def put_together(self, view: View, entry: Entry, found: OpenCopy) -> Read:
        """Write, flush and judge a file that was put together, as any other; `found` is a copy that it is from.

        Errors: Unfinished.
        """
        path = self._reads.fresh_path()
        judge = self._reads.judge_of(found, {entry: path})
        came = restore(view, {entry: path}, flusher=self._reads.flusher, judge=judge)
        return self._reads.read_of(came[entry.path, entry.index], path)

    def room(self) -> int:
        """Return how many bytes of parts may lie in scratch at once. Errors: NoRoom."""
        try:
            return shutil.disk_usage(self._reads.folder).free // _MOST_KEPT
        except OSError as error:
            raise NoRoom(f"vanished during the run: {error.strerror}") from None

    def let_go(self) -> None:
        """Remove what only the drill that is done could use."""
        for path in self._passing:
            with suppress(OSError):  # it is scratch, and removed with the rest of it
                path.unlink()
        self._passing.clear()

    def forget(self) -> None:
        """Remove every part that is left."""
        self._passing += [part.version.path for part in self._shared.values() if part.version is not None]
        self.let_go()
        self._shared.clear()
        self._kept = 0

    def _part(self, id_: str, entry: Entry, came: Restored[Finding], path: Path) -> Part:
        version = None
        if came.found is not None and not self._reads.is_promised(came.found):
            version = Version(id_, path, came.size, tuple(_merged(came.holes, came.size)), entry.size)
        return Part(self._reads.read_of(came, path), version)

    def _settle(self, found: OpenCopy, faulted: Faulted, entry: Entry, source: Source, part: Part) -> None:
        """Share a part with later drills, or note that it goes with this one."""
        size = part.version.size if part.version is not None else 0
        if not faulted.touches(entry) and (not size or self._kept + size <= self.room()):
            self._kept += size
            self._shared[found.copy.id, entry.path, entry.index, source.turn] = part
        elif part.version is not None:
            self._passing.append(part.version.path)


def _way(found: OpenCopy, store: Store, source: Source) -> Callable[[Sequence[Entry], Collector], None]:
    if found.copy.archive is None:
        return partial(deliver_around, store)

    def deliver(wanted: Sequence[Entry], collector: Collector) -> None:
        archive, password = found.copy.archive or "", found.copy.password
        salvage(store, archive, password, wanted, collector, kept=source.kept, listing=source.listing)

    return deliver


def _merged(holes: Iterable[tuple[int, int]], size: int) -> list[tuple[int, int]]:
    """Return holes in order, apart, and within what came."""
    merged: list[tuple[int, int]] = []
    for start, end in sorted((max(start, 0), min(end, size)) for start, end in holes):
        if start >= end:
            continue
        if merged and start <= merged[-1][1]:
            merged[-1] = merged[-1][0], max(end, merged[-1][1])
        else:
            merged.append((start, end))
    return merged
