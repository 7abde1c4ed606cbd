"""The structure of a zip: local headers, members' bytes, the directory.

Flows in: a raw stream of the archive, a password. Flows out: its Anatomy. Must not know: faults, promises, salvage.
Only headers are read. Every member stands alone: what hits its bytes costs that member. A local header costs nothing
where the directory and the next header say where the bytes lie; the directory nothing where every local header has
its member's sizes. That bytes are lost is said of bytes that are not all zeros. A program that stops at its first error
looks for the directory from the end on, and finds nothing where it cannot read there.
"""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from io import RawIOBase
from zipfile import ZIP_STORED, ZipFile, ZipInfo

from drill.copies.raw import Steady
from drill.copies.zipbytes import LOCAL_SIZE, LOCKED, STREAMED, bytes_begin, bytes_begin_without_header
from drill.copies.zipped import entry_of, is_file, members_and_limits, open_directory
from drill.errors import DrillError
from drill.extents import Anatomy, Extent, Members, Part
from drill.model import Entry
from drill.structure.gapless import NONE, gapless

_TAIL = 16  # the end of a compressed stream: marks, padding, check values
# The end lies in the last 22 + 65,535 bytes (APPNOTE 4.3.16). 7-Zip 26.02 reads twice as many at once and then gives up
# (measured); Info-ZIP 6.00 only what lies behind a multiple of 8 KiB, and further ones while the end is not in it.
_SEARCHED = 128 * 1024
_LARGEST_SECTOR = 64 * 1024  # a sector may hold a member's header and the directory's beginning


@dataclass(frozen=True, slots=True)
class _Place:
    """One member of the directory: where its header and its bytes begin, whether the header is needed to know that."""

    info: ZipInfo
    begin: int
    header_needed: bool
    entry: Entry | None  # None for folders and links


def anatomy_of(raw: RawIOBase, size: int, password: str | None, *, kept: bool) -> Anatomy:
    """Return the structure of a zip. Errors: Unreadable."""
    source = Steady(raw)
    with open_directory(source, password) as archive:
        places = _places(source, archive)
        start = archive.start_dir
    full = [place.entry for place in places if place.entry is not None and place.entry.size]
    empty = [place.entry for place in places if place.entry is not None and not place.entry.size]
    members = [*full, *empty]
    begins = [place.begin for place in places if _has_bytes(place)]
    found = _extents(places, (start, size), members=len(members), kept=kept)
    extents = list(_searched(gapless(found, size, begins, members=len(members)), max(0, size - _SEARCHED)))
    packed = sum(place.info.compress_size for place in places if place.entry is not None)
    encrypted = any(place.info.flag_bits & LOCKED for place in places)
    streamed = sum(entry.size or 0 for entry in members)
    return Anatomy(size, members, extents, streamed, packed, encrypted=encrypted, kept_elsewhere=kept)


def _places(source: Steady, archive: ZipFile) -> list[_Place]:
    return [_place(source, info, limit) for info, limit in members_and_limits(archive)]


def _place(source: Steady, info: ZipInfo, limit: int) -> _Place:
    begin = guessed = None
    with suppress(OSError, DrillError):
        begin = bytes_begin(source, info)
    with suppress(OSError, DrillError):
        guessed = bytes_begin_without_header(source, info, limit)
    place = next((p for p in (begin, guessed) if p is not None), info.header_offset + LOCAL_SIZE)
    return _Place(info, place, guessed != place, entry_of(info) if is_file(info) else None)


def _extents(places: list[_Place], directory: Members, *, members: int, kept: bool) -> Iterator[Extent]:
    start, size = directory
    number = 0
    empty = with_bytes = sum(_has_bytes(place) for place in places)
    for place in places:
        costs, stops = NONE, number if number < with_bytes else members
        if _has_bytes(place):
            costs, number = (number, number + 1), number + 1
        elif place.entry is not None:
            costs, empty = (empty, empty + 1), empty + 1
        needed = place.header_needed or place.info.header_offset >= start - _LARGEST_SECTOR
        header = costs if needed and not kept else NONE
        yield Extent(place.info.header_offset, place.begin, Part.HEADERS, stops, NONE, header, "a member's header")
        yield from _bytes(place, costs if _has_bytes(place) else NONE, stops)
    most = NONE if kept else _only_in_directory(places)
    yield Extent(start, size, Part.HEADERS, 0, NONE, most, "the directory")


def _bytes(place: _Place, lost: Members, stops: int) -> Iterator[Extent]:
    """Yield a member's bytes. Deflate has some for an empty one too, and all may have come before the last few."""
    part = _part(place.info)
    end = place.begin + place.info.compress_size
    sure = end if part is Part.STORED else max(place.begin, end - _TAIL)
    yield Extent(place.begin, sure, part, stops, lost, lost)
    yield Extent(sure, end, part, stops, NONE, lost)


def _searched(extents: Sequence[Extent], start: int) -> Iterator[Extent]:
    """Yield the extents, cut at the place from which on the end is looked for: an error there costs the program all."""
    for extent in extents:
        if extent.start < start:
            yield replace(extent, end=min(extent.end, start))
        if extent.end > start:
            yield replace(extent, start=max(extent.start, start), stops=0)


def _has_bytes(place: _Place) -> bool:
    return place.entry is not None and bool(place.entry.size)


def _only_in_directory(places: Sequence[_Place]) -> Members:
    """Return the members whose sizes stand in the directory and behind their bytes, but not before them."""
    full = [place for place in places if _has_bytes(place)]
    streamed = [number for number, place in enumerate(full) if place.info.flag_bits & STREAMED]
    return (streamed[0], streamed[-1] + 1) if streamed else NONE


def _part(info: ZipInfo) -> Part:
    if info.flag_bits & LOCKED:
        return Part.ENCRYPTED
    return Part.STORED if info.compress_type == ZIP_STORED else Part.COMPRESSED
