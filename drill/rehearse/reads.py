"""Reads: every file of a copy is restored to scratch once, judged, and remembered for all drills that it serves.

Flows in: copies (as found, or under a fault) and the files wanted. Flows out: for each file a Read. What a fault
touches is read anew in each drill; what no fault touches is shared. Must not know: promises' paths, verdicts.
"""

import os
import shutil
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from drill.copies import forget
from drill.errors import Unfinished, says_disk_fails
from drill.faults import Faulted
from drill.model import Digest, Entry, Problem, Promised, Trouble, View
from drill.restore import Key, Restored, restore
from drill.shelf import OpenCopy
from drill.verify import Finding, examine

_BATCH = 512  # files asked of a folder at once; an archive is always asked in one pass


@dataclass(frozen=True, slots=True)
class Read:
    """What one read of a file on a copy gave."""

    problem: Problem | None
    size: int
    took_s: float
    finding: Finding | None
    kept: Path | None

    def gives(self, file: Promised) -> bool:
        """Say whether the promised bytes came, whatever an archive's own check value says."""
        return self.finding is not None and self.finding.is_promised(file)

    def is_any_of(self, promised: Container[Digest]) -> bool:
        """Say whether the bytes are some promised file's, so that at most the name misled; empty files say nothing."""
        return self.finding is not None and self.size > 0 and any(d in promised for d in self.finding.digests)

    @property
    def believed(self) -> bool:
        """Say whether a person would take it for good: it opened and read to its end without an error."""
        return self.problem is None


class Reads:
    """The reads of a run. Files lie in `folder` while they are judged, and longer when `keep` is set."""

    def __init__(
        self, folder: Path, *, kinds: Iterable[str], flusher: Executor, keep: bool, promised: Container[Digest]
    ) -> None:
        self._promised = promised
        self.folder, self.flusher = folder, flusher
        self._kinds, self._keep = tuple(kinds), keep
        self._shared: dict[tuple[str, str, int], Read] = {}
        self._numbers = count(1)
        self.on_read: Callable[[OpenCopy, Entry, Read], None] = lambda found, entry, read: None
        # Asked for every judged file, on the judging threads: whether it was taken out of the folder, for keeps.
        self.take: Callable[[OpenCopy, Entry, Path, Finding], bool] = lambda found, entry, path, finding: False
        folder.mkdir(parents=True, exist_ok=True)

    def fetch(self, found: OpenCopy, faulted: Faulted | None, wanted: Iterable[Entry]) -> dict[Key, Read]:
        """Return a Read for every wanted file of a copy; without `faulted` the copy is read as it is."""
        assert found.view is not None
        entries = list({(entry.path, entry.index): entry for entry in wanted}.values())
        touched = [entry for entry in entries if faulted is not None and faulted.touches(entry)]
        apart = set(touched)
        plain = [entry for entry in entries if entry not in apart]
        missing = [entry for entry in plain if (found.copy.id, entry.path, entry.index) not in self._shared]
        _let_go(found, missing)
        for entry, read in self._restore(found, found.view, missing).items():
            self._shared[found.copy.id, entry.path, entry.index] = read
            self.on_read(found, entry, read)
        results = {(e.path, e.index): self._shared[found.copy.id, e.path, e.index] for e in plain}
        if faulted is not None:
            fresh = self._restore(found, faulted.view, touched)
            results |= {(entry.path, entry.index): read for entry, read in fresh.items()}
        return results

    def as_found(self, id_: str, entry: Entry) -> Read | None:
        """Return the read of a file as it is, without a fault, where this run has made one."""
        return self._shared.get((id_, entry.path, entry.index))

    def forget_files(self) -> None:
        """Remove every file that is still kept in the reading folder (its links elsewhere stay)."""
        if self._keep:
            shutil.rmtree(self.folder, ignore_errors=True)
            self.folder.mkdir(parents=True, exist_ok=True)
            self._shared.clear()  # a later shoot that needs one of these files needs its bytes again

    def _restore(self, found: OpenCopy, view: View, entries: Sequence[Entry]) -> dict[Entry, Read]:
        reads: dict[Entry, Read] = {}
        size = len(entries) if found.is_archive else _BATCH
        for start in range(0, len(entries), max(size, 1)):
            paths = {entry: self.fresh_path() for entry in entries[start : start + size]}
            results = restore(view, paths, flusher=self.flusher, judge=self.judge_of(found, paths))
            batch = {entry: self.read_of(results[entry.path, entry.index], path) for entry, path in paths.items()}
            check_still_there(found, batch.values())
            reads |= batch
        return reads

    def fresh_path(self) -> Path:
        """Return a path in the folder at which nothing is yet."""
        return self.folder / f"{next(self._numbers):07d}"

    def judge_of(
        self, found: OpenCopy, paths: Mapping[Entry, Path], *, leaving: Container[Path] = ()
    ) -> Callable[[Path], Finding]:
        """Return a judge of files restored to these paths. It removes what is not kept; of the paths in `leaving` it
        leaves what no digest promises where it is."""
        entries = {path: entry for entry, path in paths.items()}

        def judge(path: Path) -> Finding:
            finding = examine(path, self._kinds)
            taken = self.take(found, entries[path], path, finding) or self._is_kept(finding)
            if not taken and (path not in leaving or self.is_promised(finding)):
                path.unlink()
            return finding

        return judge

    def is_promised(self, finding: Finding) -> bool:
        """Say whether these are the bytes of some promised file."""
        return any(digest in self._promised for digest in finding.digests)

    def _is_kept(self, finding: Finding) -> bool:
        return self._keep and self.is_promised(finding)

    def read_of(self, restored: Restored[Finding], path: Path) -> Read:
        """Return what a restore gave as a Read."""
        kept = path if restored.found is not None and self._is_kept(restored.found) else None
        return Read(restored.problem, restored.size, restored.took_s, restored.found, kept)


def _let_go(found: OpenCopy, entries: Sequence[Entry]) -> None:
    """Have the system's memory let go of what is read next, where it can be told: a drill is about the media."""
    if found.store is not None and found.copy.url is None:
        for entry in found.store.files() if found.is_archive and entries else entries:
            forget(found.store, entry)


def place(read: Read, target: Path) -> str | None:
    """Put a kept file at its promised path, as a link where the disk has them; return why it cannot have that name.

    Errors: Unfinished, where it is not about the name.
    """
    assert read.kept is not None
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists():
            return "another file has that name on this disk"
        try:
            os.link(read.kept, target)
        except OSError:
            shutil.copyfile(read.kept, target)
    except OSError as error:
        if says_disk_fails(error):
            raise Unfinished(f"restored files cannot be kept in scratch: {error.strerror}") from error
        return error.strerror or str(error)
    return None


def check_still_there(found: OpenCopy, reads: Iterable[Read]) -> None:
    """Tell a copy that vanished during the run (unplugged) from one that is damaged."""
    at = found.copy.at
    if at is None or not any(read.problem and read.problem.trouble is not Trouble.DAMAGED for read in reads):
        return
    folder = at.parent if found.is_archive else at
    try:
        with os.scandir(folder) as listing:
            gone = next(listing, None) is None
    except OSError:
        gone = True
    if gone:
        raise Unfinished(f"the copy {found.copy.id} vanished during the run; plug it in and run again")
