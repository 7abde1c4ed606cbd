"""Many content digests from one pass over the bytes.

Flows in: chunks of bytes, or one file's path. Flows out: `Digest` values, in canonical (big-endian) lower-case hex.
Must not know: manifests, copies, faults; where bytes come from is the caller's business.
Facts: RFC 1321 (MD5), FIPS 180-4 (SHA), RFC 7693 (BLAKE2), the xxHash specification (canonical form is big-endian);
a BLAKE2b of N bits is its own function, not a prefix of the 512-bit one (RFC 7693: its length is hashed in too).
"""

import hashlib
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Protocol

import xxhash

from drill.digestkinds import KINDS, hex_length, is_kind, texts_at_once
from drill.model import Digest

__all__ = ["KINDS", "Digester", "at_once", "digest_file", "hex_length", "is_kind", "named"]

_PIECE = 2**17  # 128 KiB: fewer calls gain nothing measurable, and a restore holds one of these per file
_NEW = tuple.__new__  # what a named tuple's own does, a call less


class _Hash(Protocol):
    def update(self, data: bytes | bytearray | memoryview, /) -> None: ...

    def hexdigest(self) -> str: ...

    def copy(self) -> "_Hash": ...


_XXHASHES: dict[str, Callable[[], _Hash]] = {
    "xxh32": xxhash.xxh32,
    "xxh64": xxhash.xxh64,
    "xxh3": xxhash.xxh3_64,
    "xxh128": xxhash.xxh3_128,
}


def _start(kind: str) -> _Hash:
    length = hex_length(kind)
    if kind in _XXHASHES:
        return _XXHASHES[kind]()
    if kind.startswith("blake2b"):
        return hashlib.blake2b(digest_size=length // 2, usedforsecurity=False)
    # Not for security: machines that forbid MD5 and SHA-1 still allow them to compare files.
    return hashlib.new(kind, usedforsecurity=False)


class Digester:
    """Takes the bytes of one file in pieces and gives their digests of every kind asked for.

    Errors: ValueError on an unknown kind. The same kind asked for twice is computed once.
    """

    __slots__ = ("_hashes", "size")

    def __init__(self, kinds: Iterable[str]) -> None:
        self._hashes = {kind: _start(kind) for kind in sorted(set(kinds))}
        self.size = 0

    def update(self, chunk: bytes | bytearray | memoryview) -> None:
        """Take the next bytes; the chunk may be reused after the call."""
        self.size += chunk.nbytes if isinstance(chunk, memoryview) else len(chunk)
        for one in self._hashes.values():
            one.update(chunk)

    def copy(self) -> "Digester":
        """Return another digester that has taken the same bytes and goes on by itself."""
        other = Digester(())
        other._hashes = {kind: one.copy() for kind, one in self._hashes.items()}
        other.size = self.size
        return other

    def digests(self) -> tuple[Digest, ...]:
        """Return the digests of all bytes taken so far, sorted by kind."""
        return tuple(Digest(kind, one.hexdigest()) for kind, one in self._hashes.items())


def at_once(kinds: Iterable[str]) -> Callable[[bytes], tuple[Digest, ...]]:
    """Return a function that digests all bytes of a file at one go: for small files several times as fast as Digester.

    Errors: ValueError on an unknown kind.
    """
    ours = sorted(set(kinds))
    texts = texts_at_once(ours)
    return lambda content: named(ours, texts(content))


def named(kinds: Sequence[str], texts: Iterable[str]) -> tuple[Digest, ...]:
    """Return the digests of these kinds, which are sorted and each there once."""
    return tuple([_NEW(Digest, pair) for pair in zip(kinds, texts, strict=False)])


def digest_file(path: Path, kinds: Iterable[str]) -> tuple[int, tuple[Digest, ...]]:
    """Read a file once and return its size in bytes and its digests, sorted by kind. Errors: OSError, ValueError."""
    digester = Digester(kinds)
    buffer = bytearray(_PIECE)
    view = memoryview(buffer)
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(buffer):
            digester.update(view[:count])
    return digester.size, digester.digests()
