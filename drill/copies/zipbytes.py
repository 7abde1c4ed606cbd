"""Where a zip member's bytes lie: local headers and data descriptors.

Flows in: an archive's bytes, what its directory says of a member. Flows out: places. Must not know: who wants them.
Facts: APPNOTE 6.3.10 (section 11 of the references), 4.3.7 local header, 4.3.9 data descriptor, 4.5.3 zip64.
"""

import zipfile
from dataclasses import dataclass
from io import RawIOBase

LOCAL, CENTRAL, DESCRIPTOR = b"PK\3\4", b"PK\1\2", b"PK\7\x08"
LOCAL_SIZE = 30
STREAMED = 0x8  # bit 3: sizes and check value come after the bytes
LOCKED = 0x1  # bit 0
UTF8 = 0x800  # bit 11
_WIDE = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class Local:
    """A local header: its whole `size`, and what it says; sizes and check value are 0 where they come later."""

    size: int
    flags: int
    method: int
    time: int
    date: int
    crc: int
    packed: int
    unpacked: int
    name: bytes
    extra: bytes


def local_header(head: bytes) -> Local | None:
    """Parse a local header with its name and extra fields; None where it is none or not all there."""
    if len(head) < LOCAL_SIZE or head[:4] != LOCAL:
        return None
    fields = [int.from_bytes(head[at : at + 2], "little") for at in (6, 8, 10, 12, 26, 28)]
    crc, packed, unpacked = (int.from_bytes(head[at : at + 4], "little") for at in (14, 18, 22))
    flags, method, time, date, name_size, extra_size = fields
    size = LOCAL_SIZE + name_size + extra_size
    if len(head) < size:
        return None
    name, extra = head[LOCAL_SIZE : LOCAL_SIZE + name_size], head[LOCAL_SIZE + name_size : size]
    wide = field(extra, 1)
    if unpacked == _WIDE and len(wide) >= 8:
        unpacked, wide = int.from_bytes(wide[:8], "little"), wide[8:]
    if packed == _WIDE and len(wide) >= 8:
        packed = int.from_bytes(wide[:8], "little")
    return Local(size, flags, method, time, date, crc, packed, unpacked, name, extra)


def field(extra: bytes, kind: int) -> bytes:
    """Return the first extra field of that kind, empty where there is none."""
    while len(extra) >= 4:
        size = int.from_bytes(extra[2:4], "little")
        if int.from_bytes(extra[:2], "little") == kind:
            return extra[4 : 4 + size]
        extra = extra[4 + size :]
    return b""


def bytes_begin(source: RawIOBase, info: zipfile.ZipInfo) -> int | None:
    """Return where a member's bytes begin by its local header, None where that makes no sense. Errors: OSError."""
    if info.header_offset < 0:
        return None
    source.seek(info.header_offset)
    head = source.read(LOCAL_SIZE) or b""
    if len(head) < LOCAL_SIZE or head[:4] != LOCAL:
        return None
    name_size, extra_size = int.from_bytes(head[26:28], "little"), int.from_bytes(head[28:30], "little")
    return info.header_offset + LOCAL_SIZE + name_size + extra_size


def bytes_begin_without_header(source: RawIOBase, info: zipfile.ZipInfo, limit: int) -> int | None:
    """Return where a member's bytes begin when they end, with their descriptor, at `limit`, the next header's place.

    None where that cannot be: the descriptor is not there, or too little room is left. Errors: OSError.
    """
    after = 0
    if info.flag_bits & STREAMED:
        source.seek(max(0, limit - 24))
        found = descriptor_before(source.read(24) or b"", info.CRC, info.compress_size, info.file_size)
        if found is None:
            return None
        after = found
    begin = limit - after - info.compress_size
    least = max(0, info.header_offset) + LOCAL_SIZE + len(info.orig_filename)
    return begin if begin >= least else None


def descriptor_before(tail: bytes, crc: int, packed: int, unpacked: int) -> int | None:
    """Return the length of the data descriptor that ends `tail` and says just this, None where none does."""
    for width in (4, 8):
        if packed >> (8 * width) or unpacked >> (8 * width):
            continue
        plain = crc.to_bytes(4, "little") + packed.to_bytes(width, "little") + unpacked.to_bytes(width, "little")
        for signed in (DESCRIPTOR + plain, plain):
            if tail.endswith(signed):
                return len(signed)
    return None
