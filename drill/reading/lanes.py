"""Lanes: what each medium has to give, and how many may read it at once.

Flows in: jobs, sorted into tasks. Flows out: for each medium a Lane, out of which workers take groups of tasks. Must
not know: how bytes are read, what the ledger holds, who asked.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from threading import Event

from drill.ledger import Root
from drill.model import Entry
from drill.shelf import OpenCopy

SMALL = 256 * 1024  # up to here a file is fetched at one go
_CHUNK = 256  # files that a worker takes at a time, where there are many

# Small files are bound by the time each read takes to answer: on flash, 8 readers at once read 2.5 to 3 times as many
# files a second as one, and 16 no more than 8 (measured). Discs, tapes and spinning drives have one head, which a
# second reader only sends to and fro. A card, a tablet or a phone answers over a plug that takes few requests at a
# time; a server may have spinning drives, or count its clients. For these, 4 is our choice, with no source.
_READERS = {"ssd": 8, "computer": 8, "card": 4, "tablet": 4, "phone": 4, "network-storage": 4, "cloud": 4}
_READERS |= {"hard-disk": 1, "optical": 1, "tape": 1}

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
    """A job with its key, the digest kinds to make, and where its copy lies for the ledger."""

    key: JobKey
    job: Job
    kinds: tuple[str, ...]
    root: Root | None


Group = list[Task]


@dataclass(frozen=True, slots=True)
class Lane:
    """What one medium has to give: tasks in groups (some files of a folder, or all of an archive), in path order.

    `empty` is set as soon as nothing is left.
    """

    medium: str
    readers: int
    groups: deque[Group]
    empty: Event = field(default_factory=Event)

    def take(self) -> Group | None:
        """Strike off the next group; None when nothing is left."""
        try:
            return self.groups.popleft()
        except IndexError:
            self.empty.set()
            return None

    def next_task(self) -> Task | None:
        """Return the first task of the next group."""
        try:
            return self.groups[0][0]
        except IndexError:
            return None


def lanes(tasks: Iterable[Task]) -> list[Lane]:
    """Sort tasks by medium, copy and path."""
    by_copy: dict[str, list[Task]] = {}
    for task in tasks:
        by_copy.setdefault(task.job.found.copy.id, []).append(task)
    by_medium: dict[str, Lane] = {}
    for group in by_copy.values():
        found = group[0].job.found
        readers = found.medium.readers or _READERS[found.medium.kind]
        lane = by_medium.setdefault(found.medium.id, Lane(found.medium.id, readers, deque()))
        if found.is_archive:
            lane.groups.append(group)
        else:
            group.sort(key=lambda task: task.job.entry.path.encode("utf-8", "surrogatepass"))
            lane.groups.extend(_chunks(group, readers))
    return list(by_medium.values())


def is_small(entry: Entry) -> bool:
    """Say whether a file is listed as so small that it is fetched at one go."""
    return entry.size is not None and entry.size <= SMALL


def _chunks(group: Group, readers: int) -> Iterator[Group]:
    """Cut a copy's files into what a worker takes at a time, small enough that all of them end together."""
    most = max(1, min(_CHUNK, len(group) // (8 * readers)))
    chunk: Group = []
    for task in group:
        if chunk and (len(chunk) >= most or not is_small(task.job.entry)):
            yield chunk
            chunk = []
        chunk.append(task)
    if chunk:
        yield chunk
