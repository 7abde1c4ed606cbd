"""The start header of a 7z archive made anew from its end header, which is searched for from behind.

Flows in: a stream of the archive's bytes. Flows out: a Piece with the 32 bytes that stood at the archive's beginning.
Must not know: members, blocks' contents, passwords. Facts: 7zFormat.txt: an end header begins with 0x17 0x06 (packed)
or 0x01 0x04 0x06, and its pack information says where the bytes before it lie: they end where it begins.
"""

import io
import re
import struct
import zlib
from io import RawIOBase

from drill.copies.sevenzip.layout import START_HEADER
from drill.extents import Piece

_SEARCHED = 64 * 1024 * 1024  # a header that is not packed takes some 100 bytes a member
_WINDOW = 1024 * 1024
_BEGINNING = re.compile(rb"\x17\x06|\x01\x04\x06", re.DOTALL)
_MOST_NUMBERS = 1 << 23
_SIZES = 0x09


def start_headers(raw: RawIOBase, size: int) -> list[Piece]:
    """Return the start headers that fit an end header found in the archive's tail, the likeliest first."""
    found: list[Piece] = []
    past = size
    least = max(START_HEADER, size - _SEARCHED)
    while past > least:
        begin = max(least, past - _WINDOW)
        window = _read(raw, begin, min(past + 32, size))
        for match in reversed(list(_BEGINNING.finditer(window))):
            at = begin + match.start()
            if at < past and _fits(window, match.end(), at, raw, begin):
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


def _fits(window: bytes, after: int, at: int, raw: RawIOBase, begin: int) -> bool:
    """Say whether what is packed before an end header at this place ends just there."""
    stream = io.BytesIO(window)
    stream.seek(after)
    position, count = _number(stream), _number(stream)
    if position is None or count is None or not 0 < count < _MOST_NUMBERS or stream.read(1) != bytes((_SIZES,)):
        return False
    total = position
    if count > 1:  # many sizes may reach beyond the window
        stream = io.BytesIO(_read(raw, begin + stream.tell(), begin + stream.tell() + 9 * count))
    for _ in range(count):
        packed = _number(stream)
        if packed is None:
            return False
        total += packed
        if START_HEADER + total > at:
            return False
    return START_HEADER + total == at


def _number(stream: io.BytesIO) -> int | None:
    """Read a number as 7zFormat.txt writes it: the first byte's upper ones tell how many bytes follow."""
    first = stream.read(1)
    if not first:
        return None
    more = 8 - (first[0] ^ 0xFF).bit_length()
    rest = stream.read(more)
    if len(rest) < more:
        return None
    upper = first[0] & (0x7F >> more)
    return int.from_bytes(rest, "little") + (upper << 8 * more)


def _start_header(raw: RawIOBase, at: int, size: int) -> Piece:
    crc = 0
    for begin in range(at, size, _WINDOW):
        crc = zlib.crc32(_read(raw, begin, min(begin + _WINDOW, size)), crc)
    content = struct.pack("<QQL", at - START_HEADER, size - at, crc)
    signature = b"7z\xbc\xaf\x27\x1c\0\4"
    return Piece(0, signature + struct.pack("<L", zlib.crc32(content)) + content)
