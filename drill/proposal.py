"""The proposal of `drill new`: what was found on a pile of media, and what is proposed to be promised, and why.

Flows in: values from the intake. Flows out: values. Reports know nothing else. Must not know: copies, terminals.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from drill.model import Digest


@dataclass(frozen=True, slots=True)
class MediumNote:
    """A medium of the proposal: its id, kind and place, and whether the place is only assumed."""

    id: str
    kind: str
    place: str
    assumed: bool
    at: str | None


@dataclass(frozen=True, slots=True)
class CopyNote:
    """A copy found on a medium: where, what it holds; `reason` where it gives nothing, or where `is_damaged` says that
    it is an archive that may not name all that was in it."""

    id: str
    on: str
    at: str | None
    form: str | None
    files: int = 0
    bytes: int = 0
    reason: str = ""
    is_damaged: bool = False


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A file of which copies hold different bytes: who has which reading, which one is promised, and why that one."""

    path: str
    readings: tuple[tuple[str, ...], ...]  # the copies of each reading, the promised one first
    why: str
    judged: bool  # true: neither a list nor a majority settles it


@dataclass(frozen=True, slots=True)
class PromiseLine:
    """One file to promise: its path in the shoot, the digests known of its promised bytes, its size where known."""

    path: str
    digests: tuple[Digest, ...]
    size: int | None


@dataclass(frozen=True, slots=True)
class ShootNote:
    """A shoot as proposed. `known` is true where the studio file has it already and `lines` are only additions."""

    id: str
    date: date | None
    date_from: str
    lines: tuple[PromiseLine, ...]
    copies: Mapping[str, int]  # copy id → how many of the promised files it holds, byte for byte
    base: str
    why: str
    disagreements: tuple[Disagreement, ...] = ()
    notes: tuple[str, ...] = ()
    known: bool = False

    @property
    def bytes(self) -> int:
        """Return the bytes of the promised files, as far as sizes are known."""
        return sum(line.size or 0 for line in self.lines)


@dataclass(frozen=True, slots=True)
class ListLine:
    """One file for a copy's own list."""

    path: str
    digests: tuple[Digest, ...]


@dataclass(frozen=True, slots=True)
class Proposal:
    """All that a look at the media found."""

    media: tuple[MediumNote, ...]
    copies: tuple[CopyNote, ...]
    shoots: tuple[ShootNote, ...]
    lists: Mapping[str, tuple[ListLine, ...]]  # copy id → what it was seen to hold
    present: Mapping[str, frozenset[str]]  # copy id → every path that is there, read or not
    closed: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # copy id → folders that could not be listed
    unread: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # copy id → path that could not be read → why
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    gap_s: float = 0.0
    digest: str = "xxh128"
    deliveries: tuple[str, ...] = ()  # names of folders that hold deliverables
