"""Shown: what the files of one copy showed when they were read, held so that a million of them fit in memory.

Flows in: results by file. Flows out: the same again. Must not know: how files are read, what is promised. Nearly every
result is a size and some digests, which are packed into one row of bytes; the others are kept as they are.
"""

from collections.abc import Iterator, MutableMapping
from itertools import accumulate

from drill.digests import hex_length
from drill.model import Digest, Problem, Seen

Key = tuple[str, int]  # a file's path on its copy, and its index there

_HEAD_BYTES = 9  # the number of the kinds' row, and the size
_MOST_KINDS = 256
_NEW = tuple.__new__  # what a named tuple's own does, a call less
_PLAIN = Seen(0, ())[2:]  # what a reading shows besides where digests alone were asked for


class Shown(MutableMapping[Key, Seen | Problem]):
    """Results by file."""

    def __init__(self) -> None:
        self._held: dict[str | Key, bytes | Seen | Problem] = {}
        self._numbers: dict[tuple[str, ...], int] = {}
        self._rows: list[tuple[tuple[str, int, int], ...]] = []  # by their number: each kind, where it begins and ends

    def __getitem__(self, key: Key) -> Seen | Problem:
        return self._plain(self._held[_short(key)])

    def get(self, key: Key, default: Seen | Problem | None = None) -> Seen | Problem | None:  # type: ignore[override]
        """Return a file's result, without raising anything on the way."""
        held = self._held.get(_short(key))
        return default if held is None else self._plain(held)

    def __setitem__(self, key: Key, result: Seen | Problem) -> None:
        self._held[_short(key)] = self._packed(result) if isinstance(result, Seen) else result

    def __delitem__(self, key: Key) -> None:
        del self._held[_short(key)]

    def __contains__(self, key: object) -> bool:
        return isinstance(key, tuple) and _short(key) in self._held

    def __iter__(self) -> Iterator[Key]:
        return ((key, 0) if isinstance(key, str) else key for key in self._held)

    def __len__(self) -> int:
        return len(self._held)

    def problems(self) -> list[tuple[Key, Problem]]:
        """Return the files that could not be read to their end, and why."""
        rest = ((key, held) for key, held in self._held.items() if isinstance(held, Problem))
        return [((key, 0) if isinstance(key, str) else key, held) for key, held in rest]

    def _packed(self, seen: Seen) -> bytes | Seen:
        """Return a result's size and digests in one row of bytes; itself where it showed more than these."""
        kinds = tuple([digest.kind for digest in seen.digests])
        number = self._numbers.setdefault(kinds, len(self._numbers))
        if number == len(self._rows):
            ends = list(accumulate((hex_length(kind) // 2 for kind in kinds), initial=_HEAD_BYTES))
            self._rows.append(tuple(zip(kinds, ends, ends[1:], strict=False)))
        if number >= _MOST_KINDS or seen[2:] != _PLAIN:
            return seen
        digests = bytes.fromhex("".join([digest.hex for digest in seen.digests]))
        return bytes([number]) + seen.size.to_bytes(_HEAD_BYTES - 1, "big") + digests

    def _plain(self, held: bytes | Seen | Problem) -> Seen | Problem:
        if not isinstance(held, bytes):
            return held
        digests = [_NEW(Digest, (kind, held[at:end].hex())) for kind, at, end in self._rows[held[0]]]
        return _NEW(Seen, (int.from_bytes(held[1:_HEAD_BYTES], "big"), tuple(digests), *_PLAIN))


def _short(key: Key) -> str | Key:
    """Return the path alone where that says it all: only members of archives have other numbers than 0."""
    return key[0] if key[1] == 0 else key
