"""Gathering: what several lists and bags say together, name by name.

Flows in: names with digests, as lists are read. Flows out: names merged by path, as values or in columns. Must not
know: how a list is written, what a name matches.
"""

from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from drill.columns import Form, Rows
from drill.errors import Mistake
from drill.manifests.same import Same
from drill.model import Digest, Listed

_PLACE_BITS = 40  # a place is (file number << 40) + line number


@dataclass(slots=True)
class Gathering:
    """What several lists and bags say together: names in order of first appearance, merged by path."""

    index: dict[str, int] = field(default_factory=dict)
    digests: list[bytes] = field(default_factory=list)  # of each digest the kind's number and the bytes, joined
    sizes: dict[str, int] = field(default_factory=dict)
    mistakes: list[Mistake] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    files: list[Path] = field(default_factory=list)
    lists: list[str] = field(default_factory=list)
    _first: "array[int]" = field(default_factory=lambda: array("q"))
    _later: dict[tuple[int, str], int] = field(default_factory=dict)
    _kinds: list[tuple[str, int]] = field(default_factory=list)  # with the bytes of each
    _marks: dict[str, bytes] = field(default_factory=dict)

    def open_list(self, where: str) -> int:
        """Begin a list; return the number that its places begin from (add the line number)."""
        self.lists.append(where)
        return (len(self.lists) - 1) << _PLACE_BITS

    def add(self, path: str, digest: Digest, place: int) -> str | None:
        """Take one name with one digest; return where the path has another digest of that kind, or None."""
        number = self.index.setdefault(path, len(self.digests))
        mark = self._marks.get(digest.kind) or self._mark(digest)
        if number == len(self.digests):
            self.digests.append(mark + bytes.fromhex(digest.hex))
            self._first.append(place)
            return None
        for kind, raw in self._split(self.digests[number]):
            if kind == digest.kind:
                return None if raw.hex() == digest.hex else self._say(number, kind, place)
        self.digests[number] += mark + bytes.fromhex(digest.hex)
        self._later[number, digest.kind] = place
        return None

    def _mark(self, digest: Digest) -> bytes:
        self._kinds.append((digest.kind, len(digest.hex) // 2))
        return self._marks.setdefault(digest.kind, bytes([len(self._kinds) - 1]))  # some eighty kinds are known

    def _split(self, joined: bytes) -> Iterator[tuple[str, bytes]]:
        at = 0
        while at < len(joined):
            kind, length = self._kinds[joined[at]]
            yield kind, joined[at + 1 : at + 1 + length]
            at += 1 + length

    def _say(self, number: int, kind: str, place: int) -> str:
        earlier = self._later.get((number, kind), self._first[number])
        line = f"line {earlier & ((1 << _PLACE_BITS) - 1)}"
        same_list = earlier >> _PLACE_BITS == place >> _PLACE_BITS
        return line if same_list else f"{self.lists[earlier >> _PLACE_BITS]}, {line}"

    def listed(self, same: Same | None = None) -> tuple[Listed, ...]:
        """Return the names gathered, in order of first appearance, each with its digests sorted by kind."""
        sizes, same = self.sizes, same or Same()
        rows = zip(self.index, self.digests, strict=True)
        split = ((path, sorted(self._split(joined))) for path, joined in rows)
        one = ((path, tuple([Digest(kind, raw.hex()) for kind, raw in found])) for path, found in split)
        return tuple([same.listed(path, digests, sizes.get(path)) for path, digests in one])

    def rows(self, same: Same | None = None) -> Rows:
        """Return the same, held in columns."""
        sizes = [self.sizes.get(path) for path in self.index] if self.sizes else None
        rows = Rows(self.index, map(self._formed, self.digests), sizes)
        return rows if same is None else same.rows(rows)

    def _formed(self, joined: bytes) -> tuple[Form, bytes]:
        first = self._kinds[joined[0]]
        if len(joined) == 1 + first[1]:
            return (first,), joined[1:]
        found = sorted(self._split(joined))
        return tuple((kind, len(raw)) for kind, raw in found), b"".join(raw for _, raw in found)
