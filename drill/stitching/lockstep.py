"""Lockstep: where several versions of a file agree, where they differ, and where none has anything.

Flows in: versions and their bytes. Flows out: places, in order and without gaps. Must not know: digests. Only a chunk
of each version is in memory at once; versions are compared cell by cell, and cells end where a hole does.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from drill.stitching.versions import CHUNK, Bytes, Range, Version

Groups = tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Bytes start to end of the file, and the versions that have them, grouped by what they have there."""

    start: int
    end: int
    groups: Groups

    @property
    def differs(self) -> bool:
        """Say whether the versions that have these bytes disagree."""
        return len(self.groups) > 1


def compare(
    content: Bytes, versions: Sequence[Version], ranges: Iterable[Range], *, cell: int, apart: bool = False
) -> Iterator[Stretch]:
    """Yield the stretches of the ranges. Neighbours that the same versions have alike are one stretch, unless they
    differ and are to be kept `apart`, cell by cell."""
    last: Stretch | None = None
    for new in _cells(content, versions, ranges, cell):
        joins = last is not None and last.end == new.start and last.groups == new.groups
        if last is not None and joins and not (apart and new.differs):
            last = Stretch(last.start, new.end, new.groups)
            continue
        if last is not None:
            yield last
        last = new
    if last is not None:
        yield last


def _cells(content: Bytes, versions: Sequence[Version], ranges: Iterable[Range], cell: int) -> Iterator[Stretch]:
    for start, end in ranges:
        for first, until, present in between_holes(versions, start, end):
            at = first
            while at < until:
                stop = min(at - at % CHUNK + CHUNK, until)
                yield from _chunk(content, present, (at, stop), cell)
                at = stop


def _chunk(content: Bytes, present: Sequence[int], span: Range, cell: int) -> Iterator[Stretch]:
    start, end = span
    if len(present) < 2:
        yield Stretch(start, end, (tuple(present),) if present else ())
        return
    chunks = [memoryview(content.read(number, start, end)) for number in present]
    if all(chunk == chunks[0] for chunk in chunks[1:]):
        yield Stretch(start, end, (tuple(present),))
        return
    at = start
    while at < end:
        stop = min(at - at % cell + cell, end)
        yield Stretch(at, stop, _grouped(present, [chunk[at - start : stop - start] for chunk in chunks]))
        at = stop


def _grouped(present: Sequence[int], parts: Sequence[memoryview]) -> Groups:
    groups: list[list[int]] = []
    of: list[memoryview] = []
    for number, part in zip(present, parts, strict=True):
        for group, known in zip(groups, of, strict=True):
            if part == known:
                group.append(number)
                break
        else:
            groups.append([number])
            of.append(part)
    return tuple(map(tuple, groups))


def between_holes(versions: Sequence[Version], start: int, end: int) -> Iterator[tuple[int, int, tuple[int, ...]]]:
    """Yield the parts of start to end throughout which the same versions have something, and which these are."""
    turns: list[tuple[int, int, bool]] = []  # where, which version, whether it has something from there on
    has = [True] * len(versions)
    for number, version in enumerate(versions):
        for first, until in _lacking(version, end):
            if first < end and until > start:
                turns += [(max(first, start), number, False), (min(until, end), number, True)]
    turns.sort()
    cuts = sorted({start, end, *(at for at, _, _ in turns)})
    upcoming = 0
    for first, until in pairwise(cuts):
        while upcoming < len(turns) and turns[upcoming][0] <= first:
            _, number, has[number] = turns[upcoming]
            upcoming += 1
        yield first, until, tuple(number for number, there in enumerate(has) if there)


def _lacking(version: Version, end: int) -> Sequence[Range]:
    """Return what a version does not have up to `end`; a hole at its own end and what is missing after it are one."""
    if version.size >= end:
        return version.holes
    if version.holes and version.holes[-1][1] >= version.size:
        return (*version.holes[:-1], (version.holes[-1][0], end))
    return (*version.holes, (version.size, end))


def families(stretches: Iterable[Stretch], count: int, *, least: int, share: float) -> list[tuple[int, ...]]:
    """Return versions that belong together: of what two of them both have, that `share` at least is alike, or they both
    have less than `least` bytes. The others are another file, or wrong nearly everywhere."""
    both = [[0] * count for _ in range(count)]
    alike = [[0] * count for _ in range(count)]
    for stretch in stretches:
        size = stretch.end - stretch.start
        there = [number for group in stretch.groups for number in group]
        for one in there:
            for other in there:
                both[one][other] += size
        for group in stretch.groups:
            for one in group:
                for other in group:
                    alike[one][other] += size
    left = list(range(count))
    found = []
    while left:
        family, todo = set(), [left[0]]
        while todo:
            one = todo.pop()
            family.add(one)
            todo += [
                other
                for other in left
                if other not in family and (both[one][other] < least or alike[one][other] >= share * both[one][other])
            ]
        found.append(tuple(sorted(family)))
        left = [number for number in left if number not in family]
    return found
