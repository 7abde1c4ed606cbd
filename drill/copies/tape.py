"""The bytes of a tar in order, whatever it is packed with.

Flows in: a raw stream of the archive's bytes. Flows out: a tape: read, seek forwards, and what trouble it met. Must
not know: tar headers. A packed tar is unpacked once, from its start on. Facts: RFC 1952 (gzip).
"""

import io
import lzma
import zlib
from contextlib import suppress
from io import RawIOBase
from typing import Any, Protocol, cast

import zstandard

from drill.copies.raw import BLOCK, Steady

LARGEST_WINDOW = 1 << 31  # as zstd --long=31 makes them
_FEED = 64 * 1024


class Tape(Protocol):
    """Uncompressed bytes in order. `read` gives all it is asked for unless the bytes end or fail."""

    trouble: Any

    def read(self, size: int, /) -> bytes: ...
    def seek(self, offset: int, /) -> int: ...
    def tell(self) -> int: ...


class Unpacked:
    """The tape behind a decompressor: forwards only, save over its last read; after a failure it gives nothing more."""

    def __init__(self, stream: Any) -> None:
        self._stream, self._at = stream, 0
        self._last = self._again = b""  # what was read last; what of it is to be read again
        self.trouble: Exception | None = None

    def read(self, size: int, /) -> bytes:
        pieces = [self._again[:size]] if self._again else []
        self._again = self._again[size:]
        left = size - sum(map(len, pieces))
        if left and self.trouble is not None and not pieces:
            raise self.trouble
        while left > 0 and self.trouble is None:
            try:
                # read1, for read would throw away what came before a failure.
                piece = self._stream.read1(min(left, BLOCK))
            except Exception as error:
                self.trouble = error
                if not pieces:
                    raise
                break
            if not piece:
                break
            pieces.append(piece)
            left -= len(piece)
        self._last = pieces[0] if len(pieces) == 1 else b"".join(pieces)
        self._at += len(self._last)
        return self._last

    def seek(self, offset: int, /) -> int:
        back = self._at - offset
        if back > len(self._last):
            raise io.UnsupportedOperation("cannot go back")
        if back > 0:
            self._again = self._last[-back:] + self._again
            self._at, self._last = offset, self._last[:-back]
        while self._at < offset and self.read(min(BLOCK, offset - self._at)):
            pass
        return self._at

    def tell(self) -> int:
        return self._at


class _Gunzip:
    """Gzip members one after the other (RFC 1952), unpacked as far as the bytes go.

    The standard library's reader drops up to a block of good input at a bad sector, and the last bytes at a wrong
    check value; tar never reads as far as that value, and whoever judges the content needs no CRC-32.
    """

    def __init__(self, source: Steady) -> None:
        self._source, self._held = source, b""
        self._unpack: Any = None
        self._members = 0

    def read1(self, size: int) -> bytes:
        while True:
            if self._unpack is None and not self._begin():
                return b""
            out: bytes = self._unpack.decompress(self._held, size)
            self._held = self._unpack.unconsumed_tail
            if self._unpack.eof:
                self._held = self._unpack.unused_data
                self._unpack = None
            elif not out:
                self._more()
            if out:
                return out

    def _begin(self) -> bool:
        """Read a member's header; False where no more member comes: gzip, too, ignores what else lies there."""
        self._skip(8 if self._members else 0)  # the check value and the length of the one before
        while not self._held.lstrip(b"\0"):
            self._held = self._source.read(_FEED)
            if not self._held and not self._members:
                raise EOFError
            if not self._held:
                return False
        self._held = self._held.lstrip(b"\0") if self._members else self._held
        head = self._take(4)
        if head[:3] != b"\x1f\x8b\x08":
            if self._members:
                return False
            raise ValueError("no gzip header")
        self._take(6)
        if head[3] & 4:
            self._skip(int.from_bytes(self._take(2), "little"))
        for flag in (8, 16):  # a name and a comment, each with a zero at its end
            while head[3] & flag and self._take(1) != b"\0":
                pass
        self._skip(2 if head[3] & 2 else 0)
        self._unpack = zlib.decompressobj(-zlib.MAX_WBITS)
        self._members += 1
        return True

    def _more(self) -> None:
        more = self._source.read(_FEED)
        if not more:
            raise EOFError
        self._held += more

    def _take(self, size: int) -> bytes:
        while len(self._held) < size:
            self._more()
        taken, self._held = self._held[:size], self._held[size:]
        return taken

    def _skip(self, size: int) -> None:
        with suppress(EOFError):
            self._take(size)


def tape_of(kind: str, raw: RawIOBase) -> Tape:
    """Return the tape of a ".tar", ".tar.gz", ".tar.xz" or ".tar.zst"."""
    source: Any = Steady(raw)
    match kind:
        case ".tar.gz":
            return Unpacked(_Gunzip(source))
        case ".tar.xz":
            return Unpacked(lzma.LZMAFile(source))
        case ".tar.zst":
            unpacker = zstandard.ZstdDecompressor(max_window_size=LARGEST_WINDOW)
            return Unpacked(unpacker.stream_reader(source, read_across_frames=True, closefd=False))
    return cast(Tape, source)
