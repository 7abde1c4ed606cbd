"""The judge: what a restored file really is, read back from disk, against what was promised.

Flows in: a path in scratch, promises. Flows out: a Finding. It never sees the plan, the faults, or what restore claims.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from drill.digests import digest_file
from drill.model import Digest, Promised

_PAGE_STARTS = (b"<!doctype html", b"<html")


@dataclass(frozen=True, slots=True)
class Finding:
    """A restored file as read back: its size, its digests, and whether it looks like a web page."""

    size: int
    digests: tuple[Digest, ...]
    looks_like_page: bool = False

    def is_promised(self, file: Promised) -> bool:
        """Say whether these are the promised bytes: every promised digest was computed and agrees."""
        known = dict(self.digests)
        return bool(file.digests) and all(known.get(kind) == text for kind, text in file.digests)


def examine(path: Path, kinds: Iterable[str]) -> Finding:
    """Read a restored file back and compute its digests. Errors: OSError, which is never a pass."""
    size, digests = digest_file(path, kinds)
    with path.open("rb") as file:
        head = file.read(64).lstrip().lower()
    return Finding(size, digests, looks_like_page=head.startswith(_PAGE_STARTS))
