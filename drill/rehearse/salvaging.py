"""Salvaging: before a file counts as lost, what damaged copies still give of it, one by one and put together.

Flows in: the cases that no copy served, a bench. Flows out: the same cases, served by one copy or stitched from
several, and the seconds it took. Must not know: terminals, JSON. Every copy that may have something is passed over once
for all files that are still missing; what comes out is accepted by the judge alone.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from drill.errors import CannotReach, CannotRead, Unfinished
from drill.extents import Kept
from drill.faults import Faulted
from drill.model import Digest, Entry, Trouble
from drill.rehearse.bench import Bench, Case, readable
from drill.rehearse.parts import Part, Source, Wanted
from drill.rehearse.reads import Read
from drill.restore import Key
from drill.salvage import salvage_entries
from drill.shelf import OpenCopy
from drill.stitching import Version, as_view

_MOST_VERSIONS = 12  # of one file: a camera uses its names again, and each file of that name is a candidate


@dataclass(slots=True)
class _Sought:
    """A file that is still missing: its case, the entries that may be it on each copy, the versions found so far."""

    case: Case
    entries: Mapping[str, Sequence[Entry]]
    versions: list[Version] = field(default_factory=list)

    @property
    def sizes(self) -> set[int]:
        """Return the sizes that it may have; none where none is known."""
        if self.case.file.size is not None:
            return {self.case.file.size}
        found = (claim.entry for claims in self.case.claims.values() for claim in claims)
        return {entry.size for entry in found if entry is not None and entry.size is not None}

    @property
    def is_bounded(self) -> bool:
        """Say whether it cannot have more bytes than the largest of these sizes."""
        if self.case.file.size is not None:
            return True
        found = [claim.entry for claims in self.case.claims.values() for claim in claims]
        return bool(self.sizes) and all(entry is not None and entry.size is not None for entry in found)


def salvage_missing(cases: Sequence[Case], order: Sequence[str], bench: Bench) -> float:
    """Salvage what no copy gave whole; return the seconds it took. Errors: Unfinished."""
    missing = [_sought(case, bench) for case in cases if not case.is_back]
    ids = [*(id_ for id_ in order if id_ in bench.usable), *sorted(set(bench.usable) - set(order))]
    took_s = 0.0
    for batch in _batches(missing, bench):
        for id_ in ids:
            took_s += _from_copy(batch, id_, bench)
        for sought in batch:
            if not sought.case.is_back and sought.versions:
                took_s += _stitch(sought, bench)
            if not sought.case.is_back and sought.versions:
                bench.give_up(sought.case)
        bench.parts.let_go()
    return took_s


def _sought(case: Case, bench: Bench) -> _Sought:
    """Find which files of the usable copies may be this one, damaged; another promised picture is none."""
    found: dict[str, list[Entry]] = {}
    for id_, faulted in bench.usable.items():
        seen = bench.seen.get(id_, {})
        for entry in readable(case.claims.get(id_, ()), faulted):
            read = seen.get((entry.path, entry.index))
            if not faulted.replaced(entry) and not (read is not None and read.is_any_of(bench.promised)):
                found.setdefault(id_, []).append(entry)
    return _Sought(case, found)


def _batches(missing: Sequence[_Sought], bench: Bench) -> Iterator[list[_Sought]]:
    """Yield the missing files in batches of which scratch can hold all versions."""
    if not missing:
        return
    room = bench.parts.room()
    batch: list[_Sought] = []
    size = 0
    for sought in missing:
        more = max(sought.sizes, default=0) * max(sum(map(len, sought.entries.values())), 1)
        if batch and size + more > room:
            yield batch
            batch, size = [], 0
        batch.append(sought)
        size += more
    yield batch


def _from_copy(batch: Sequence[_Sought], id_: str, bench: Bench) -> float:
    """Take from one copy what it gives of the files that are still missing; return the seconds it took."""
    found, faulted = bench.copies[id_], bench.usable[id_]
    took_s = 0.0
    if not found.is_archive:
        left = [sought for sought in batch if not sought.case.is_back]
        loose = dict.fromkeys(entry for sought in left for entry in _worth_reading(sought, id_, bench))
        return _take(batch, bench.parts.of(found, faulted, Wanted(loose, most=_most(left)), Source()), id_)
    for source in _sources(batch, found, faulted, bench.kept_of):
        left = [sought for sought in batch if not sought.case.is_back]
        named = dict.fromkeys(entry for sought in left for entry in sought.entries.get(id_, ()))
        unnamed = {} if faulted.on_members else dict.fromkeys(_unnamed(left, found, source))
        if named or unnamed:
            wanted = Wanted(named, unnamed, _most(left))
            parts = bench.parts.of(found, faulted, wanted, source)
            if source.listing is not None:
                _note_salvages(left, parts, id_)
            took_s += _take(left, parts, id_)
    return took_s


def _note_salvages(left: Sequence[_Sought], parts: Mapping[Key, Part], id_: str) -> None:
    """Keep what went wrong with the file itself: its ordinary read says only that the archive could not be opened."""
    for sought in left:
        for entry in sought.entries.get(id_, ()):
            key = entry.path, entry.index
            read = parts[key].read if key in parts else None
            if read is not None and (read.problem is None or read.problem.trouble is not Trouble.MISSING):
                sought.case.salvages.setdefault((id_, key), read)


def _most(left: Sequence[_Sought]) -> int | None:
    """Return the largest size that one of the files may have; None where one of them may have any."""
    sizes = [size for sought in left for size in (sought.sizes if sought.is_bounded else (None,))]
    known = [size for size in sizes if size is not None]
    return max(known) if known and len(known) == len(sizes) else None


def _worth_reading(sought: _Sought, id_: str, bench: Bench) -> Iterator[Entry]:
    """Yield the loose files that a second reading may help: a single one that came whole is as wrong as it was, and
    wanted only where parts are kept."""
    alone = sum(map(len, sought.entries.values())) == 1 and not bench.keeps_parts
    for entry in sought.entries.get(id_, ()):
        read = bench.seen.get(id_, {}).get((entry.path, entry.index))
        longer = read is not None and sought.case.file.size is not None and read.size > sought.case.file.size
        if not alone or read is None or read.problem is not None or longer:
            yield entry


def _sources(
    batch: Sequence[_Sought], found: OpenCopy, faulted: Faulted, kept_of: Callable[[str], Sequence[Kept]]
) -> Iterator[Source]:
    """Yield the ways to salvage an archive: as it is, where its own headers list what is wanted; else with each state
    of its kept headers first."""
    wanted = {(e.path, e.index) for sought in batch for e in sought.entries.get(found.copy.id, ())}
    if not wanted and not found.reason:
        return
    if _lists(faulted, wanted):
        yield Source()
        return
    for turn, kept in enumerate((*kept_of(found.copy.id), None)):
        try:
            listing = salvage_entries(faulted.store, found.copy.archive or "", found.copy.password, kept=kept)
        except (CannotReach, CannotRead):
            continue
        yield Source(kept, listing, turn + 1)


def _lists(faulted: Faulted, wanted: Collection[Key]) -> bool:
    try:
        return {(entry.path, entry.index) for entry in faulted.view.entries()}.issuperset(wanted)
    except (CannotReach, CannotRead):
        return False


def _unnamed(left: Sequence[_Sought], found: OpenCopy, source: Source) -> Iterator[Entry]:
    """Yield the members that nothing names any more and that may be one of the missing files by their size."""
    if source.listing is None or source.kept is not None:
        return
    known = {(entry.path, entry.index) for entry in found.entries} if not found.reason else set()
    claimed = {(e.path, e.index) for sought in left for e in sought.entries.get(found.copy.id, ())}
    sizes = {size for sought in left for size in sought.sizes}
    any_size = any(not sought.sizes for sought in left)
    for entry in source.listing:
        if (entry.path, entry.index) in known | claimed:
            continue
        if any_size or entry.size is None or entry.size in sizes:
            yield entry


def _take(batch: Sequence[_Sought], parts: Mapping[Key, Part], id_: str) -> float:
    """Give each missing file what came of it; return the seconds that it all took."""
    by_digest = {digest: part for part in parts.values() for digest in _digests(part.read)}
    for sought in batch:
        case = sought.case
        if case.is_back:
            continue
        own = [parts[e.path, e.index] for e in sought.entries.get(id_, ()) if (e.path, e.index) in parts]
        alike = [by_digest[digest] for digest in case.file.digests if digest in by_digest]
        part = next((part for part in (*own, *alike) if part.read.gives(case.file)), None)
        if part is not None:
            case.served_by, case.read, case.salvaged = id_, part.read, True
        else:
            sought.versions += [part.version for part in own if part.version is not None]
    return sum(part.read.took_s for part in parts.values())


def _digests(read: Read) -> Iterable[Digest]:
    return read.finding.digests if read.finding is not None else ()


def _stitch(sought: _Sought, bench: Bench) -> float:
    """Put a missing file together from its versions, and have it judged as any other."""
    case = sought.case
    size = case.file.size
    ranked = sorted(sought.versions, key=lambda v: (v.size != size, v.source))[:_MOST_VERSIONS]
    case.versions = tuple(ranked)
    found, took_s = bench.parts.stitch(ranked, case.file.digests, size=size)
    if found is None:
        return took_s
    entry = Entry(case.file.path, found.size)
    case.read = bench.parts.put_together(as_view(found, ranked, entry), entry, bench.copies[found.sources[0]])
    if not case.read.gives(case.file):
        raise Unfinished(f"what was put together of {case.file.path} is other bytes in scratch: is that disk failing?")
    if len(found.sources) == 1:
        case.served_by, case.salvaged = found.sources[0], True
    else:
        case.stitched, case.pieces = found.sources, found.held
    return took_s + case.read.took_s
