"""A run of reading: what the ledger knows is taken from it, the rest is read, told and remembered.

Flows in: jobs, kinds, the ledger, callbacks. Flows out: Readings. Must not know: how bytes are read. Everything
here is on the calling thread.
"""

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from drill import clock
from drill.copies import FolderStore, plain_url
from drill.digests import Digester
from drill.errors import CannotRead
from drill.ledger import Ledger, Root
from drill.model import Copy, Entry, Problem, Seen, Trouble
from drill.reading.crew import Arrived, Crew
from drill.reading.hands import WORTH
from drill.reading.lanes import Group, Job, JobKey, Lane, lanes
from drill.reading.meter import Meter
from drill.shelf import OpenCopy, State
from drill.units import say_size, say_span

_TICK_S = 0.2
_LONGEST_TICK_S = 2.0  # of a file system's clock
ENDS_PROOF = frozenset({Trouble.IO, Trouble.DAMAGED, Trouble.CHECK_VALUE, Trouble.REFUSED})  # others say nothing

OnSeen = Callable[[Job, Seen | Problem], None]


@dataclass(frozen=True, slots=True)
class MediumRead:
    """What was read from one medium: files done with, bytes that came (unpacked), seconds from first to last.

    `maybe_cached`: some of it may have come from the system's cache, so that the rate is not sure to be the medium's.
    """

    files: int
    bytes: int
    took_s: float
    maybe_cached: bool = True

    @property
    def rate_bps(self) -> float | None:
        """Return bytes a second, None where nothing was measured."""
        return self.bytes / self.took_s if self.bytes and self.took_s > 0 else None


class Readings(dict[JobKey, Seen | Problem]):
    """The results by job, and what it cost to get them: nothing for the `from_ledger` of them that it knew."""

    def __init__(self) -> None:
        super().__init__()
        self.from_ledger = 0
        self.bytes_read = 0
        self.took_s = 0.0
        self.media: dict[str, MediumRead] = {}


def read_files(
    jobs: Iterable[Job],
    *,
    kinds: Iterable[str],
    ledger: Ledger,
    now: datetime,
    progress: Callable[[str], None],
    on_seen: OnSeen | None = None,
    with_capture: bool = True,
    afresh: bool = False,
    honest_rates: bool = False,
    gather: bool = True,
) -> Readings:
    """Read every file once and digest it; what the ledger knows with all `kinds` is not read again.

    With `afresh` everything is read, whatever the ledger knows, and in the kinds that are asked for alone; what an
    earlier reading of the same bytes showed besides stays known.

    `progress` gets a line of text some five times a second; `on_seen` every result as it comes, also the known ones;
    both on the calling thread. `with_capture=False` leaves out `parts` and `taken`. A file that is read for another
    kind than the ledger knows gets the known kinds too, so that all its digests are from one reading. A member
    whose archive's own check value differs is a Problem, though all its bytes came. A picture dated after `now` is
    taken for undated (see `drill.capture`). With `honest_rates` each file is read from its medium, where the system
    can be told to forget what it has cached, and does; else see `MediumRead.maybe_cached`. Without `gather` results are
    told to `on_seen` alone, and the Readings hold none.

    Errors: Unfinished, Mistakes (the ledger); ValueError on an unknown kind; KeyboardInterrupt and whatever `on_seen`
    raises stop all workers within one block, and what was read by then is in the ledger.
    """
    wanted = tuple(digest.kind for digest in Digester(kinds).digests())
    crew = Crew(not_after=now if with_capture else None, from_medium=honest_rates)
    keeper = _Keeper(ledger, Readings(), on_seen, afresh=afresh, gather=gather)
    try:
        work = _to_read(jobs, wanted, keeper, crew, with_capture=with_capture)
        ledger.tick()
        if work:
            said = _Progress(work, progress)  # before the lanes take the groups apart
            by_medium = lanes(work)
            del work
            _work(crew, by_medium, keeper, said)
    finally:
        crew.halt()
    return keeper.done


def _to_read(
    jobs: Iterable[Job], wanted: tuple[str, ...], keeper: "_Keeper", crew: Crew, *, with_capture: bool
) -> list[Group]:
    """Return what has to be read of each copy; the keeper is told of what the ledger knows."""
    groups: dict[str, Group] = {}
    for key, job in {job.key: job for job in jobs}.items():
        group = groups.get(key[0])
        if group is None:
            group = groups[key[0]] = Group(job.found, root_of(job.found) or link_root(job.found.copy))
        seen = None if group.root is None else keeper.known(group.root, job.entry)
        known = () if seen is None else tuple(digest.kind for digest in seen.digests)
        asked = wanted + job.kinds
        if seen is not None and set(asked) <= set(known) and (seen.captured or not with_capture):
            keeper.tell_known(job, seen)
            continue
        # The many files of which the same is wanted share one tuple.
        kinds_now = asked if not (known or job.kinds) else tuple(dict.fromkeys(asked + known))
        group.entries.append(job.entry)
        group.kinds.append(group.kinds[-1] if group.kinds and group.kinds[-1] == kinds_now else kinds_now)
        if len(group.entries) == WORTH:
            crew.expect([group])
    return [group for group in groups.values() if group.entries]


