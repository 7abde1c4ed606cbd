"""The start header of a 7z archive made anew from its end header, which is searched for from behind.

Flows in: a stream of the archive's bytes. Flows out: a Piece with the 32 bytes that stood at the archive's beginning.
Must not know: members, blocks' contents, passwords. Facts: 7zFormat.txt: an end header begins with 0x17 0x06 (packed)
or 0x01 0x04 0x06, and its pack information says where the bytes before it lie: they end where it begins.
"""

import re
import struct
import zlib
from dataclasses import dataclass
from io import RawIOBase

from drill.copies.sevenzip.layout import START_HEADER
from drill.extents import Piece

_SEARCHED = 64 * 1024 * 1024  # a header that is not packed takes some 100 bytes a member
_WINDOW = 1024 * 1024
_BEGINNING = re.compile(rb"\x17\x06|\x01\x04\x06", re.DOTALL)
_PIECE = 4096
_MOST_PLACES = 1 << 16  # that look like a beginning: of bytes at random some 1000 do
_MOST_NUMBERS = 1 << 22  # read of all of them: one for each packed stream
_MOST_FOUND = 64  # each has the rest of the archive read for its check value
_SIZES = 0x09


def start_headers(raw: RawIOBase, size: int) -> list[Piece]:
    """Return the start headers that fit an end header found in the archive's tail, the likeliest first."""
    found: list[Piece] = []
    looking = _Looking()
    past = size
    least = max(START_HEADER, size - _SEARCHED)
    while past > least:
        begin = max(least, past - _WINDOW)
        window = _read(raw, begin, min(past + 32, size))
        for match in reversed(list(_BEGINNING.finditer(window))):
            at = begin + match.start()
            if looking.over:
                return found
            if at < past and _fits(_Numbers(window, match.end(), raw, begin + len(window)), at, looking):
                found.append(_start_header(raw, at, size))
        past = begin
    return found


def _read(raw: RawIOBase, start: int, end: int) -> bytes:
    raw.seek(start)
    got = bytearray()
    while len(got) < end - start:
        chunk = raw.read(end - start - len(got))
        if not chunk:
            break
        got += chunk
    return bytes(got)


@dataclass(slots=True)
class _Looking:
    """What the search cost so far: whatever lies there, it ends."""

    places: int = 0
    numbers: int = 0
    found: int = 0

    @property
    def over(self) -> bool:
        return self.places >= _MOST_PLACES or self.numbers >= _MOST_NUMBERS or self.found >= _MOST_FOUND


def _fits(numbers: "_Numbers", at: int, looking: _Looking) -> bool:
    """Say whether what is packed before an end header at this place ends just there."""
    looking.places += 1
    position, count = numbers.next(), numbers.next()
    if position is None or count is None or count <= 0 or numbers.byte() != _SIZES:
        return False
    total = START_HEADER + position
    while count and total <= at and not looking.over:
        packed = numbers.next()
        if packed is None:
            return False
        looking.numbers += 1
        total += packed
        count -= 1
    fits = not count and total == at
    looking.found += fits
    return fits


class _Numbers:
    """Numbers as 7zFormat.txt writes them, from a place in a window on; behind it they are read in small pieces."""

    def __init__(self, window: bytes, place: int, raw: RawIOBase, end: int) -> None:
        self._held, self._place, self._raw, self._end = window, place, raw, end

    def byte(self) -> int | None:
        """Return the next byte, None at the end."""
        if self._place >= len(self._held):
            self._held, self._place = _read(self._raw, self._end, self._end + _PIECE), 0
            self._end += len(self._held)
        if not self._held:
            return None
        self._place += 1
        return self._held[self._place - 1]

    def next(self) -> int | None:
        """Return the next number, None at the end: its first byte's upper bits tell how many bytes follow."""
        first = self.byte()
        if first is None:
            return None
        value = 0
        more = 8 - (first ^ 0xFF).bit_length()
        for place in range(more):
            following = self.byte()
            if following is None:
                return None
            value |= following << 8 * place
        return value + ((first & (0x7F >> more)) << 8 * more)


def _start_header(raw: RawIOBase, at: int, size: int) -> Piece:
    crc = 0
    for begin in range(at, size, _WINDOW):
        crc = zlib.crc32(_read(raw, begin, min(begin + _WINDOW, size)), crc)
    content = struct.pack("<QQL", at - START_HEADER, size - at, crc)
    signature = b"7z\xbc\xaf\x27\x1c\0\4"
    return Piece(0, signature + struct.pack("<L", zlib.crc32(content)) + content)
