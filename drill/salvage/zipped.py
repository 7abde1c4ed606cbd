"""What can be had of a damaged zip: by its directory, else by the local headers, past bad sectors.

Flows in: a raw stream of the archive, a password, what is waiting. Flows out: Entries; begin, data, hole and end calls.
Must not know: promises. The directory is believed over the local headers as long as it is there.
"""

import zipfile
from contextlib import closing
from copy import copy
from dataclasses import dataclass
from functools import partial
from io import RawIOBase

from drill.copies import zipped
from drill.copies.beside import Turns
from drill.copies.crc import crc32
from drill.copies.packed import Inflate
from drill.copies.raw import BLOCK, Steady, Unreadable, Waiting
from drill.copies.units import even_pieces
from drill.copies.zipbytes import LOCKED, bytes_begin, bytes_begin_without_header
from drill.copies.zippacked import unpacked_bytes
from drill.copies.zipscan import Found, scan
from drill.model import Collector, Entry, Problem, Trouble
from drill.salvage.claims import Broken, Claims, Gap, Pieces, hand_over
from drill.salvage.lockstep import Parted, unpack_around
from drill.salvage.patched import Around
from drill.salvage.pieces import read_around, stored

_MOST_RATIO = 1100  # deflate packs no more than 1032 bytes into one (zlib's technical notes); a little more for safety


def list_members(raw: RawIOBase, size: int, password: str | None) -> list[Entry]:
    """List what the directory names, else what local headers name. Errors: Unreadable where neither names a file."""
    try:
        return zipped.list_members(raw, password)
    except Unreadable as error:
        if error.trouble not in (Trouble.IO, Trouble.DAMAGED):
            raise
        entries = [_entry(found) for found in scan(raw, size) if zipped.is_file(found.info)]
        if not entries:
            raise
        return entries


def deliver_members(raw: RawIOBase, size: int, password: str | None, waiting: Waiting, collector: Collector) -> None:
    """Deliver what can be had of what is waiting; the rest stays waiting."""
    claims = Claims(waiting)
    disk = _Disk(Around(raw), raw, size, password)
    try:
        for way in (_by_directory, _by_headers):
            members = way(disk) if claims else []
            for member in members:
                wanted = claims.take(member.info.header_offset, _paths(member.info), _size(member))
                if wanted is not None:
                    _deliver(disk, member, wanted, collector)
            for member in members if claims else ():
                wanted = claims.take_elsewhere(_paths(member.info), _size(member))
                if wanted is not None:
                    _deliver(disk, member, wanted, collector)
    finally:
        claims.back()


@dataclass(frozen=True, slots=True)
class _Disk:
    around: Around
    raw: RawIOBase
    size: int
    password: str | None


def _entry(found: Found) -> Entry:
    entry = zipped.entry_of(found.info)
    return entry if found.sized else Entry(entry.path, None, entry.modified, entry.index)


def _size(found: Found) -> int | None:
    return found.info.file_size if found.sized else None


def _paths(info: zipfile.ZipInfo) -> list[str]:
    """Return the paths the member may be listed under: a local header does not say which system wrote the name."""
    other = copy(info)
    other.create_system = 0 if info.create_system else 3
    return [zipped.path_of(info), zipped.path_of(other)]


# --- the members ---------------------------------------------------------------------------------------------------


def _by_directory(disk: _Disk) -> list[Found]:
    """Return the members that the directory names, where it can be read and their bytes be found."""
    source = Steady(disk.raw)
    try:
        archive = zipped.parse_directory(source)
    except Unreadable:
        return []
    with closing(archive):
        members = zipped.members_and_limits(archive)
    found = []
    for info, limit in members:
        begin = _begin(disk, source, info, limit) if zipped.is_file(info) else None
        if begin is not None:
            found.append(Found(info, begin, True))
    return found


