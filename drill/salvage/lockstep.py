"""Unpacking past bytes that cannot be read: twice, with zeros and with ones in their place, side by side.

Flows in: a unit's decoder, its packed pieces with their holes. Flows out: bytes, and gaps where the two differ. Must
not know: formats, members. Where a hole lies in bytes that were stored as they are, both runs keep in step and differ
in just these bytes, and in what was copied from them later; anywhere else they part at once, and no byte of the unit
can be had from there on. Common practice, no source.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from drill.copies.units import Decoder
from drill.salvage.claims import Gap

Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Packed:
    """Packed bytes to be fed, and which of them are not known, as [from, to) within the piece."""

    data: bytes
    holes: tuple[Range, ...] = ()


class Parted(Exception):
    """From here on the unit cannot be unpacked; `unread` says whether that comes of bytes that cannot be read."""

    def __init__(self, *, unread: bool) -> None:
        super().__init__()
        self.unread = unread


def unpack_around(
    first: Decoder, new: Callable[[], Decoder], pieces: Callable[[], Iterator[Packed]]
) -> Iterator[bytes | Gap]:
    """Yield what a unit unpacks to by its decoder. `new` and `pieces` are for a second run, from the first hole on.

    Errors: Parted. Ends early, without error, where the pieces end.
    """
    second: Decoder | None = None
    for number, piece in enumerate(pieces()):
        if second is None and piece.holes:
            second = _caught_up(new(), pieces(), number)
        if second is None:
            yield from _plainly(first, piece.data)
        else:
            zeros, ones = _fed(first, piece, 0), _fed(second, piece, 0xFF)
            if zeros is None or ones is None or len(zeros) != len(ones) or first.ended != second.ended:
                raise Parted(unread=True)
            yield from _agreeing(zeros, ones)
        if first.ended:
            return


def _caught_up(decoder: Decoder, pieces: Iterator[Packed], number: int) -> Decoder:
    for _, piece in zip(range(number), pieces, strict=False):
        for _ in decoder.feed(piece.data):
            pass
    return decoder


def _plainly(decoder: Decoder, packed: bytes) -> Iterator[bytes]:
    try:
        yield from decoder.feed(packed)
    except Exception:  # whatever damage makes of a library
        raise Parted(unread=False) from None


def _fed(decoder: Decoder, piece: Packed, fill: int) -> bytes | None:
    packed = bytearray(piece.data)
    for start, end in piece.holes:
        packed[start:end] = bytes((fill,)) * (end - start)
    try:
        return b"".join(decoder.feed(bytes(packed)))
    except Exception:  # whatever damage makes of a library
        return None


def _agreeing(zeros: bytes, ones: bytes) -> Iterator[bytes | Gap]:
    """Yield what two runs of one length agree in, and gaps for the rest."""
    at, size, step = 0, len(zeros), 256
    while at < size:
        start = at
        while at < size and zeros[at : at + step] == ones[at : at + step]:
            at = min(size, at + step)
        while at < size and zeros[at] == ones[at]:
            at += 1
        if at > start:
            yield zeros[start:at]
        start = at
        while at < size and zeros[at] != ones[at]:
            at += 1
        if at > start:
            yield Gap(at - start)
