"""A run of reading: what the ledger knows is taken from it, the rest is read, told and remembered.

Flows in: jobs, kinds, the ledger, callbacks. Flows out: Readings. Must not know: how bytes are read. Everything
here is on the calling thread.
"""

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from drill import clock
from drill.copies import plain_url
from drill.digests import Digester
from drill.errors import CannotRead
from drill.ledger import Ledger, Root
from drill.model import Copy, Entry, Problem, Seen, Trouble
from drill.reading.crew import Arrived, Crew, Meter
from drill.reading.lanes import Job, JobKey, Task, lanes
from drill.shelf import OpenCopy
from drill.units import say_size, say_span

_TICK_S = 0.2
ENDS_PROOF = frozenset({Trouble.IO, Trouble.DAMAGED, Trouble.CHECK_VALUE, Trouble.REFUSED})  # others say nothing
_BATCH = 1000  # results that are handled before the next look at the clock

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
    jobs: Sequence[Job],
    *,
    kinds: Iterable[str],
    ledger: Ledger,
    now: datetime,
    progress: Callable[[str], None],
    on_seen: OnSeen | None = None,
    with_capture: bool = True,
    afresh: bool = False,
    honest_rates: bool = False,
) -> Readings:
    """Read every file once and digest it; what the ledger knows with all `kinds` is not read again.

    With `afresh` everything is read, whatever the ledger knows, and in the kinds that are asked for alone; what an
    earlier reading of the same bytes showed besides stays known.

    `progress` gets a line of text some five times a second; `on_seen` every result as it comes, also the known ones;
    both on the calling thread. `with_capture=False` leaves out `parts` and `taken`. A file that is read for another
    kind than the ledger knows gets the known kinds too, so that all its digests are from one reading. A member
    whose archive's own check value differs is a Problem, though all its bytes came. A picture dated after `now` is
    taken for undated (see `drill.capture`). With `honest_rates` each file is read from its medium, where the system
    can be told to forget what it has cached; else see `MediumRead.maybe_cached`.

    Errors: Unfinished, Mistakes (the ledger); ValueError on an unknown kind; KeyboardInterrupt and whatever `on_seen`
    raises stop all workers within one block, and what was read by then is in the ledger.
    """
    wanted = tuple(digest.kind for digest in Digester(kinds).digests())
    done = Readings()
    tasks: list[Task] = []
    roots: dict[str, Root | None] = {}
    for key, job in {job.key: job for job in jobs}.items():
        id_ = job.found.copy.id
        if id_ not in roots:
            roots[id_] = root_of(job.found) or link_root(job.found.copy)
        root = roots[id_]
        seen = None if root is None or afresh else ledger.get(root, job.entry)
        known = () if seen is None else tuple(digest.kind for digest in seen.digests)
        asked = wanted + job.kinds
        if seen is None or not set(asked) <= set(known) or (with_capture and not seen.captured):
            # The many tasks that want the same share one tuple.
            kinds_now = asked if not (known or job.kinds) else tuple(dict.fromkeys(asked + known))
            tasks.append(Task(key, job, kinds_now, root))
            continue
        done[key] = seen
        done.from_ledger += 1
        if on_seen is not None:
            on_seen(job, seen)
    ledger.tick()
    if tasks:
        crew = Crew(lanes(tasks), not_after=now if with_capture else None, from_medium=honest_rates)
        _work(crew, done, ledger=ledger, progress=_Progress(tasks, progress), on_seen=on_seen, afresh=afresh)
    return done


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
    """Return where a link's readings are kept, which say what its server sent then; None for what is no link."""
    try:
        return None if copy.url is None else Root(plain_url(copy.url), copy.on)
    except CannotRead:
        return None


def _work(
    crew: Crew,
    done: Readings,
    *,
    ledger: Ledger,
    progress: "_Progress",
    on_seen: OnSeen | None,
    afresh: bool,
) -> None:
    start_s, begun = clock.ticks_s(), clock.now()

    def collect() -> None:
        roots: dict[str, Root | None] = {}  # archives as they are now, looked at once a round
        while crew.arrived:
            some = [crew.arrived.popleft() for _ in range(min(len(crew.arrived), _BATCH))]
            # All questions before all answers: each change between the two ends a transaction.
            lasting = [arrived for arrived in some if _is_lasting(arrived, begun, roots)]
            before = {arrived.task.key: _earlier(arrived, ledger) for arrived in lasting} if afresh else {}
            for arrived in lasting:
                _remember(arrived, ledger, before.get(arrived.task.key))
            for arrived in some:
                if isinstance(arrived.result, Problem):
                    _remember_problem(arrived, arrived.result, ledger)
                done[arrived.task.key] = arrived.result
                if on_seen is not None:
                    on_seen(arrived.task.job, arrived.result)
        ledger.tick()

    try:
        crew.start()
        while not crew.wait(_TICK_S):
            collect()
            progress.say(crew.meters)
    finally:
        crew.halt()
        collect()
        ledger.flush()
        done.took_s = clock.ticks_s() - start_s
        done.media = _by_medium(crew.meters)
        done.bytes_read = sum(medium.bytes for medium in done.media.values())
    if crew.error is not None:
        raise crew.error
    progress.say(crew.meters)


def _earlier(arrived: Arrived, ledger: Ledger) -> Seen | None:
    root = arrived.task.root
    return None if root is None else ledger.get(root, arrived.task.job.entry)


def _remember(arrived: Arrived, ledger: Ledger, before: Seen | None) -> None:
    task, result = arrived.task, arrived.result
    if task.root is not None and isinstance(result, Seen):
        seen, copy = _with_earlier(result, before), task.job.found.copy.id
        ledger.put(task.root, task.job.entry, seen, took_s=arrived.took_s, copy=copy)


def _remember_problem(arrived: Arrived, problem: Problem, ledger: Ledger) -> None:
    task = arrived.task
    if task.root is not None and problem.trouble in ENDS_PROOF:
        copy = task.job.found.copy.id
        ledger.put_problem(task.root, task.job.entry, problem, took_s=arrived.took_s, copy=copy)


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
    return replace(earlier, digests=tuple(digests))


def _is_lasting(arrived: Arrived, begun: datetime, roots: dict[str, Root | None]) -> bool:
    root, found = arrived.task.root, arrived.task.job.found
    if root is None or isinstance(arrived.result, Problem):
        return False
    if root.archive:
        if found.copy.id not in roots:
            roots[found.copy.id] = root_of(found)
        if roots[found.copy.id] != root:
            return False
    return is_lasting(root, arrived.task.job.entry, begun)


def is_lasting(root: Root, entry: Entry, begun: datetime) -> bool:
    """Say whether any change of a file after it was read would show in its modified time, or its archive's.

    One that was written just before reading was `begun` may change again within the same tick of its file system's
    clock: two seconds on FAT (whole, even seconds), some hundredths elsewhere.
    """
    modified = root.modified if root.archive else entry.modified
    if root.is_link:
        return True
    if modified is None:
        return False
    tick_s = 2.0 if modified.microsecond == 0 else 0.05
    return abs((begun - modified.astimezone(UTC)).total_seconds()) >= tick_s


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

    def __init__(self, tasks: Sequence[Task], say: Callable[[str], None]) -> None:
        sizes = [task.job.entry.size for task in tasks]
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
