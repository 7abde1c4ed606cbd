"""Many content digests from one pass over the bytes.

Flows in: chunks of bytes, or one file's path. Flows out: `Digest` values, in canonical (big-endian) lower-case hex.
Must not know: manifests, copies, faults; where bytes come from is the caller's business.
Facts: RFC 1321 (MD5), FIPS 180-4 (SHA), RFC 7693 (BLAKE2), the xxHash specification (canonical form is big-endian);
a BLAKE2b of N bits is its own function, not a prefix of the 512-bit one (RFC 7693: its length is hashed in too).
"""

import hashlib
import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Protocol

import xxhash

from drill.model import Digest

_BITS = {"md5": 128, "sha1": 160, "sha224": 224, "sha256": 256, "sha384": 384, "sha512": 512, "blake2b": 512}
_BITS |= {"xxh32": 32, "xxh64": 64, "xxh3": 64, "xxh128": 128}
_SHORT_BLAKE2B = re.compile(r"blake2b-([1-9][0-9]{0,2})")
_PIECE = 2**17  # 128 KiB: fewer calls gain nothing measurable, and a restore holds one of these per file

KINDS: tuple[str, ...] = tuple(_BITS)
"""The digest kinds by name; `blake2b-N` with N bits (a multiple of 8, under 512) is a kind too."""


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
_AT_ONCE: dict[str, Callable[[bytes], str]] = {
    "xxh32": xxhash.xxh32_hexdigest,
    "xxh64": xxhash.xxh64_hexdigest,
    "xxh3": xxhash.xxh3_64_hexdigest,
    "xxh128": xxhash.xxh3_128_hexdigest,
}


def _bits(kind: str) -> int | None:
    short = _SHORT_BLAKE2B.fullmatch(kind)
    if short is None:
        return _BITS.get(kind)
    bits = int(short.group(1))
    return bits if bits % 8 == 0 and bits < 512 else None


def is_kind(text: str) -> bool:
    """Say whether `text` is the name of a digest kind, as `KINDS` writes it."""
    return _bits(text) is not None


def hex_length(kind: str) -> int:
    """Return how many hex digits a digest of `kind` has. Errors: ValueError on an unknown kind."""
    bits = _bits(kind)
    if bits is None:
        raise ValueError(f"{kind!r} is no digest kind; known are {', '.join(KINDS)} and blake2b-N")
    return bits // 4


def _start(kind: str) -> _Hash:
    length = hex_length(kind)
    if kind in _XXHASHES:
        return _XXHASHES[kind]()
    if kind.startswith("blake2b"):
        return hashlib.blake2b(digest_size=length // 2, usedforsecurity=False)
    # Not for security: machines that forbid MD5 and SHA-1 still allow them to compare files.
    return hashlib.new(kind, usedforsecurity=False)


def _maker(kind: str) -> Callable[[bytes], str]:
    length = hex_length(kind)
    if kind in _AT_ONCE:
        return _AT_ONCE[kind]
    if kind.startswith("blake2b"):
        return lambda content: hashlib.blake2b(content, digest_size=length // 2, usedforsecurity=False).hexdigest()
    start = getattr(hashlib, kind)  # hashlib.new would look the name up again for every file
    return lambda content: start(content, usedforsecurity=False).hexdigest()


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


def texts_at_once(kinds: Iterable[str]) -> Callable[[bytes], tuple[str, ...]]:
    """Return the same function but for the kinds' names: `named` puts them to its texts."""
    makers = [_maker(kind) for kind in sorted(set(kinds))]
    return lambda content: tuple([make(content) for make in makers])


def named(kinds: Sequence[str], texts: Iterable[str]) -> tuple[Digest, ...]:
    """Return the digests of these kinds, which are sorted and each there once."""
    return tuple(map(Digest, kinds, texts))


def digest_file(path: Path, kinds: Iterable[str]) -> tuple[int, tuple[Digest, ...]]:
    """Read a file once and return its size in bytes and its digests, sorted by kind. Errors: OSError, ValueError."""
    digester = Digester(kinds)
    buffer = bytearray(_PIECE)
    view = memoryview(buffer)
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(buffer):
            digester.update(view[:count])
    return digester.size, digester.digests()