def _begin(disk: _Disk, source: Steady, info: zipfile.ZipInfo, limit: int) -> int | None:
    """Return where the bytes begin; where the header and the next one disagree, what the check value proves."""
    places = []
    for ask in (partial(bytes_begin, source, info), partial(bytes_begin_without_header, source, info, limit)):
        try:
            place = ask()
        except OSError:
            continue
        if place is not None and place not in places:
            places.append(place)
    return next((p for p in places[:-1] if _proven(disk, Found(info, p, True))), places[-1] if places else None)


def _by_headers(disk: _Disk) -> list[Found]:
    return [found for found in scan(disk.raw, disk.size) if zipped.is_file(found.info)]


# --- their bytes ---------------------------------------------------------------------------------------------------


class _Check:
    """The check value of the pieces that went by."""

    def __init__(self, info: zipfile.ZipInfo) -> None:
        self._info, self._crc = info, 0

    def over(self, pieces: Pieces) -> Pieces:
        for piece in pieces:
            if not isinstance(piece, Gap):
                self._crc = crc32(piece, self._crc)
            yield piece

    def verdict(self) -> Problem | None:
        if self._crc == self._info.CRC:
            return None
        doubt = ", or the password is wrong" if self._info.flag_bits & LOCKED else ""
        return Problem(Trouble.CHECK_VALUE, f"its check value in the archive differs{doubt}")


def _proven(disk: _Disk, member: Found) -> bool:
    check, whole = _Check(member.info), True
    try:
        for piece in check.over(_pieces(disk, member, member.info.file_size)):
            whole = whole and not isinstance(piece, Gap)
    except Broken:
        return False
    return whole and check.verdict() is None


def _deliver(disk: _Disk, member: Found, wanted: Entry, collector: Collector) -> None:
    info = member.info
    packed = info.compress_size if member.sized else disk.size - member.begin
    check = _Check(info)
    pieces = check.over(_pieces(disk, member, wanted.size))
    verdict = check.verdict if member.sized else _unproven
    hand_over(wanted, pieces, collector, most_zeros=_MOST_RATIO * packed + BLOCK, verdict=verdict)


def _unproven() -> Problem:
    return Problem(Trouble.DAMAGED, "nothing in the archive says whether it is whole")


def _pieces(disk: _Disk, member: Found, size: int | None) -> Pieces:
    info = member.info
    end = member.begin + info.compress_size if member.sized else disk.size
    plain = not info.flag_bits & LOCKED
    if plain and info.compress_type == zipfile.ZIP_STORED:
        if not member.sized and size is None:
            raise Broken(Problem(Trouble.DAMAGED, "nothing in the archive says where it ends"))
        return stored(disk.around, member.begin, end if member.sized else member.begin + (size or 0))
    if plain and info.compress_type == zipfile.ZIP_DEFLATED:
        return _inflated(disk, member.begin, min(end, disk.size))
    return _by_library(disk, member)


def _inflated(disk: _Disk, begin: int, end: int) -> Pieces:
    try:
        yield from unpack_around(Inflate(), Inflate, lambda: read_around(disk.around, even_pieces(begin, end)))
    except Parted as parted:
        trouble = Trouble.IO if parted.unread else Trouble.DAMAGED
        why = "cannot be unpacked past the I/O error" if parted.unread else "cannot be unpacked to its end"
        raise Broken(Problem(trouble, why)) from None


def _by_library(disk: _Disk, member: Found) -> Pieces:
    """Unpack what is encrypted or packed in a rarer way, up to the first thing that goes wrong."""
    info = member.info
    source = Steady(disk.raw)
    source.seek(member.begin)
    password = None if disk.password is None else disk.password.encode("utf-8", "surrogatepass")
    at = 0
    try:
        if info.flag_bits & LOCKED and password is None:
            raise Broken(Problem(Trouble.REFUSED, "it is encrypted and no password is given"))
        for chunk in unpacked_bytes(source, info, password, Turns(BLOCK)):
            at += len(chunk)
            yield chunk
    except Broken:
        raise
    except Exception as error:  # whatever damage makes of a library
        raise Broken(zipped.explain_member(error, at, source=source, info=info)) from None
