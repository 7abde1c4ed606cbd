"""Lanes: what each medium has to give, and how many may read it at once.

Flows in: what is to be read of each copy. Flows out: for each medium a Lane, out of which workers take groups of files.
Must not know: how bytes are read, what the ledger holds, who asked.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice, pairwise
from operator import gt
from threading import Event
from typing import NamedTuple

from drill.ledger import Root
from drill.model import Entry, Medium
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


class Job(NamedTuple):
    """One file to read: the copy as found, its entry there, and digest kinds to make besides those of the whole run."""

    found: OpenCopy
    entry: Entry
    kinds: tuple[str, ...] = ()

    @property
    def key(self) -> JobKey:
        """Return what the job's result is found under."""
        return self.found.copy.id, self.entry.path, self.entry.index


@dataclass(frozen=True, slots=True)
class Group:
    """Files of one copy, the digest kinds to make of each, and where the copy lies for the ledger.

    (Lists side by side, and no object for each file: there may be a million of them.)
    """

    found: OpenCopy
    root: Root | None
    entries: list[Entry] = field(default_factory=list)
    kinds: list[tuple[str, ...]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Lane:
    """What one medium has to give, in groups (some files of a folder, or all of an archive), in path order.

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

    def next(self) -> Group | None:
        """Return the next group."""
        try:
            return self.groups[0]
        except IndexError:
            return None


def lanes(copies: Iterable[Group]) -> list[Lane]:
    """Sort what is to be read of each copy by medium and path."""
    by_medium: dict[str, Lane] = {}
    for group in copies:
        medium = group.found.medium
        readers = readers_of(medium)
        lane = by_medium.setdefault(medium.id, Lane(medium.id, readers, deque()))
        lane.groups.extend([group] if group.found.is_archive else _chunks(group, readers))
    return list(by_medium.values())


def readers_of(medium: Medium) -> int:
    """Return how many readers a medium bears at once."""
    return medium.readers or _READERS[medium.kind]


def is_small(entry: Entry) -> bool:
    """Say whether a file is listed as so small that it is fetched at one go."""
    return entry.size is not None and entry.size <= SMALL


def _chunks(group: Group, readers: int) -> Iterator[Group]:
    """Cut a copy's files into what a worker takes at a time, small enough that all of them end together."""
    most = max(1, min(_CHUNK, len(group.entries) // (8 * readers)))
    entries, kinds = group.entries, group.kinds
    paths = [entry.path for entry in entries]  # in order as their UTF-8 is, which keeps that of the code points
    if any(map(gt, paths, islice(paths, 1, None))):  # most listings are in order
        in_order = sorted(range(len(paths)), key=paths.__getitem__)
        entries, kinds = [entries[number] for number in in_order], [kinds[number] for number in in_order]
    larger = [number for number, entry in enumerate(entries) if not is_small(entry)]
    for start, end in pairwise(dict.fromkeys([0, *larger, len(entries)])):  # one that is not small begins a chunk
        for at in range(start, end, most):
            to = min(at + most, end)
            yield Group(group.found, group.root, entries[at:to], kinds[at:to])
