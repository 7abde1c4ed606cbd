"""The members of a zip by their local headers alone: for when the directory is gone.

Flows in: a raw stream of the archive's bytes. Flows out: what zipfile would say of each member, and where its bytes
begin. Must not know: who wants them. Members follow each other: what lies within a member's declared bytes, such as a
zip inside a zip, is none. Where the chain is broken the next header is searched, and what was found since is dropped
when it turns out to belong to an inner zip's directory, whose offsets are its own. Facts: APPNOTE 6.3.10.
"""

import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from io import RawIOBase

from drill.copies.units import read_at, windows
from drill.copies.zipbytes import CENTRAL, DESCRIPTOR, LOCAL, LOCAL_SIZE, STREAMED, UTF8, Local, field, local_header

_KNOWN_METHODS = frozenset((0, 1, 6, 8, 9, 12, 14, 19, 93, 95, 96, 97, 98, 99))  # APPNOTE 4.4.5
_CENTRAL_SIZE = 46
_UNIX = 3
_LONGEST_NAME = 4096
_MOST_IN_VAIN = 1 << 16  # signatures looked at for descriptors that were not found, in one scan
_PASSES_IN_VAIN = 2  # and how often the archive's bytes are read for such


@dataclass(frozen=True, slots=True)
class Found:
    """A member by its local header. `sized` is false where nothing says how many bytes it has in the archive."""

    info: zipfile.ZipInfo
    begin: int
    sized: bool


def scan(raw: RawIOBase, size: int) -> list[Found]:
    """Return the members in the order of the archive. Bad sectors are passed over."""
    signs = _Signs(raw, size)
    found: list[Found] = []
    chain, proven = 0, True  # where the last unbroken chain began; whether it may be kept as it is
    at = 0
    while at < size:
        head = _header_at(raw, at)
        if head is not None:
            member, at = _member(raw, signs, at, head)
            found.append(member)
            if at <= size:
                continue
            # Cut short, or its size is wrong: what is found from here on may be inside it.
            at, chain, proven = member.begin - 1, len(found) if proven else chain, False
        elif read_at(raw, at, 4) == CENTRAL:
            if _belongs(raw, at, found[chain:]):
                return found
            if signs.next(at, LOCAL) >= size:
                break
            del found[chain:]
            chain = len(found)
        else:
            chain = len(found) if proven else chain
        at = signs.next(at + 1, LOCAL, CENTRAL)
    return found if proven else found[:chain]


def _header_at(raw: RawIOBase, at: int) -> Local | None:
    head = read_at(raw, at, LOCAL_SIZE)
    if len(head) < LOCAL_SIZE or head[:4] != LOCAL or int.from_bytes(head[8:10], "little") not in _KNOWN_METHODS:
        return None
    name, extra = int.from_bytes(head[26:28], "little"), int.from_bytes(head[28:30], "little")
    if not 0 < name <= _LONGEST_NAME:
        return None
    local = local_header(head + read_at(raw, at + LOCAL_SIZE, name + extra))
    return None if local is None or b"\0" in local.name else local


def _member(raw: RawIOBase, signs: "_Signs", at: int, local: Local) -> tuple[Found, int]:
    begin = at + local.size
    sizes = local.crc, local.packed, local.unpacked
    end, sized = begin + local.packed, True
    if local.flags & STREAMED and not local.packed:
        told = _descriptor(raw, signs, begin)
        sized = told is not None
        if told is not None:
            *rest, end = told
            sizes = rest[0], rest[1], rest[2]
    return Found(_info(at, local, sizes), begin, sized), end


def _info(at: int, local: Local, sizes: tuple[int, int, int]) -> zipfile.ZipInfo:
    """Return what the directory would say; which system wrote it only the directory knows."""
    name = local.name.decode("utf-8" if local.flags & UTF8 else "cp437", "replace")
    info = zipfile.ZipInfo(name, _date_time(local))
    info.orig_filename = info.filename = name
    info.create_system = _UNIX
    info.flag_bits, info.compress_type, info.header_offset = local.flags, local.method, at
    info.extra = local.extra
    info.CRC, info.compress_size, info.file_size = sizes
    info._raw_time = local.time  # type: ignore[attr-defined]
    return info


def _date_time(local: Local) -> tuple[int, int, int, int, int, int]:
    day, time = local.date, local.time
    return (day >> 9) + 1980, day >> 5 & 15, day & 31, time >> 11, time >> 5 & 63, (time & 31) * 2


