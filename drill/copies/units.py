"""Stretches of a compressed tar at which unpacking can begin anew.

Flows in: a raw stream. Flows out: Units, bytes at places. Must not know: the formats that are cut into units, tar.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import RawIOBase
from typing import Protocol

STEP = 4096
WINDOW = 4 * 1024 * 1024
_NARROWEST = 512  # the least that a drive gives up at once


class Decoder(Protocol):
    """One unit's unpacking. `used` counts the bytes of it that were needed once `ended`."""

    ended: bool
    used: int

    def feed(self, packed: bytes) -> Iterator[bytes]:
        """Yield what the next packed bytes unpack to, in pieces. Errors: whatever the library makes of damage."""


@dataclass(frozen=True, slots=True)
class Unit:
    """Packed bytes from `start` on that need none before them; what is fed begins at `body`.

    `end` (of what is fed) and `unpacked` (bytes) are None where only unpacking tells.
    """

    start: int
    body: int
    end: int | None
    unpacked: int | None
    decoder: Callable[[], Decoder]


class Packing(Protocol):
    """How one kind of compressed tar is cut into units."""

    def unit_at(self, at: int) -> Unit | None:
        """Return the unit that begins at `at` or, past padding, after it; None where there is none."""

    def after(self, unit: Unit, end: int) -> Unit | None:
        """Return the unit that follows one whose bytes ended at `end`."""

    def resume(self, at: int) -> Unit | None:
        """Return the first unit that begins at `at` or anywhere after it."""

    def first_of(self, unit: Unit) -> int | None:
        """Return how many unpacked bytes come before the unit's, None where only unpacking tells."""

    def may_have_holes(self, unit: Unit, start: int) -> bool:
        """Say whether the piece that begins at `start` may be fed with other bytes where some are lost."""

    def pieces(self, unit: Unit) -> Iterator[tuple[int, int]]:
        """Yield the ranges of packed bytes in which the unit is fed, at most a few kB each where they may expand."""


def read_at(raw: RawIOBase, at: int, size: int) -> bytes:
    """Return the bytes at a place; fewer where the stream ends or cannot be read on."""
    try:
        raw.seek(at)
        return raw.read(size) or b""
    except OSError:
        return b""


def windows(raw: RawIOBase, at: int, size: int, *, again: int) -> Iterator[tuple[int, bytes]]:
    """Yield (place, bytes) of large pieces, past what cannot be read; the last `again` bytes of each come once more."""
    while at < size:
        window = read_at(raw, at, WINDOW)
        if window:
            yield at, window
        read_on = at + len(window)
        at = read_on - again if len(window) == WINDOW else read_on + _NARROWEST - read_on % _NARROWEST


def even_pieces(start: int, end: int) -> Iterator[tuple[int, int]]:
    """Yield ranges that end at multiples of STEP."""
    while start < end:
        stop = min(end, start + STEP - start % STEP)
        yield start, stop
        start = stop
