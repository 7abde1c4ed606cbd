"""Raws for tests: small DNGs of an invented camera, plain or packed as cameras pack them, and what is true of them.

Flows in: a seed. Flows out: bytes. It must not import the program. Facts: TIFF 6.0 (directories); DNG 1.4 (the tags
that a reader needs: CFA pattern, version, model, colour matrix); ITU-T T.81 annex H (lossless JPEG, process SOF3): from
memory; LibRaw reading back the very samples is what they are held against.
"""

import random
import struct

Tag = tuple[int, int, bytes]
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 10: 8}
_CODE_BITS = 5  # each of the 15 categories has a code of as many bits


def samples(seed: int, width: int = 96, height: int = 64) -> list[list[int]]:
    """Return rows of 14-bit samples: slopes and noise."""
    rng = random.Random(seed)
    return [[1500 + 90 * x + 30 * y + rng.randrange(200) for x in range(width)] for y in range(height)]


def dng(rows: list[list[int]], *, packed: bool, compression: int | None = None) -> bytes:
    """Return a DNG of these samples; `compression` overrides what the tag says of how they are packed."""
    height, width = len(rows), len(rows[0])
    pixels = lossless_jpeg(rows) if packed else b"".join(struct.pack(f"<{width}H", *row) for row in rows)
    one = b"".join(struct.pack("<ii", int(n % 4 == 0), 1) for n in range(9))
    tags = [
        *(_long(254, 0), _long(256, width), _long(257, height), _short(258, 16)),
        _short(259, compression if compression is not None else 7 if packed else 1),
        *(_short(262, 32803), _text(271, "Saltmarsh"), _text(272, "Kiln One"), _long(273, 0), _short(277, 1)),
        *(_long(278, height), _long(279, len(pixels)), _short(284, 1), _short(33421, 2, 2)),
        *((33422, 1, bytes((0, 1, 1, 2))), (50706, 1, bytes((1, 4, 0, 0))), (50707, 1, bytes((1, 1, 0, 0)))),
        *(_text(50708, "Saltmarsh Kiln One"), _long(50717, 16383), (50721, 10, one), _short(50778, 21)),
    ]
    return _tiff(tags, pixels)


def lossless_jpeg(rows: list[list[int]]) -> bytes:
    """Return a JPEG of process 14 with 14-bit samples, each predicted by the one to its left."""
    bits, count, out = 0, 0, bytearray()
    for y, row in enumerate(rows):
        for x, value in enumerate(row):
            left = row[x - 1] if x else rows[y - 1][0] if y else 1 << 13
            difference = value - left
            size = abs(difference).bit_length()
            extra = difference if difference > 0 else difference + (1 << size) - 1
            bits, count = (bits << _CODE_BITS + size) | (size << size) | extra, count + _CODE_BITS + size
            while count >= 8:
                count -= 8
                out.append(bits >> count)
                bits &= (1 << count) - 1
    out.append((bits << 8 - count) | ((1 << 8 - count) - 1))  # filled with ones
    table = bytes((0, 0, 0, 0, 0, 15, *[0] * 11)) + bytes(range(15))
    frame = struct.pack(">BHHB", 14, len(rows), len(rows[0]), 1) + b"\1\x11\0"
    head = _segment(0xC3, frame) + _segment(0xC4, table) + _segment(0xDA, b"\1\1\0\1\0\0")
    return b"\xff\xd8" + head + bytes(out).replace(b"\xff", b"\xff\0") + b"\xff\xd9"


def _segment(marker: int, body: bytes) -> bytes:
    return bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body


def _short(tag: int, *values: int) -> Tag:
    return tag, 3, struct.pack(f"<{len(values)}H", *values)


def _long(tag: int, value: int) -> Tag:
    return tag, 4, struct.pack("<I", value)


def _text(tag: int, text: str) -> Tag:
    return tag, 2, text.encode() + b"\0"


def _tiff(tags: list[Tag], pixels: bytes) -> bytes:
    """Return a TIFF with one directory; tag 273 is made to point at the pixels behind it."""
    after = 8 + 2 + 12 * len(tags) + 4
    end = after + sum(len(value) + len(value) % 2 for _, _, value in tags if len(value) > 4)
    entries, values = b"", b""
    for tag, kind, value in tags:
        field = struct.pack("<I", end) if tag == 273 else value.ljust(4, b"\0")
        if len(value) > 4:
            field = struct.pack("<I", after + len(values))
            values += value + b"\0" * (len(value) % 2)
        entries += struct.pack("<HHI", tag, kind, len(value) // _SIZES[kind]) + field
    return b"II*\0" + struct.pack("<IH", 8, len(tags)) + entries + bytes(4) + values + pixels
