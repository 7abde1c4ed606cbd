"""The check value of archives, as published and as zlib has it, at all lengths and places where quick ways differ."""

import random
import zlib

from drill.copies.crc import crc32

RANDOM = random.Random(32)


def test_the_published_check_value() -> None:
    # CRC-32/ISO-HDLC, check: docs.rs/crc-catalog; APPNOTE 6.3.10, 4.4.7 names its polynomial.
    assert crc32(b"123456789") == 0xCBF43926
    assert crc32(b"") == 0


def test_every_short_length_at_every_place() -> None:
    content = memoryview(RANDOM.randbytes(700))
    for start in range(65):
        for size in (*range(140), 255, 256, 257, 511, 512, 513, 600):
            assert crc32(content[start : start + size]) == zlib.crc32(content[start : start + size])


def test_pieces_one_after_the_other() -> None:
    content = bytearray(RANDOM.randbytes(3_000_001))
    view = memoryview(content)
    for _ in range(50):
        cuts = sorted(RANDOM.sample(range(len(content)), 12))
        value = 0
        for start, end in zip([0, *cuts], [*cuts, len(content)], strict=True):
            value = crc32(view[start:end], value)
        assert value == zlib.crc32(content)
        content[RANDOM.randrange(len(content))] ^= 1 << RANDOM.randrange(8)
