"""Masks: which copies hold a promised file, a bit for each copy, so that files are counted once and never walked again.

Flows in: for each copy a byte for every file, whether it holds it; what scenarios leave of the copies. Flows out: for
each shoot its masks with their files and bytes, and what each scenario takes of it. Must not know: what a copy, a
scenario or an event is. Millions of files have a few hundred masks; everything that is asked costs what those cost.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple


class Count(NamedTuple):
    """Files, and their bytes; a file of unknown size counts 0 bytes."""

    files: int
    bytes: int

    def plus(self, other: "Count") -> "Count":
        """Return both together."""
        return Count(self.files + other.files, self.bytes + other.bytes)


NOTHING = Count(0, 0)
Held = Mapping[int, Count]  # the files of a shoot by mask


@dataclass(frozen=True, slots=True)
class Left:
    """What is left after something went wrong: copies that are whole, and copies damaged somewhere, as bits."""

    whole: int
    damaged: int = 0


@dataclass(frozen=True, slots=True)
class Toll:
    """What one scenario takes of one shoot: lost on every copy, and in doubt, as every copy left is a damaged one."""

    lost: Count
    doubtful: Count


def planes(holds: Sequence[bytes | bytearray]) -> tuple[bytes, ...]:
    """Lay the copies' bytes (0: does not hold the file) together: a bit for each copy, eight to a byte of each file."""
    found = []
    for first in range(0, len(holds), 8):
        together = 0
        for bit, held in enumerate(holds[first : first + 8]):
            marks = bytes(held).translate(bytes([0]) + bytes([1 << bit]) * 255)
            together |= int.from_bytes(marks, "little")
        found.append(together.to_bytes(len(holds[first]), "little"))
    return tuple(found)


def counted(laid: Sequence[bytes], sizes: Sequence[int], span: slice) -> dict[int, Count]:
    """Count the files of one shoot by mask. `sizes` are bytes, -1 where not known; `span` are the shoot's files."""
    sizes = sizes[span]
    if not laid:
        return {0: Count(len(sizes), sum(size for size in sizes if size > 0))} if sizes else {}
    weight: dict[tuple[int, ...], int] = {}
    rows = list(zip(*(plane[span] for plane in laid), strict=True))
    files = Counter(rows)
    if len(files) == 1:
        return {_mask(rows[0]): Count(len(rows), sum(sizes) + sizes.count(-1))}
    for row, size in zip(rows, sizes, strict=True):
        if size > 0:
            weight[row] = weight.get(row, 0) + size
    return {_mask(row): Count(number, weight.get(row, 0)) for row, number in files.items()}


def _mask(row: Iterable[int]) -> int:
    return int.from_bytes(bytes(row), "little")


def tolls(shoots: Iterable[Held], left: Sequence[Left]) -> list[dict[int, Toll]]:
    """Return for each shoot what each of the scenarios (by number) takes of it; only where it takes anything.

    A file is lost where no copy that is left holds it, in doubt where only damaged ones do.
    """
    harm: dict[int, tuple[tuple[int, bool], ...]] = {}
    found = []
    for held in shoots:
        lost: dict[int, Count] = {}
        doubtful: dict[int, Count] = {}
        for mask, count in held.items():
            if mask not in harm:
                harm[mask] = tuple((n, not mask & one.damaged) for n, one in enumerate(left) if not mask & one.whole)
            for number, is_lost in harm[mask]:
                part = lost if is_lost else doubtful
                part[number] = part[number].plus(count) if number in part else count
        hit = sorted(lost.keys() | doubtful.keys())
        found.append({number: Toll(lost.get(number, NOTHING), doubtful.get(number, NOTHING)) for number in hit})
    return found


def weakest(masks: Iterable[int]) -> tuple[int, ...]:
    """Return the masks that hold no other one: a file on more copies is never lost sooner. Sorted."""
    kept: list[int] = []
    for mask in sorted(set(masks), key=lambda one: (one.bit_count(), one)):
        if not any(mask & one == one for one in kept):
            kept.append(mask)
    return tuple(sorted(kept))


def named(mask: int, ids: Sequence[str]) -> tuple[str, ...]:
    """Return the copies of a mask, by the ids of all copies in the order of their bits."""
    return tuple(id_ for bit, id_ in enumerate(ids) if mask >> bit & 1)
