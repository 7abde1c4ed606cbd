"""The chunks that an LZMA2 stream is made of: what a chunk's first bytes say.

Flows in: up to 6 bytes. Flows out: a Chunk, or None where no chunk can begin with them. Must not know: streams,
archives. Facts: LZMA SDK, Lzma2Dec.c ("00000000 - End of data, 00000001 U U - Uncompressed, reset dic, …"), and
liblzma's lzma2_decoder.c; both agree. A chunk begins with a control byte: 0x00 ends the stream, 0x01 and 0x02 are
bytes as they are (0x01 forgets the dictionary), from 0x80 on the upper bits tell what is forgotten before
compressed bytes: nothing, the decoder's state (0xA0), with new properties (0xC0), the dictionary too (0xE0).
"""

from typing import NamedTuple

HEAD = 6
"""The most bytes that a chunk's header has."""

MOST_PACKED = 1 << 16
_MOST_PROPERTIES = (4 * 5 + 4) * 9 + 8  # pb 4, lp and lc together at most 4


class Chunk(NamedTuple):
    """One chunk: its control byte, its header's length, the bytes it takes and the bytes it unpacks to."""

    control: int
    head: int
    packed: int
    unpacked: int

    @property
    def stored(self) -> bool:
        """Say whether its bytes are there as they are."""
        return self.control < 0x80

    @property
    def resets_state(self) -> bool:
        """Say whether it can be decoded without those before it, but for what it copies from them."""
        return self.control >= 0xA0

    @property
    def resets_dictionary(self) -> bool:
        """Say whether nothing from here on refers to anything before it."""
        return self.control == 0x01 or self.control >= 0xE0


def chunk_at(head: bytes | bytearray | memoryview) -> Chunk | None:
    """Return the chunk that begins with these bytes; the end of the stream unpacks to nothing."""
    control = head[0] if head else 3
    chunk: Chunk | None = None
    if control == 0:
        chunk = Chunk(0, 1, 0, 0)
    elif control <= 2 and len(head) >= 3:
        size = (head[1] << 8 | head[2]) + 1
        chunk = Chunk(control, 3, size, size)
    elif control >= 0x80 and len(head) >= 5 + (control >= 0xC0):
        unpacked = ((control & 0x1F) << 16 | head[1] << 8 | head[2]) + 1
        packed = (head[3] << 8 | head[4]) + 1
        if control < 0xC0:
            chunk = Chunk(control, 5, packed, unpacked)
        elif head[5] <= _MOST_PROPERTIES:
            chunk = Chunk(control, 6, packed, unpacked)
    return chunk
