"""Contents and slots: the different readings among many files, and the readings of one file that was made once.

Flows in: wares. Flows out: contents, slots. Must not know: why readings belong together (see `kin`), shoots.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from drill import naming
from drill.intake.wares import Claimed, Ware
from drill.model import Digest

_FEWEST_DELIVERED = 3


@dataclass(slots=True, eq=False)
class Content:
    """One reading: its bytes' digests, and the wares that have it."""

    wares: list[Ware] = field(default_factory=list)
    claims: list[Claimed] = field(default_factory=list)  # lists that name these very bytes

    @property
    def first(self) -> Ware:
        """Return the first ware that has it."""
        return self.wares[0]

    @property
    def copies(self) -> set[str]:
        """Return the copies that have it."""
        return {ware.copy for ware in self.wares}

    @property
    def media(self) -> set[str]:
        """Return the media that have it."""
        return {ware.medium for ware in self.wares}

    @property
    def size(self) -> int:
        """Return its size in bytes."""
        return self.first.seen.size


@dataclass(slots=True, eq=False)
class Slot:
    """One file that was made once: its readings, and digests that a list claims for it and no copy has."""

    contents: list[Content] = field(default_factory=list)
    unmet: list[Claimed] = field(default_factory=list)

    @property
    def wares(self) -> list[Ware]:
        """Return every ware of every reading."""
        return [ware for content in self.contents for ware in content.wares]


def with_deliveries(wares: Sequence[Ware]) -> list[Ware]:
    """Return wares in which a folder of nothing but what is delivered elsewhere counts as delivered too.

    A gallery's zip, or a folder with a client's name, holds what lies in a folder for deliveries on another copy. One
    or two pictures, or a camera's own folder, may be delivered as they were shot, and stay pictures.
    """
    delivered: dict[tuple[Digest, ...], set[str]] = defaultdict(set)
    folders: dict[tuple[str, tuple[str, ...]], list[Ware]] = defaultdict(list)
    for ware in wares:
        if ware.delivery:
            delivered[ware.seen.digests].add(ware.copy)
        elif ware.is_picture and not naming.on_a_card(ware.entry.path):
            folders[ware.copy, ware.folders].append(ware)
    alike: set[Ware] = set()
    for (copy, _), inside in folders.items():
        if len(inside) >= _FEWEST_DELIVERED and all(delivered.get(w.seen.digests, set()) - {copy} for w in inside):
            alike.update(inside)
    return [replace(ware, delivery=True) if ware in alike else ware for ware in wares]


def contents_of(wares: Iterable[Ware]) -> list[Content]:
    """Return the different readings among wares. A delivered file is one of its own, even with a picture's bytes."""
    found: dict[tuple[bool, tuple[Digest, ...]], Content] = {}
    for ware in wares:
        found.setdefault((ware.delivery, ware.seen.digests), Content()).wares.append(ware)
    return list(found.values())
