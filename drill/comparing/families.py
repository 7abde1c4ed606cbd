"""Families: which files on several copies are one file, though their bytes differ.

Flows in: readings. Flows out: families, each with its different contents. Must not know: bytes, promises, who is right.

Equal digests are one content. Contents of one name (its last part; NFC, case-folded) are of one file when they lie
under one path, else in folders of one name, else when they have one size; by each only where no copy holds two of
those that would be joined: which of them was meant could not be told. It is the rule by which an audit finds what was
promised, and the last, weakest one of `drill.intake.kin`, whose signs (capture times, sixteenths) an audit does not
gather. Cameras use names again, so two of a family may be two pictures; their bytes tell.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from drill.coverage import WEAK, name_key
from drill.globs import fold
from drill.model import Digest, Entry


class Joined:
    """Sets that grow together (union-find)."""

    def __init__(self, count: int) -> None:
        self._above = list(range(count))

    def root(self, number: int) -> int:
        """Return the number that stands for the set."""
        while self._above[number] != number:
            self._above[number] = self._above[self._above[number]]
            number = self._above[number]
        return number

    def join(self, one: int, other: int) -> int:
        """Make one set of two; return the number that stands for it, the smaller one."""
        first, second = sorted((self.root(one), self.root(other)))
        self._above[second] = first
        return first


@dataclass(frozen=True, slots=True)
class Reading:
    """One file on a copy and what is known of its bytes; `top` is the name of the copy's own folder, a hint.

    Without digests nothing is known of them; `failed` where they could not be read to their end.
    """

    copy: str
    medium: str
    entry: Entry
    size: int | None
    digests: tuple[Digest, ...] = ()
    failed: bool = False
    top: str = ""


Content = tuple[Reading, ...]  # readings of equal digests
KeyOf = Callable[[Reading], list[Hashable]]


@dataclass(frozen=True, slots=True)
class Family:
    """The different contents of one file; `sure` where digests, sizes or a failed read say that two of them differ."""

    name: str
    contents: tuple[Content, ...]
    sure: bool


def families(readings: Iterable[Reading]) -> Iterator[Family]:
    """Yield the files of which two copies or more hold what may be different contents, by their names' order."""
    by_name: dict[str, list[Reading]] = defaultdict(list)
    for reading in readings:
        by_name[name_key(reading.entry.path)].append(reading)
    for name in sorted(by_name):
        if len({reading.copy for reading in by_name[name]}) > 1:
            yield from _of_name(by_name[name])


def _of_name(readings: Sequence[Reading]) -> Iterator[Family]:
    contents = _contents(readings)
    joined = Joined(len(contents))
    for key_of in (_path_keys, _folder_keys):
        for bucket in _buckets(contents, key_of):
            copies = [copy for inside in bucket.values() for copy in inside]
            if len(copies) == len(set(copies)):
                _join(joined, bucket)
    for bucket in _buckets(contents, _size_keys):
        roots = {joined.root(number) for number in bucket}
        held: dict[int, set[str]] = {root: set() for root in roots}
        for number, content in enumerate(contents):
            if joined.root(number) in held:
                held[joined.root(number)] |= {reading.copy for reading in content}
        if sum(map(len, held.values())) == len(set().union(*held.values())):
            _join(joined, bucket)
    members: dict[int, list[Content]] = defaultdict(list)
    for number, content in enumerate(contents):
        members[joined.root(number)].append(content)
    for some in members.values():
        if len({reading.copy for content in some for reading in content}) > 1 and len(some) > 1:
            sure = any(_differ(one, other) for one, other in combinations(some, 2))
            yield Family(some[0][0].entry.path.rpartition("/")[2], tuple(some), sure)


def _contents(readings: Sequence[Reading]) -> list[Content]:
    """Gather readings of equal digests; of weak ones alone the size must agree too (the name does)."""
    joined = Joined(len(readings))
    first: dict[Hashable, int] = {}
    for number, reading in enumerate(readings):
        for digest in reading.digests:
            key = (digest, reading.size) if digest.kind in WEAK else digest
            joined.join(first.setdefault(key, number), number)
    found: dict[int, list[Reading]] = defaultdict(list)
    for number, reading in enumerate(readings):
        found[joined.root(number)].append(reading)
    return [tuple(some) for some in found.values()]


def _buckets(contents: Sequence[Content], key_of: KeyOf) -> list[dict[int, set[str]]]:
    """Return what several contents have in common: their numbers, each with the copies where it does."""
    found: dict[Hashable, dict[int, set[str]]] = defaultdict(dict)
    for number, content in enumerate(contents):
        for reading in content:
            for key in key_of(reading):
                found[key].setdefault(number, set()).add(reading.copy)
    return [bucket for bucket in found.values() if len(bucket) > 1]


def _join(joined: Joined, numbers: Iterable[int]) -> None:
    first, *others = numbers
    for other in others:
        joined.join(first, other)


def _path_keys(reading: Reading) -> list[Hashable]:
    return [fold(reading.entry.path)]


def _folder_keys(reading: Reading) -> list[Hashable]:
    """Return the last folder; at the top of a copy that is the copy's own, and one top is like the other."""
    path = fold(reading.entry.path)
    return list({_folder(path), _folder(f"{fold(reading.top)}/{path}")})


def _size_keys(reading: Reading) -> list[Hashable]:
    return [] if reading.size is None else [reading.size]


def _folder(path: str) -> str:
    return path.rpartition("/")[0].rpartition("/")[2]


def _differ(one: Content, other: Content) -> bool:
    mine, yours = one[0], other[0]
    if mine.failed or yours.failed:
        return True
    if mine.size is not None and yours.size is not None and mine.size != yours.size:
        return True
    kinds = {digest.kind for reading in one for digest in reading.digests}
    return any(digest.kind in kinds for reading in other for digest in reading.digests)
