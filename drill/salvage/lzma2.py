"""A damaged LZMA2 stream unpacked as far as it goes: zeros for what is lost, and on from where decoding can begin anew.

Flows in: a stream of the packed bytes, zeros where it cannot be read, and where that is. Flows out: the unpacked bytes
in order, and which of them are in doubt. Must not know: archives, members. A chunk that is lost is replaced by zeros;
the decoder is put up again with what came before, as bytes that are stored, and goes on with the next chunk that
needs no more than that. What is decoded after a loss may copy from it, and is in doubt until the dictionary is
forgotten.
"""

import lzma
from bisect import bisect_left
from collections import deque
from collections.abc import Iterator, Sequence
from io import RawIOBase

from drill.copies.sevenzip.chunks import MOST_PACKED
from drill.salvage.lzma2_map import ChunkMap, HolesIn, Piece, was_stored
from drill.salvage.patched import Range, add_range

MOST_KEPT = 64 * 1024 * 1024
"""How much of the dictionary is kept at hand for a decoder that has to be put up again."""

_PROPERTIES = 0x5D  # lc 3, lp 0, pb 2: what every encoder uses unless told otherwise
_ZEROS = bytes(MOST_PACKED)
_STEP = 16 * 1024  # what is unpacked at once: an error takes that much at most of what came before it
_MOST_BEHIND = 64  # pieces of 64 KiB at most


class Surgery:
    """One pass over a stream; `doubts` are the unpacked bytes that may be wrong. Members end at `ends`."""

    def __init__(
        self, stream: RawIOBase, chunks: ChunkMap, holes: HolesIn, *, dictionary: int, ends: Sequence[int] = ()
    ) -> None:
        self._stream, self._chunks, self._holes, self._ends = stream, chunks, holes, ends
        self._decoder = _Decoder(dictionary)
        self._given = 0
        self._tainted = False  # something in the dictionary is not what it was
        self._continues = False  # the decoder's state is that of the end of the chunk before
        self.doubts: list[Range] = []

    def chunks(self) -> Iterator[bytes]:
        """Yield the unpacked bytes; the doubts about a chunk are noted before it comes."""
        first, past = self._chunks.astray
        for number, piece in enumerate(self._chunks):
            if first <= number < past:
                self._doubt(0, piece.unpacked)
            yield from self._stored(piece) if piece.control < 0x80 else self._compressed(piece)

    def _doubt(self, start: int, end: int) -> None:
        add_range(self.doubts, (self._given + start, self._given + end))

    def _packed(self, piece: Piece) -> tuple[bytes, list[Range]]:
        """Return a piece's bytes after its header, and which of them could not be read."""
        start = piece.start + piece.head
        self._stream.seek(start)
        got = bytearray()
        while len(got) < piece.end - start:
            chunk = self._stream.read(piece.end - start - len(got))
            if not chunk:
                break
            got += chunk
        holes = [(from_ - start, to - start) for from_, to in self._holes(start, piece.end)]
        if len(got) < piece.end - start:
            holes.append((len(got), piece.end - start))
        return bytes(got).ljust(piece.end - start, b"\0"), holes

    def _stored(self, piece: Piece) -> Iterator[bytes]:
        if piece.lost and not was_stored(piece):
            yield from self._lose(piece.unpacked)
            return
        content, holes = self._packed(piece)
        if piece.lost:  # its header's three bytes come first
            content, holes = content[3:], [(max(0, a - 3), b - 3) for a, b in holes if b > 3]
        if piece.control == 0x01:
            self._decoder.forget()
            self._tainted = False
        for start, end in holes:
            self._doubt(start, end)
            self._tainted = True
        self._decoder.add(content)
        self._continues = self._continues and not piece.lost
        self._given += len(content)
        yield content

    def _compressed(self, piece: Piece) -> Iterator[bytes]:
        if piece.control >= 0xE0:
            self._decoder.forget()
            self._tainted = False
        if piece.control < 0xA0 and not self._continues:
            yield from self._lose(piece.unpacked)
            return
        packed, holes = self._packed(piece)
        self._stream.seek(piece.start)
        head = self._stream.read(piece.head)
        good = packed[: holes[0][0]] if holes else packed
        content, whole = self._decoder.decode(head, good, piece.unpacked, self._cuts(piece.unpacked))
        whole = whole and not holes
        if whole and self._tainted:
            self._doubt(0, len(content))
        elif not whole:  # what came before a hole is right; where nothing is known to be missing, anything may be wrong
            self._doubt(len(content) if holes and not self._tainted else 0, piece.unpacked)
        self._given += len(content)
        yield content
        self._continues = whole
        if not whole:
            yield from self._zeros(piece.unpacked - len(content))
            self._tainted = True

    def _cuts(self, size: int) -> list[int]:
        """Return where, in the next `size` bytes, members end: damage beyond such a place takes nothing before it."""
        first, past = (bisect_left(self._ends, self._given + offset) for offset in (1, size))
        return [end - self._given for end in self._ends[first:past]]

    def _lose(self, size: int) -> Iterator[bytes]:
        self._doubt(0, size)
        self._tainted, self._continues = True, False
        yield from self._zeros(size)

    def _zeros(self, size: int) -> Iterator[bytes]:
        while size:
            content = _ZEROS[:size]
            self._decoder.add(content)
            self._given += len(content)
            size -= len(content)
            yield content


