"""Lookup: numbers of a long list by what it says, a digest or a name, eight bytes each.

Flows in: lists. Flows out: indexes. Must not know: what a name or a digest is looked up for.
"""

from array import array
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Generic, TypeVar

from drill.columns import Said, columns_of
from drill.model import Digest

_KEY_BITS = 62  # of a key and a number together: they fit into a signed machine word
_CROWD = 16  # numbers of one key from which on they are kept

K = TypeVar("K")


class Index(Generic[K]):
    """Numbers by key, eight bytes each."""

    __slots__ = ("_bits", "_crowds", "_has", "_mask", "_rows", "_short")

    def __init__(
        self,
        keys: Iterable[tuple[str, int]],
        count: int,
        has: Callable[[int, K], bool],
        short: Callable[[K], str],
    ) -> None:
        """Make one of (text of a key, number) pairs, the numbers from 0 to below `count`. `has` says whether one has
        a key, for two keys may look alike here; `short` is a key's text."""
        self._has, self._short = has, short
        self._bits = bits = max(1, count.bit_length())
        self._mask = mask = (1 << (_KEY_BITS - bits)) - 1
        self._rows = array("q", sorted([(hash(key) & mask) << bits | number for key, number in keys]))
        self._crowds: dict[K, Sequence[int]] = {}

    def __len__(self) -> int:
        return len(self._rows)

    def of(self, key: K) -> Sequence[int]:
        """Return the numbers that have a key, in rising order."""
        low = (hash(self._short(key)) & self._mask) << self._bits
        rows = self._rows
        start = bisect_left(rows, low)
        high = low + (1 << self._bits)
        if start >= len(rows) or rows[start] >= high:
            return ()
        if start + 1 == len(rows) or rows[start + 1] >= high:
            return (rows[start] - low,) if self._has(rows[start] - low, key) else ()
        known = self._crowds.get(key)
        if known is None:
            some = (row - low for row in rows[start : bisect_left(rows, high, start)])
            known = [number for number in some if self._has(number, key)]
            if len(known) > _CROWD:
                self._crowds[key] = known
        return known

    def shared(self) -> Iterator[list[int]]:
        """Yield the numbers that may share a key, group by group, where there are several."""
        group: list[int] = []
        last = -1
        for row in self._rows:
            key = row >> self._bits
            if key != last:
                if len(group) > 1:
                    yield group
                group, last = [], key
            group.append(row & ((1 << self._bits) - 1))
        if len(group) > 1:
            yield group


def digest_index(items: Sequence[Said]) -> Index[Digest]:
    """Return the numbers of what says each digest, looked up by the digest."""
    columns = columns_of(items)
    keys = ((text, number) for number, texts in enumerate(columns.all_hexes()) for text in texts)
    return Index(keys, len(items), columns.has, lambda digest: digest.hex)


def path_index(items: Sequence[Said], key: Callable[[str], str] = str) -> Index[str]:
    """Return the numbers of names, looked up by what `key` makes of them."""
    columns = columns_of(items)
    keys = ((key(path), number) for number, path in enumerate(columns.paths()))
    return Index(keys, len(items), lambda number, name: key(columns.path(number)) == name, str)