def root_of(found: OpenCopy) -> Root | None:
    """Return where a copy lies for the ledger; None for a link, which has a `link_root`, and where no archive is."""
    if found.copy.at is None or found.store is None:
        return None
    path = os.path.realpath(found.copy.at)
    if not found.is_archive:
        return Root(path, found.copy.on)
    archive = next(iter(found.store.files()), None)
    if archive is None or archive.size is None or archive.modified is None:
        return None
    return Root(path, found.copy.on, archive=True, size=archive.size, modified=archive.modified)


def link_root(copy: Copy) -> Root | None:
    """Return where a link's readings are kept, which say what its server sent then; None for what is no link.

    The copy's id counts, as two addresses may differ in nothing but what is secret in them, and is not kept.
    """
    try:
        return None if copy.url is None else Root(f"{plain_url(copy.url)}#{copy.id}", copy.on)
    except CannotRead:
        return None


def note_listing(found: OpenCopy, ledger: Ledger) -> None:
    """Note what a copy is listed to hold today: what was read on it and is not there any more counts no longer.

    Nothing is noted of a listing that may not be complete: a damaged archive's, or a link's, which is its list. Folders
    that could not be listed are left alone. Errors: Unfinished, Mistakes.
    """
    is_whole = found.state is State.HERE and not found.reason and found.damaged is None
    root = root_of(found) or (link_root(found.copy) if found.is_archive else None)
    if is_whole and root is not None:
        closed = [path for path, _ in found.store.unlisted()] if isinstance(found.store, FolderStore) else []
        ledger.note_listing(root, found.entries, closed=closed)


class _Keeper:
    """Takes what arrived, in the thread that called: to the ledger, into the results, to who asked."""

    def __init__(self, ledger: Ledger, done: Readings, on_seen: OnSeen | None, *, afresh: bool, gather: bool) -> None:
        self.ledger, self.done, self._on_seen = ledger, done, on_seen
        self._afresh, self._gather = afresh, gather
        self._begun = clock.now()

    def known(self, root: Root, entry: Entry) -> Seen | None:
        """Return what the ledger knows of a file, None where it is to be read afresh."""
        return None if self._afresh else self.ledger.get(root, entry)

    def tell_known(self, job: Job, seen: Seen) -> None:
        """Put what the ledger knew where who asked finds it."""
        if self._gather:
            self.done[job.key] = seen
        self.done.from_ledger += 1
        if self._on_seen is not None:
            self._on_seen(job, seen)

    def take(self, crew: Crew) -> None:
        """Take all that has arrived by now."""
        roots: dict[str, Root | None] = {}  # archives as they are now, looked at once a round
        while some := crew.collect():
            by_copy: dict[str, list[Arrived]] = {}
            for one in some:
                by_copy.setdefault(one.group.found.copy.id, []).append(one)
            for of_copy in by_copy.values():
                self._remember(of_copy, roots)
            for one in some:
                self._tell(one)
        self.ledger.tick()

    def _tell(self, one: Arrived) -> None:
        """Put results where who asked finds them, and call back."""
        found = one.group.found
        if self._gather:
            id_ = found.copy.id
            self.done.update(zip([(id_, e.path, e.index) for e in one.entries], one.results, strict=True))
        if self._on_seen is not None:
            for entry, result in zip(one.entries, one.results, strict=True):
                self._on_seen(Job(found, entry), result)

    def _remember(self, some: Sequence[Arrived], roots: dict[str, Root | None]) -> None:
        """Put results of one copy into the ledger, those that will tell of any later change of their file."""
        root, found = some[0].group.root, some[0].group.found
        if root is None or not self.ledger.keeps:
            return
        if root.archive and found.copy.id not in roots:
            roots[found.copy.id] = root_of(found)
        triples = [triple for one in some for triple in zip(one.entries, one.results, one.took_s, strict=True)]
        good: list[tuple[Entry, Seen, float]] = []
        if not root.archive or roots[found.copy.id] == root:
            lasts = _lasting(root, self._begun)
            good = [(e, seen, took_s) for e, seen, took_s in triples if isinstance(seen, Seen) and lasts(e)]
        if self._afresh and good:
            before = self.ledger.get_many(root, [entry for entry, _, _ in good])
            if before:
                good = [(e, _with_earlier(seen, before.get((e.path, e.index))), took_s) for e, seen, took_s in good]
        self.ledger.put_many(root, good, copy=found.copy.id)
        for entry, result, took_s in triples:
            if isinstance(result, Problem) and result.trouble in ENDS_PROOF:
                self.ledger.put_problem(root, entry, result, took_s=took_s, copy=found.copy.id)


