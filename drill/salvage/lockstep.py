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
    for number, (data, known) in enumerate(_stretches(pieces())):
        if second is None and not known:
            second = _caught_up(new(), pieces(), number)
        zeros = _fed(first, data)
        if second is None:
            if zeros is None:
                yield from _finely(_caught_up(new(), pieces(), number), data)
                raise Parted(unread=False)
            if zeros:
                yield zeros
        else:
            ones = _fed(second, data if known else b"\xff" * len(data))
            if zeros is None or ones is None or len(zeros) != len(ones) or first.ended != second.ended:
                raise Parted(unread=True)
            yield from _agreeing(zeros, ones)
        if first.ended:
            return


def _stretches(pieces: Iterator[Packed]) -> Iterator[tuple[bytes, bool]]:
    """Cut pieces at the ends of their holes; say of each stretch whether it is known."""
    for piece in pieces:
        at = 0
        for start, end in (*piece.holes, (len(piece.data), len(piece.data))):
            if start > at:
                yield piece.data[at:start], True
            if end > start:
                yield piece.data[start:end], False
            at = end


def _caught_up(decoder: Decoder, pieces: Iterator[Packed], number: int) -> Decoder:
    for _, (data, _) in zip(range(number), _stretches(pieces), strict=False):
        for _ in decoder.feed(data):
            pass
    return decoder


def _fed(decoder: Decoder, packed: bytes) -> bytes | None:
    """Return what the next packed bytes unpack to, None where they make no sense."""
    try:
        return b"".join(decoder.feed(packed))
    except Exception:  # whatever damage makes of a library
        return None


def _finely(decoder: Decoder, packed: bytes) -> Iterator[bytes]:
    """Yield what comes before the byte that makes no sense: a library gives nothing of a call in which it fails."""
    for at in range(len(packed)):
        out = _fed(decoder, packed[at : at + 1])
        if out is None:
            return
        if out:
            yield out


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
