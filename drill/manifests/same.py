"""Same: what several lists of a studio say alike is one object in memory, and what is one list is read once.

Flows in: names with digests, as lists are read. Flows out: the same, by the objects that said it first. Must not know:
files, lists.
"""

from collections.abc import Sequence
from pathlib import Path

from drill.columns import Rows
from drill.model import Digest, Listed


class Same:
    """Remembers names by their digests; for as long as lists are read."""

    __slots__ = ("_by_digests", "_lists", "_rows")

    def __init__(self) -> None:
        self._by_digests: dict[tuple[Digest, ...], Listed] = {}
        self._rows: dict[int, Rows] = {}  # by their length
        self._lists: dict[tuple[str, tuple[Path, ...]], Sequence[Listed]] = {}

    def listed(self, path: str, digests: tuple[Digest, ...], size: int | None) -> Listed:
        """Return what a list says of a name: as another list said it, or at least with the other's digests."""
        known = self._by_digests.get(digests)
        if known is None:
            known = self._by_digests[digests] = Listed(path, digests, size)
        if (known.path, known.size) == (path, size):
            return known
        return Listed(path, known.digests, size)

    def known(self, files: Sequence[Path], role: str) -> Sequence[Listed] | None:
        """Return what these files say, where they were read in this role, or as a promise; None where they were not."""
        return self._lists.get((role, tuple(files)))

    def keep(self, files: Sequence[Path], role: str, listed: Sequence[Listed]) -> None:
        """Remember what checksum lists say in which all is well: a promise's say the same of a copy."""
        for each in {role, "copy"}:
            self._lists[each, tuple(files)] = listed

    def rows(self, rows: Rows) -> Rows:
        """Return a list in columns, with those shared that an earlier list of as many names has alike."""
        rows.share(self._rows.setdefault(len(rows), rows))
        return rows
