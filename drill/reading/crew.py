"""The crew: workers that read the media side by side, and meters that say how far they are.

Flows in: tasks, grouped by medium. Flows out: results in the order in which they come. Must not know: the ledger,
who asked. Media that seek are read by one worker each in path order, others by two; hashing and reading release the
interpreter's lock. A copy that vanishes is given up at once, each of its files with that Problem.
"""

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from threading import Event, Thread
from typing import NamedTuple, TypeVar

from drill import clock
from drill.copies import reach
from drill.copies.raw import deliver_file
from drill.errors import CannotReach, DrillError
from drill.ledger import Root
from drill.model import Entry, Problem, Seen, Trouble
from drill.reading.onepass import OnePass
from drill.shelf import OpenCopy

BLOCK = 256 * 1024
_SEEKS = frozenset({"card", "hard-disk", "optical", "tape"})  # a second reader only makes these slower
_MOST_WORKERS = 8
_PATIENCE_S = 10.0

T = TypeVar("T")
JobKey = tuple[str, str, int]  # the copy's id, the file's path there, its index


@dataclass(frozen=True, slots=True)
class Job:
    """One file to read: the copy as found, its entry there, and digest kinds to make besides those of the whole run."""

    found: OpenCopy
    entry: Entry
    kinds: tuple[str, ...] = ()

    @property
    def key(self) -> JobKey:
        """Return what the job's result is found under."""
        return self.found.copy.id, self.entry.path, self.entry.index


@dataclass(frozen=True, slots=True)
class Task:
    """A job with the digest kinds to make, and where its copy lies for the ledger."""

    job: Job
    kinds: tuple[str, ...]
    root: Root | None


class Arrived(NamedTuple):
    """What a task came to, and how long that took, with finding and opening the file."""

    task: Task
    result: Seen | Problem
    took_s: float


@dataclass(frozen=True, slots=True)
class Lane:
    """What one medium has to give: groups of tasks (one file of a folder, or all of an archive), in order."""

    medium: str
    workers: int
    groups: deque[list[Task]]


def lanes(tasks: Iterable[Task]) -> list[Lane]:
    """Sort tasks by medium, copy and path."""
    by_copy: dict[str, list[Task]] = {}
    for task in tasks:
        by_copy.setdefault(task.job.found.copy.id, []).append(task)
    by_medium: dict[str, Lane] = {}
    for group in by_copy.values():
        found = group[0].job.found
        workers = 1 if found.medium.kind in _SEEKS else 2
        lane = by_medium.setdefault(found.medium.id, Lane(found.medium.id, workers, deque()))
        if found.is_archive:
            lane.groups.append(group)
        else:
            group.sort(key=lambda task: task.job.entry.path.encode("utf-8", "surrogatepass"))
            lane.groups.extend([task] for task in group)
    return list(by_medium.values())


class Meter:
    """What one worker has read of one medium; written by it alone, read by all."""

    __slots__ = ("_at_begin", "bytes", "copy", "end_s", "files", "medium", "settled", "start_s")

    def __init__(self, medium: str) -> None:
        self.medium, self.copy = medium, ""
        self.files = self.bytes = 0
        self.settled = 0  # listed bytes of the files that are done with
        self.start_s = self.end_s = clock.ticks_s()
        self._at_begin = 0

    def begin(self, task: Task) -> None:
        """Note which file comes."""
        self.copy, self._at_begin = task.job.found.copy.id, self.bytes

    def end(self, task: Task) -> None:
        """Note that a file is done with, read or not."""
        size = task.job.entry.size
        self.settled += self.bytes - self._at_begin if size is None else size
        self._at_begin = self.bytes
        self.files += 1
        self.end_s = clock.ticks_s()

    def behind(self) -> int:
        """Return how many of the listed bytes are done with, or have come."""
        return self.settled + self.bytes - self._at_begin


class _Stopped(DrillError):
    """The run ends: no more bytes are wanted."""