def _descriptor(raw: RawIOBase, signs: "_Signs", begin: int) -> tuple[int, int, int, int] | None:
    """Return (check value, packed, unpacked, end) by the first data descriptor after `begin` whose size fits."""
    place, looked = begin, 0
    while signs.patient(looked, place - begin):
        place = signs.next(place, DESCRIPTOR, LOCAL, CENTRAL)
        if place >= signs.size:
            break
        looked += 1
        tail = read_at(raw, max(begin, place - 20), 48)
        here = place - max(begin, place - 20)
        told = _signed(tail[here:], place - begin) or _unsigned(tail[:here], place - begin)
        if told is not None:
            crc, packed, unpacked, length = told
            return crc, packed, unpacked, begin + packed + length
        place += 1
    signs.in_vain(looked, place - begin)
    return None


def _signed(tail: bytes, packed: int) -> tuple[int, int, int, int] | None:
    if tail[:4] != DESCRIPTOR:
        return None
    crc = int.from_bytes(tail[4:8], "little")
    for width in (8, 4):
        sizes, after = tail[8 : 8 + 2 * width], tail[8 + 2 * width :]
        follows = len(sizes) == 2 * width and after[:2] in (b"PK", b"")
        if follows and int.from_bytes(sizes[:width], "little") == packed:
            return crc, packed, int.from_bytes(sizes[width:], "little"), 8 + 2 * width
    return None


def _unsigned(tail: bytes, distance: int) -> tuple[int, int, int, int] | None:
    """`tail` ends where the next header begins."""
    for width in (4, 8):
        told = tail[len(tail) - 4 - 2 * width :] if len(tail) >= 4 + 2 * width else b""
        packed = distance - 4 - 2 * width
        if told and int.from_bytes(told[4 : 4 + width], "little") == packed:
            crc = int.from_bytes(told[:4], "little")
            return crc, packed, int.from_bytes(told[4 + width :], "little"), 4 + 2 * width
    return None


def _belongs(raw: RawIOBase, at: int, chain: list[Found]) -> bool:
    """Say whether the directory that begins at `at` is of these members: it names one of them where it lies."""
    if not chain:
        return False
    places = {member.info.header_offset for member in chain}
    return any(offset in places for offset in _offsets(raw, at))


def _offsets(raw: RawIOBase, at: int) -> Iterator[int]:
    while len(head := read_at(raw, at, _CENTRAL_SIZE)) == _CENTRAL_SIZE and head[:4] == CENTRAL:
        sizes = [int.from_bytes(head[place : place + 2], "little") for place in (28, 30, 32)]
        offset = int.from_bytes(head[42:46], "little")
        if offset == 0xFFFFFFFF:
            extra = read_at(raw, at + _CENTRAL_SIZE + sizes[0], sizes[1])
            offset = int.from_bytes(field(extra, 1)[-8:], "little")
        yield offset
        at += _CENTRAL_SIZE + sum(sizes)


class _Signs:
    """Where signatures lie, found in large reads; the archive is read once as long as the places asked for grow."""

    def __init__(self, raw: RawIOBase, size: int) -> None:
        self._raw, self.size = raw, size
        self._start, self._window = 0, b""
        self._signs_left, self._bytes_left = _MOST_IN_VAIN, _PASSES_IN_VAIN * size

    def patient(self, signs: int, length: int) -> bool:
        """Say whether a search over so many signatures and bytes may go on."""
        return signs <= self._signs_left and length <= self._bytes_left

    def in_vain(self, signs: int, length: int) -> None:
        """Note what a search looked at that found nothing: those that come after it may look at so much less."""
        self._signs_left = max(0, self._signs_left - signs)
        self._bytes_left = max(0, self._bytes_left - length)

    def next(self, at: int, *kinds: bytes) -> int:
        """Return the first place from `at` on where one of the signatures begins, the archive's size for none."""
        while at < self.size:
            if not self._start <= at < self._start + max(0, len(self._window) - 3):
                self._start, self._window = next(windows(self._raw, at, self.size, again=3), (self.size, b""))
                at = max(at, self._start)
            found = self._window.find(b"PK", at - self._start)
            while found >= 0:
                if self._window[found : found + 4] in kinds:
                    return self._start + found
                found = self._window.find(b"PK", found + 1)
            at = self._start + max(1, len(self._window) - 3)
        return self.size
