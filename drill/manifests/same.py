"""Same: one object for equal names and digests, over all lists of a studio.

Flows in: names and digests, as lists are read. Flows out: the first that were equal. Must not know: files, lists.
"""

from drill.model import Digest


class Same:
    """Hands out one object for equal names and digests: of many lists that say the same, most of the memory."""

    __slots__ = ("_digests", "_paths")

    def __init__(self) -> None:
        self._paths: dict[str, str] = {}
        self._digests: dict[tuple[Digest, ...], tuple[Digest, ...]] = {}

    def path(self, path: str) -> str:
        """Return the first path that was equal to this one."""
        return self._paths.setdefault(path, path)

    def digests(self, digests: tuple[Digest, ...]) -> tuple[Digest, ...]:
        """Return the first digests that were equal to these."""
        return self._digests.setdefault(digests, digests)