def _work(crew: Crew, work: Sequence[Lane], keeper: _Keeper, progress: "_Progress") -> None:
    start_s, done = clock.ticks_s(), keeper.done
    try:
        crew.start(work)
        while not crew.wait(_TICK_S):
            keeper.take(crew)
            progress.say(crew.meters)
    finally:
        crew.halt()
        keeper.take(crew)
        keeper.ledger.flush()
        done.took_s = clock.ticks_s() - start_s
        done.media = _by_medium(crew.meters)
        done.bytes_read = sum(medium.bytes for medium in done.media.values())
    if crew.error is not None:
        raise crew.error
    progress.say(crew.meters)


def _with_earlier(seen: Seen, before: Seen | None) -> Seen:
    """Return what a reading showed, with what an earlier one of the same bytes showed besides."""
    if before is None or before.size != seen.size:
        return seen
    ours = dict(seen.digests)
    shared = [digest for digest in before.digests if digest.kind in ours]
    if any(ours[kind] != text for kind, text in shared) or all(len(text) < 16 for _, text in shared):
        return seen  # other bytes, or nothing of 64 bits at least that says they are the same
    digests = sorted({*seen.digests, *before.digests})
    earlier = seen if seen.captured else before
    return earlier._replace(digests=tuple(digests))


def is_lasting(root: Root, entry: Entry, begun: datetime) -> bool:
    """Say whether any change of a file after it was read would show in its modified time, or its archive's."""
    return _lasting(root, begun)(entry)


def _lasting(root: Root, begun: datetime) -> Callable[[Entry], bool]:
    """Return whether any change of a file after it was read would show in its modified time, or its archive's.

    One that was written just before reading was `begun` may change again within the same tick of its file system's
    clock: two seconds on FAT (whole, even seconds), some hundredths elsewhere.
    """
    long_ago = begun - timedelta(seconds=_LONGEST_TICK_S)

    if root.is_link:
        return lambda entry: True

    def lasts(entry: Entry) -> bool:
        modified = root.modified if root.archive else entry.modified
        if modified is None:
            return False
        if modified <= long_ago:  # nearly always
            return True
        tick_s = _LONGEST_TICK_S if modified.microsecond == 0 else 0.05
        return abs((begun - modified.astimezone(UTC)).total_seconds()) >= tick_s

    return lasts


def _by_medium(meters: Sequence[Meter]) -> dict[str, MediumRead]:
    media: dict[str, MediumRead] = {}
    for id_ in dict.fromkeys(meter.medium for meter in meters):
        own = [meter for meter in meters if meter.medium == id_]
        took_s = max(meter.end_s for meter in own) - min(meter.start_s for meter in own)
        files, came = sum(meter.files for meter in own), sum(meter.bytes for meter in own)
        media[id_] = MediumRead(files, came, took_s, any(meter.maybe_cached for meter in own))
    return media


class _Progress:
    """Says on one line how far all the reading is."""

    def __init__(self, groups: Sequence[Group], say: Callable[[str], None]) -> None:
        sizes = [entry.size for group in groups for entry in group.entries]
        self._files = len(sizes)
        self._bytes = sum(size for size in sizes if size is not None)
        self._sized = None not in sizes
        self._say = say
        self._since_s = clock.ticks_s()
        self._last_s = 0.0

    def say(self, meters: Sequence[Meter]) -> None:
        took_s = max(clock.ticks_s() - self._since_s, 1e-6)
        files, behind = sum(meter.files for meter in meters), sum(meter.behind() for meter in meters)
        if files < self._files and took_s - self._last_s < _TICK_S / 2:
            return
        self._last_s = took_s
        words = [f"{files:,} of {self._files:,} files"]
        if self._bytes:
            words.append(_of(behind, self._bytes))
        words.append(f"{say_size(round(sum(meter.bytes for meter in meters) / took_s))}/s")
        share = behind / self._bytes if self._sized and self._bytes else files / self._files
        if took_s >= 2 and 0 < share < 1:
            words.append(f"{say_span(took_s * (1 - share) / share)} left")
        self._say(f"{_whose(meters)}{', '.join(words)}")


def _whose(meters: Sequence[Meter]) -> str:
    copies = list(dict.fromkeys(meter.copy for meter in meters if meter.copy))
    if not copies:
        return ""
    return f"{' and '.join(copies)}: " if len(copies) <= 2 else f"{len(copies)} copies: "


def _of(part: int, whole: int) -> str:
    """Write "31.2 of 240 GB": both in the unit of the whole."""
    amount, unit = say_size(whole).rsplit(" ", 1)
    scale = 1000 ** ("B", "kB", "MB", "GB", "TB").index(unit)
    return f"{min(part, whole) / scale:.3g} of {amount} {unit}"
