"""What lies where in an archive, and what the loss of it costs: the values that say so.

Flows in: nothing. Flows out: values. Must not know: formats, files, faults, promises. Members are numbered in the order
in which their bytes lie in the archive; ranges of bytes and of members are [from, to).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from drill.model import Entry

Members = tuple[int, int]
"""A range of members by number, [from, to)."""


class Part(StrEnum):
    """What a stretch of an archive's bytes is for."""

    HEADERS = "headers"  # what names the members and says where they lie
    STORED = "stored"  # a member's bytes as they are
    COMPRESSED = "compressed"  # bytes that only mean something together with those before them
    ENCRYPTED = "encrypted"
    NOTHING = "nothing"  # padding: no member needs it


@dataclass(frozen=True, slots=True)
class Extent:
    """A stretch of the archive's bytes each of which costs the same when it cannot be read.

    `stops` is what a program loses that ends at its first error: every member from that number on (the number of all
    members: none). `least` and `most` are the members lost when the sector is read around and decoding goes on past
    it: the bounds agree where structure decides. `why` names the part in words, such as "the end header".
    """

    start: int
    end: int
    part: Part
    stops: int
    least: Members
    most: Members
    why: str = ""


@dataclass(frozen=True, slots=True)
class Anatomy:
    """An archive's structure: its members in the order of their bytes, its extents without gaps from 0 to its size.

    `stream_size` is how many bytes the members have, `packed_size` how many they take in the archive, `restarts` how
    many places there are at which decoding can begin anew, None where that does not apply. `kept_elsewhere` says that
    the headers' loss was counted as none because a copy of them is kept.
    """

    size: int
    members: Sequence[Entry]
    extents: Sequence[Extent]
    stream_size: int
    packed_size: int
    restarts: int | None = None
    encrypted: bool = False
    kept_elsewhere: bool = False


@dataclass(frozen=True, slots=True)
class Piece:
    """Bytes of an archive that are kept outside it: where they stood, and what they are."""

    start: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Kept:
    """An archive's headers as they were when it was in good health: its size then, and the pieces in order."""

    size: int
    pieces: tuple[Piece, ...]