class _Taker:
    """The receiver: makes a result of each file's bytes."""

    def __init__(self, crew: "Crew", meter: Meter, tasks: Iterable[Task]) -> None:
        self._crew, self._meter = crew, meter
        self._since_s = clock.ticks_s()
        self._tasks = {(task.job.entry.path, task.job.entry.index): task for task in tasks}

    def begin(self, entry: Entry) -> None:
        self._task = task = self._tasks[entry.path, entry.index]
        listed = task.job.entry
        self._pass = OnePass(listed.path, listed.size, kinds=task.kinds, not_after=self._crew.not_after)
        self._meter.begin(task)

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        if self._crew.stop.is_set():
            raise _Stopped
        self._pass.data(chunk)
        self._meter.bytes += len(chunk)

    def end(self, entry: Entry, problem: Problem | None) -> None:
        found = self._task.job.found
        result = self._pass.seen() if problem is None else self._crew.unless_away(found, problem)
        self._meter.end(self._task)
        before_s, self._since_s = self._since_s, clock.ticks_s()
        self._crew.arrived.append(Arrived(self._task, result, self._since_s - before_s))


class Crew:
    """The workers of one run and what they share. With `not_after` they also look when pictures were taken.

    `arrived` fills while they work; `error` is what one of them died of, and then all stop.
    """

    def __init__(self, work: Sequence[Lane], not_after: datetime | None) -> None:
        self.not_after = not_after
        self.stop, self.wake = Event(), Event()
        self.arrived: deque[Arrived] = deque()
        self.meters: list[Meter] = []
        self.error: BaseException | None = None
        self._away: dict[str, Problem] = {}
        # Every medium gets its first worker before any gets its second.
        self._turns = deque(lane for turn in range(2) for lane in work if lane.workers > turn)
        self._busy = deque(range(min(_MOST_WORKERS, len(self._turns))))
        self._threads = [Thread(target=self._run, name=f"reader-{n}", daemon=True) for n in self._busy]

    def start(self) -> None:
        """Let the workers begin."""
        for thread in self._threads:
            thread.start()

    def wait(self, span_s: float) -> bool:
        """Wait until all have ended, at most so many seconds; say whether they have."""
        self.wake.wait(span_s)
        self.wake.clear()
        return not self._busy

    def halt(self) -> None:
        """Have every worker stop within one block, and wait for it; one stuck in a dead server's read is left."""
        self.stop.set()
        for thread in self._threads:
            if thread.ident is not None:
                thread.join(_PATIENCE_S)

    def unless_away(self, found: OpenCopy, problem: Problem) -> Problem:
        """Return the problem of a read, or, where the whole copy has gone since it was opened, that."""
        if found.copy.at is None or problem.trouble not in (Trouble.MISSING, Trouble.IO):
            return problem
        try:
            reach(found.copy.at, archive=found.is_archive, recognised_by=found.medium.recognised_by)
        except CannotReach as error:
            problem = Problem(Trouble.UNREACHABLE, f"the copy vanished while it was read: {error}")
            self._away[found.copy.id] = problem
        return problem

    def _run(self) -> None:
        buffer = bytearray(BLOCK)
        try:
            while lane := _next(self._turns):
                meter = Meter(lane.medium)
                self.meters.append(meter)
                while not self.stop.is_set() and (group := _next(lane.groups)):
                    self._read(group, meter, buffer)
                meter.copy = ""
        except _Stopped:
            pass
        except BaseException as error:
            self.error = self.error or error
            self.stop.set()
        finally:
            self._busy.pop()
            self.wake.set()

    def _read(self, group: list[Task], meter: Meter, buffer: bytearray) -> None:
        found = group[0].job.found
        taker = _Taker(self, meter, group)
        away = self._away.get(found.copy.id)
        if away is not None or found.view is None or found.store is None:
            problem = away or Problem(Trouble.UNREACHABLE, found.reason or "the copy is not open")
            for task in group:
                taker.begin(task.job.entry)
                taker.end(task.job.entry, problem)
        elif found.is_archive:
            found.view.deliver([task.job.entry for task in group], taker)
        else:
            # Without its listed size: a file that has grown or shrunk since is read to its real end.
            listed = group[0].job.entry
            deliver_file(found.store, Entry(listed.path, None, listed.modified, listed.index), taker, buffer)


def _next(queue: deque[T]) -> T | None:
    """Take the next one; None when another worker took the last."""
    try:
        return queue.popleft()
    except IndexError:
        return None
