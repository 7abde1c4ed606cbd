"""The overlay: one byte stream seen through its damage. It reads the real stream and never writes.

Flows in: a raw stream and its Damage. Flows out: another raw stream that behaves as a failing medium's would:
OSError(EIO) where a bad sector lies (good bytes before it still come), other bytes and no error where they changed,
an early end where it was cut. It has no `.name`: a library must not be able to open the real file behind it.
"""

import errno
import hashlib
import io
from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache
from io import RawIOBase

from drill.faults.draw import Damage
from drill.streams import InMemory

_PAD = 1 << 16


class Overlay(RawIOBase):
    """A raw stream under damage."""

    def __init__(self, base: RawIOBase, damage: Damage, size: int | None) -> None:
        super().__init__()
        if size is None and (damage.keep or damage.scaled_bad or damage.scaled_changed):
            whole = base.readall() or b""  # a link's file: only now is its size known
            base.close()
            base, size = InMemory(whole), len(whole)
        self._base, self._at, self._real = base, 0, 0
        self._bad = _ranges(damage, size)
        self._changed = _changes(damage, size)
        self._cut = cut_size(damage.keep, size or 0) if damage.keep else None
        self._veil = damage.veil

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return self._base.seekable()

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        if whence == io.SEEK_END:
            end = self._base.seek(0, io.SEEK_END)
            offset += end if self._cut is None else min(end, self._cut)
            self._real = end
        elif whence == io.SEEK_CUR:
            offset += self._at
        if offset < 0:
            raise OSError(errno.EINVAL, "negative position")
        self._at = offset
        return offset

    def readinto(self, buffer: object, /) -> int:
        view = memoryview(buffer).cast("B")  # type: ignore[arg-type]
        wanted = len(view) if self._cut is None else max(0, min(len(view), self._cut - self._at))
        wanted = min(wanted, self._good_run(wanted))
        if wanted <= 0:
            return 0
        if self._real != self._at:
            self._base.seek(self._at)
            self._real = self._at
        got = self._base.readinto(view[:wanted]) or 0
        self._alter(view[:got])
        self._at += got
        self._real = self._at
        return got

    def close(self) -> None:
        if not self.closed:
            self._base.close()
        super().close()

    def _good_run(self, wanted: int) -> int:
        """Return how many bytes from here on can be read; raise where the very next one cannot."""
        number = bisect_right(self._bad, (self._at, 1 << 62)) - 1
        if wanted and number >= 0 and self._at < self._bad[number][1]:
            raise OSError(errno.EIO, "Input/output error")
        following = self._bad[number + 1][0] if number + 1 < len(self._bad) else None
        return wanted if following is None else min(wanted, following - self._at)

    def _alter(self, view: memoryview) -> None:
        if self._veil is not None:
            view[:] = veiled(view, key=self._veil, at=self._at)
        for offset, change in self._changed.items():
            if self._at <= offset < self._at + len(view):
                view[offset - self._at] ^= change


def _ranges(damage: Damage, size: int | None) -> list[tuple[int, int]]:
    starts = set(damage.bad)
    for share, length in damage.scaled_bad:
        place = int(share * (size or 0))
        starts.add((place - place % length, length))
    merged: list[tuple[int, int]] = []
    for start, length in sorted(starts):
        if size is not None and start >= size:
            continue
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], start + length))
        else:
            merged.append((start, start + length))
    return merged


def _changes(damage: Damage, size: int | None) -> dict[int, int]:
    changes = dict(damage.changed)
    for share, change in damage.scaled_changed.items():
        changes.setdefault(int(share * (size or 0)), change)
    return changes


def cut_size(keep: Sequence[float | int], size: int) -> int:
    """Return what is left of `size` bytes: a share as float, a byte count as int, the smallest counts."""
    return min(size, *(int(each * size) if isinstance(each, float) else each for each in keep))


@lru_cache(maxsize=8)
def _pad(key: str) -> bytes:
    """Return 64 KiB without a zero in it, so that XOR changes every byte."""
    pad = hashlib.shake_256(key.encode("utf-8", "surrogatepass")).digest(_PAD)
    return pad.replace(b"\x00", b"\x5a")


def veiled(chunk: bytes | bytearray | memoryview, *, key: str, at: int) -> bytes:
    """Return `chunk`, which stands at byte `at` of its file, with every byte replaced."""
    shift = at % _PAD
    pad = (_pad(key)[shift:] + _pad(key) * (len(chunk) // _PAD + 1))[: len(chunk)]
    mixed = int.from_bytes(chunk, "little") ^ int.from_bytes(pad, "little")
    return mixed.to_bytes(len(chunk), "little")