class _Decoder:
    """An LZMA2 decoder that can be put up again with the bytes that it gave before."""

    def __init__(self, dictionary: int) -> None:
        self._dictionary = max(4096, dictionary)
        self._kept: deque[bytes] = deque()
        self._size = 0
        self._decoder: lzma.LZMADecompressor | None = None
        self._behind: list[bytes] = []  # given since, and not known to the decoder
        self._properties = _PROPERTIES
        self._knows_properties = False

    def forget(self) -> None:
        """Begin with an empty dictionary."""
        self._kept.clear()
        self._size = 0
        self._decoder = None
        self._behind.clear()

    def add(self, content: bytes) -> None:
        """Take bytes that did not come from here into the dictionary."""
        self._keep(content)
        if self._decoder is not None:
            self._behind.append(content)
            if len(self._behind) > _MOST_BEHIND:
                self._catch_up(self._decoder)

    def decode(self, head: bytes, packed: bytes, unpacked: int, cuts: Sequence[int]) -> tuple[bytes, bool]:
        """Return a compressed chunk's bytes, as many as come, and whether these are all and no error was met.

        An error takes nothing that lies before the last of `cuts`, offsets in the chunk, that was passed.
        """
        decoder = self._ready()
        content = bytearray()
        fed = self._renewed(head) + packed
        try:
            for cut in (*cuts, unpacked):
                while len(content) < cut:
                    step = decoder.decompress(fed, min(cut - len(content), _STEP))
                    fed = b""
                    content += step
                    if not step:
                        break
        except lzma.LZMAError:
            self._decoder = None
        whole = len(content) == unpacked and self._decoder is not None and self._ended(decoder)
        if not whole:
            self._decoder = None
        given = bytes(content)
        self._keep(given)
        return given, whole

    def _ended(self, decoder: lzma.LZMADecompressor) -> bool:
        """Say whether the chunk's own end is right too: the decoder tells when it is asked for more."""
        try:
            return not decoder.decompress(b"", 1)
        except lzma.LZMAError:
            return False

    def _renewed(self, head: bytes) -> bytes:
        """Return a chunk's header as the decoder needs it, with what it was not told yet."""
        control = head[0]
        if control >= 0xC0:
            self._properties = head[5]
        if not self._size:
            control |= 0xE0
        elif not self._knows_properties:
            control |= 0xC0
        if control < 0xC0:
            return head
        self._knows_properties = True
        return bytes((control,)) + head[1:5] + bytes((self._properties,))

    def _ready(self) -> lzma.LZMADecompressor:
        if self._decoder is not None:
            self._catch_up(self._decoder)
            return self._decoder
        filters = [{"id": lzma.FILTER_LZMA2, "dict_size": self._dictionary}]
        self._decoder = lzma.LZMADecompressor(lzma.FORMAT_RAW, filters=filters)
        self._knows_properties = False
        self._behind = list(self._kept)
        self._catch_up(self._decoder, control=0x01)
        return self._decoder

    def _catch_up(self, decoder: lzma.LZMADecompressor, control: int = 0x02) -> None:
        for content in self._behind:
            for start in range(0, len(content), MOST_PACKED):
                part = content[start : start + MOST_PACKED]
                decoder.decompress(bytes((control,)) + (len(part) - 1).to_bytes(2, "big") + part)
                control = 0x02
        self._behind = []

    def _keep(self, content: bytes) -> None:
        self._kept.append(content)
        self._size += len(content)
        while self._size - len(self._kept[0]) >= min(self._dictionary, MOST_KEPT):
            self._size -= len(self._kept.popleft())
