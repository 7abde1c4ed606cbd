"""Parts: what a salvage gives of files that no copy gives whole, kept in scratch until they are stitched or given up.

Flows in: copies under a fault, files wanted, kept headers. Flows out: for each file a Part. What no fault touches is
salvaged once for all drills of a shoot, as far as scratch has room. Must not know: promises' paths, verdicts.
"""

import shutil
from collections.abc import Callable, Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from drill import clock
from drill.errors import NoRoom
from drill.extents import Kept
from drill.faults import Faulted
from drill.model import Collector, Digest, Entry, Store, View
from drill.rehearse.allowance import Allowance
from drill.rehearse.reads import Read, Reads, check_still_there
from drill.restore import Key, Restored, collect, restore
from drill.salvage import add_range, deliver_around, salvage
from drill.shelf import OpenCopy
from drill.stitching import Stitched, Version, stitch
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


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted of a copy: files that a name leads to, whose bytes are of use even in part, and members without a
    name, which are judged and removed at once. No file has more than `most` bytes; None: it is not known."""

    named: Collection[Entry]
    unnamed: Collection[Entry] = ()
    most: int | None = None


_Shared = tuple[str, str, int, int, bool]  # copy, path, index, which try, whether its bytes were left
_Trial = tuple[tuple[Version, ...], tuple[Digest, ...], int | None]


class Parts:
    """The parts that a run has at hand. They lie where its reads do, for one drill or, if shared, until `forget`."""

    def __init__(self, reads: Reads) -> None:
        self._reads = reads
        self._shared: dict[_Shared, Part] = {}
        self._lasting: set[Path] = set()  # of the versions that are shared
        self._tried: dict[_Trial, tuple[Stitched | None, float]] = {}
        self._passing: list[Path] = []
        self._kept = 0

    def of(self, found: OpenCopy, faulted: Faulted, wanted: Wanted, source: Source) -> dict[Key, Part]:
        """Salvage files of a copy; every one is judged as any other read. Errors: Unfinished.

        Scratch is never filled: what has no room there is cut short.
        """
        results: dict[Key, Part] = {}
        left: list[Entry] = []
        for entry in (*wanted.named, *wanted.unnamed):
            known = None if faulted.touches(entry) else self._known(found.copy.id, entry, source, wanted)
            if known is None:
                left.append(entry)
            else:
                results[entry.path, entry.index] = known
        if not left:
            return results
        paths = {entry: self._reads.fresh_path() for entry in left}
        unnamed = set(wanted.unnamed)
        leaving = {path for entry, path in paths.items() if entry not in unnamed}
        room = self.room()
        allowance = Allowance(each=wanted.most, all_of_them=room if wanted.most is None else (_MOST_KEPT - 1) * room)
        came = collect(
            _way(found, faulted.store, source, allowance),
            paths,
            flusher=self._reads.flusher,
            judge=allowance.judged(self._reads.judge_of(found, paths, leaving=leaving)),
        )
        for entry, path in paths.items():
            key = entry.path, entry.index
            results[key] = part = self._part(found.copy.id, entry, came[key], path, left=path in leaving)
            shared = not faulted.touches(entry) and key not in allowance.cut
            self._settle((found.copy.id, entry.path, entry.index, source.turn, path in leaving), part, shared=shared)
        check_still_there(found, (part.read for part in results.values()))
        return results

    def _known(self, id_: str, entry: Entry, source: Source, wanted: Wanted) -> Part | None:
        """Return what an earlier drill salvaged; bytes that it did not leave are had anew where they are wanted."""
        left = self._shared.get((id_, entry.path, entry.index, source.turn, True))
        if left is not None or entry in wanted.named:
            return left
        return self._shared.get((id_, entry.path, entry.index, source.turn, False))

    def stitch(
        self, versions: Sequence[Version], digests: Sequence[Digest], *, size: int | None
    ) -> tuple[Stitched | None, float]:
        """Put a file together; return it and the seconds that took. Of versions that later drills can use again, what
        came of them is known then: trying in vain takes longest. Errors: Unfinished."""
        key = tuple(versions), tuple(digests), size
        if key in self._tried:
            return self._tried[key]
        begun_s = clock.ticks_s()
        found = stitch(versions, digests, size=size)
        answer = found, clock.ticks_s() - begun_s
        if all(version.path in self._lasting for version in versions):
            self._tried[key] = answer
        return answer

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
        self._lasting.clear()
        self._tried.clear()
        self._kept = 0

    def _part(self, id_: str, entry: Entry, came: Restored[Finding], path: Path, *, left: bool) -> Part:
        version = None
        if left and came.found is not None and not self._reads.is_promised(came.found):
            version = Version(id_, path, came.size, _within(came.holes, came.size), entry.size)
        return Part(self._reads.read_of(came, path), version)

    def _settle(self, key: _Shared, part: Part, *, shared: bool) -> None:
        """Share a part with later drills, or note that it goes with this one."""
        size = part.version.size if part.version is not None else 0
        if shared and (not size or self._kept + size <= self.room()):
            self._kept += size
            self._shared[key] = part
            if part.version is not None:
                self._lasting.add(part.version.path)
        elif part.version is not None:
            self._passing.append(part.version.path)


def _way(
    found: OpenCopy, store: Store, source: Source, allowance: Allowance
) -> Callable[[Sequence[Entry], Collector], None]:
    def deliver(wanted: Sequence[Entry], collector: Collector) -> None:
        archive, password, limited = found.copy.archive, found.copy.password, allowance.limited(collector)
        if archive is None:
            deliver_around(store, wanted, limited)
        else:
            salvage(store, archive, password, wanted, limited, kept=source.kept, listing=source.listing)

    return deliver


def _within(holes: Sequence[tuple[int, int]], size: int) -> tuple[tuple[int, int], ...]:
    """Return holes in order, apart, and within what came."""
    found: list[tuple[int, int]] = []
    for start, end in holes:
        add_range(found, (max(start, 0), min(end, size)))
    return tuple(found)
