"""What the members of a zip are packed with, undone a piece at a time.

Flows in: a stream that stands where a member's bytes begin, what the directory says of it. Flows out: its bytes. Must
not know: where members lie, receivers. The standard library's own reader hands 128 kB to bzip2 and LZMA without a bound
on what comes out: 574 bytes became 1.2 GB of memory (measured). Facts: APPNOTE 6.3.10, 4.4.5 (methods), 5.8.8 (LZMA).
"""

import bz2
import lzma
import zipfile
import zlib
from collections.abc import Iterator
from copy import copy
from itertools import chain
from typing import Any, cast

from drill.copies.beside import Piece, Turns
from drill.copies.raw import BLOCK, Steady
from drill.copies.zipbytes import LOCKED

_MOST_AT_ONCE = 1024 * 1024
_KNOWN = frozenset((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA))
_KEY_SIZE = 12  # of the bytes before an encrypted member's (APPNOTE 6.1.3)
_LZMA_HEAD = 9  # two bytes of version, the properties' length in two, five of properties
_LEAST_DICTIONARY = 4096


def unpacked_bytes(source: Steady, info: zipfile.ZipInfo, password: bytes | None, turns: Turns) -> Iterator[Piece]:
    """Yield the bytes of a member whose packed ones begin where `source` is; no check value is asked.

    A piece stays as it is while the next one is made, and no longer. Errors: OSError, EOFError, RuntimeError for a
    missing or a wrong password, NotImplementedError, whatever the libraries make of damage.
    """
    if info.compress_type not in _KNOWN:
        raise NotImplementedError
    pieces: Iterator[Piece]
    if info.flag_bits & LOCKED:
        pieces = _unlocked(source, info, password)
    else:
        pieces = _stored(source, info.compress_size, turns)
    match info.compress_type:
        case zipfile.ZIP_STORED:
            return pieces
        case zipfile.ZIP_DEFLATED:
            return _inflated(pieces)
        case zipfile.ZIP_BZIP2:
            return _decoded(pieces, bz2.BZ2Decompressor(), info.file_size)
    return _lzma(pieces, info.file_size)


def _stored(source: Steady, size: int, turns: Turns) -> Iterator[memoryview]:
    while size > 0:
        room = turns.next(size)
        got = source.readinto(room)
        if not got:
            raise EOFError
        size -= got
        yield room[:got]


def _unlocked(source: Steady, info: zipfile.ZipInfo, password: bytes | None) -> Iterator[bytes]:
    """Yield what the standard library decrypts: to it the member is one that is only stored."""
    if not password:
        raise RuntimeError("password required")
    stored = copy(info)
    stored.compress_type = zipfile.ZIP_STORED
    stored.file_size = max(0, info.compress_size - _KEY_SIZE)
    with zipfile.ZipExtFile(cast(Any, source), "r", stored, password) as member:
        member._expected_crc = None  # type: ignore[attr-defined]  # that of the unpacked bytes
        while chunk := member.read(BLOCK):
            yield chunk
        if member._left > 0:  # type: ignore[attr-defined]
            raise EOFError


def _inflated(pieces: Iterator[Piece]) -> Iterator[bytes]:
    inflate = zlib.decompressobj(-zlib.MAX_WBITS)
    for packed in pieces:
        held: Piece = packed
        while held and not inflate.eof:
            chunk = inflate.decompress(held, _MOST_AT_ONCE)
            held = inflate.unconsumed_tail
            yield chunk
        if inflate.eof:
            return
    while chunk := inflate.decompress(b"", _MOST_AT_ONCE):
        yield chunk
    if not inflate.eof:
        raise EOFError


def _decoded(
    pieces: Iterator[Piece], decoder: bz2.BZ2Decompressor | lzma.LZMADecompressor, size: int
) -> Iterator[bytes]:
    """Yield what a decoder makes of the pieces, `size` bytes at most: LZMA need not mark its end."""
    left = size
    for packed in pieces:
        held: Piece = packed
        while left and not decoder.eof:
            chunk = decoder.decompress(held, min(left, _MOST_AT_ONCE))
            held = b""
            left -= len(chunk)
            if chunk:
                yield chunk
            if decoder.needs_input or not chunk:
                break
        if decoder.eof or not left:
            break
    if left:
        raise EOFError


def _lzma(pieces: Iterator[Piece], size: int) -> Iterator[bytes]:
    head = b""
    while len(head) < _LZMA_HEAD:
        piece = next(pieces, None)
        if piece is None:
            raise EOFError
        head += bytes(piece)
    if int.from_bytes(head[2:4], "little") != _LZMA_HEAD - 4:
        raise NotImplementedError
    rest, lc = divmod(head[4], 9)
    pb, lp = divmod(rest, 5)
    dictionary = min(int.from_bytes(head[5:_LZMA_HEAD], "little"), size)  # none is larger than what there is to unpack
    filters = [{"id": lzma.FILTER_LZMA1, "lc": lc, "lp": lp, "pb": pb, "dict_size": max(dictionary, _LEAST_DICTIONARY)}]
    decoder = lzma.LZMADecompressor(lzma.FORMAT_RAW, filters=filters)
    yield from _decoded(chain((head[_LZMA_HEAD:],), pieces), decoder, size)
