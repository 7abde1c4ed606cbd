"""Digest kinds: their names, their lengths, and each one's digest of bytes at one go.

Flows in: a kind's name, bytes. Flows out: lower-case hex. Must not know: any other room. Kept apart from
`drill.digests`, whose facts it holds, and importing little: other processes that read begin with this, and begin soon.
"""

import hashlib
import re
from collections.abc import Callable, Iterable

import xxhash

_BITS = {"md5": 128, "sha1": 160, "sha224": 224, "sha256": 256, "sha384": 384, "sha512": 512, "blake2b": 512}
_BITS |= {"xxh32": 32, "xxh64": 64, "xxh3": 64, "xxh128": 128}
_SHORT_BLAKE2B = re.compile(r"blake2b-([1-9][0-9]{0,2})")

KINDS: tuple[str, ...] = tuple(_BITS)
"""The digest kinds by name; `blake2b-N` with N bits (a multiple of 8, under 512) is a kind too."""

_AT_ONCE: dict[str, Callable[[bytes], str]] = {
    "xxh32": xxhash.xxh32_hexdigest,
    "xxh64": xxhash.xxh64_hexdigest,
    "xxh3": xxhash.xxh3_64_hexdigest,
    "xxh128": xxhash.xxh3_128_hexdigest,
}


def is_kind(text: str) -> bool:
    """Say whether `text` is the name of a digest kind, as `KINDS` writes it."""
    return _bits(text) is not None


def hex_length(kind: str) -> int:
    """Return how many hex digits a digest of `kind` has. Errors: ValueError on an unknown kind."""
    bits = _bits(kind)
    if bits is None:
        raise ValueError(f"{kind!r} is no digest kind; known are {', '.join(KINDS)} and blake2b-N")
    return bits // 4


def texts_at_once(kinds: Iterable[str]) -> Callable[[bytes], tuple[str, ...]]:
    """Return a function that digests all bytes of a file at one go, in each of the kinds in their names' order.

    Errors: ValueError on an unknown kind.
    """
    makers = [_maker(kind) for kind in sorted(set(kinds))]
    if len(makers) == 1:
        (only,) = makers
        return lambda content: (only(content),)
    return lambda content: tuple([make(content) for make in makers])


def _bits(kind: str) -> int | None:
    short = _SHORT_BLAKE2B.fullmatch(kind)
    if short is None:
        return _BITS.get(kind)
    bits = int(short.group(1))
    return bits if bits % 8 == 0 and bits < 512 else None


def _maker(kind: str) -> Callable[[bytes], str]:
    length = hex_length(kind)
    if kind in _AT_ONCE:
        return _AT_ONCE[kind]
    if kind.startswith("blake2b"):
        return lambda content: hashlib.blake2b(content, digest_size=length // 2, usedforsecurity=False).hexdigest()
    # Not for security, see `drill.digests`. (hashlib.new would look the name up again for every file.)
    start = getattr(hashlib, kind)
    return lambda content: start(content, usedforsecurity=False).hexdigest()
