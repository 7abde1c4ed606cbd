"""Zip archives: list the members, deliver some of them; one damaged member leaves the others whole.

Flows in: a raw stream of the archive's bytes, a password, what is wanted. Flows out: Entries; begin, data and end
calls. Must not know: where the stream comes from. Facts: APPNOTE 6.3.10 (section 11 of the references), the
standard library's zipfile.
"""

import io
import stat
import zipfile
from collections.abc import Iterator
from datetime import datetime
from functools import partial
from io import RawIOBase

from drill.copies.beside import PIECE, Beside, Turns, is_large
from drill.copies.crc import crc32
from drill.copies.raw import BLOCK, Steady, Unreadable, Waiting, explain
from drill.copies.zipbytes import LOCAL, LOCAL_SIZE, LOCKED, UTF8
from drill.copies.zippacked import unpacked_bytes
from drill.errors import DrillError
from drill.model import Entry, Problem, Receiver, Trouble

_UNIX, _DOS = 3, 0
_CANNOT_BE_READ = 0x20 | 0x40  # patch data, strong encryption
_END64_SIZE = 56 + 20  # the end record of a zip64, and what leads to it
_LONGEST_END = _END64_SIZE + 22 + 65535  # with the end record and its comment


class _Differs(Exception):
    """Every byte of a member came and its CRC is another one."""


class _Overlaps(Exception):
    """A member's bytes reach into the next member."""


def list_members(raw: RawIOBase, password: str | None) -> list[Entry]:
    """List the regular files in the order of the directory. Errors: Unreadable."""
    with open_directory(Steady(raw), password) as archive:
        return [entry_of(info) for info in archive.infolist() if is_file(info)]


def deliver_members(raw: RawIOBase, password: str | None, waiting: Waiting, receiver: Receiver) -> None:
    """Deliver what is waiting and found, in the order in which it lies in the archive. Errors: Unreadable."""
    source = Steady(raw)
    turns, large = Turns(BLOCK), Turns(PIECE)
    with parse_directory(source) as archive, Beside() as beside:
        for info, end in members_and_limits(archive):
            if info.header_offset not in waiting or not is_file(info):
                continue
            entry = waiting.take(info.header_offset, path_of(info))
            if entry is not None:
                why = partial(explain_member, source=source, info=info)
                pieces = _bytes_of(source, info, end, password=password, turns=large if is_large(entry) else turns)
                beside.send(entry, receiver, pieces, why=why)


def open_directory(source: Steady, password: str | None) -> zipfile.ZipFile:
    """Return the archive with its directory parsed. Errors: Unreadable, also for want of a password."""
    archive = parse_directory(source)
    infos = [info for info in archive.infolist() if is_file(info)]
    if password is None and infos and all(info.flag_bits & LOCKED for info in infos):
        raise Unreadable(Trouble.REFUSED, "it is encrypted and no password is given")
    return archive


def members_and_limits(archive: zipfile.ZipFile) -> list[tuple[zipfile.ZipInfo, int]]:
    """Return the members in the order of the archive, each with where the next one begins."""
    found = []
    limit = at = archive.start_dir
    for info in sorted(archive.infolist(), key=lambda info: info.header_offset, reverse=True):
        limit, at = (limit, at) if info.header_offset == at else (at, info.header_offset)
        found.append((info, limit))
    return found[::-1]


def entry_of(info: zipfile.ZipInfo) -> Entry:
    """Return the member as it is listed; its index is where its local header lies."""
    return Entry(path_of(info), info.file_size, _modified(info), info.header_offset)


def parse_directory(source: Steady) -> zipfile.ZipFile:
    """Return the archive with its directory parsed, whatever is encrypted in it. Errors: Unreadable."""
    try:
        archive = zipfile.ZipFile(source)
    except DrillError:
        raise
    except Exception as error:  # whatever a damaged directory makes of the parser
        if isinstance(source.trouble, DrillError):
            raise source.trouble from None
        if source.trouble is not None or isinstance(error, OSError):
            raise Unreadable(Trouble.IO, "I/O error in the archive's directory") from None
        words = str(error) if isinstance(error, zipfile.BadZipFile) else type(error).__name__
        raise Unreadable(Trouble.DAMAGED, f"the archive's directory is damaged ({words})") from None
    if _is_inner(source, archive):
        raise Unreadable(Trouble.DAMAGED, "the archive's directory is missing: the last one is of a zip inside it")
    return archive


def _is_inner(source: Steady, archive: zipfile.ZipFile) -> bool:
    """Say whether the directory is of a zip inside this one, whose own end is cut off: zipfile takes it for its own.

    What lies before it is passed over, as before a zip that unpacks itself; but that does not begin with a member.
    """
    if any(info.header_offset == 0 for info in archive.infolist()):
        return False
    try:
        source.seek(0)
        if source.read(len(LOCAL)) != LOCAL:
            return False
        source.seek(max(0, source.seek(0, io.SEEK_END) - _LONGEST_END))
        tail = source.read(_LONGEST_END)
    except OSError:
        return False
    return _stated_start(tail) not in (None, archive.start_dir)


def _stated_start(tail: bytes) -> int | None:
    """Return where the end records say that the directory begins (APPNOTE 4.3.14, 4.3.16); None where they do not."""
    at = tail.rfind(b"PK\5\6")
    if at < 0:
        return None
    stated = int.from_bytes(tail[at + 16 : at + 20], "little")
    if stated != 0xFFFFFFFF:
        return stated
    record = tail[max(0, at - _END64_SIZE) : at]
    return int.from_bytes(record[48:56], "little") if record[:4] == b"PK\6\6" else None


def is_file(info: zipfile.ZipInfo) -> bool:
    """Say whether a member is a regular file; one without a name is none."""
    kind = stat.S_IFMT(info.external_attr >> 16) if info.create_system == _UNIX else 0
    return bool(info.filename) and not info.is_dir() and kind in (0, stat.S_IFREG)


def path_of(info: zipfile.ZipInfo) -> str:
    """Return the member's path: with the name in Unicode where the archive has it under any of the three ways."""
    name = info.filename
    if not info.flag_bits & UTF8:
        name = _unicode_name(info) or name
    if info.create_system == _DOS:
        name = name.replace("\\", "/")
    while name.startswith("./"):
        name = name[2:]
    return name


def _unicode_name(info: zipfile.ZipInfo) -> str | None:
    """Return the Info-ZIP Unicode path (extra field 0x7075, when its CRC fits), or what Unix wrote as plain UTF-8."""
    try:
        plain = info.orig_filename.encode("cp437")
    except UnicodeEncodeError:
        return None
    extra = info.extra
    while len(extra) >= 4:
        kind, size = int.from_bytes(extra[:2], "little"), int.from_bytes(extra[2:4], "little")
        body, extra = extra[4 : 4 + size], extra[4 + size :]
        if kind == 0x7075 and body[:1] == b"\x01" and int.from_bytes(body[1:5], "little") == crc32(plain):
            return _decoded(body[5:])
    return _decoded(plain) if info.create_system == _UNIX and not plain.isascii() else None


def _decoded(name: bytes) -> str | None:
    try:
        return name.decode("utf-8").partition("\0")[0]
    except UnicodeDecodeError:
        return None


def _modified(info: zipfile.ZipInfo) -> datetime | None:
    """Return the DOS time, which is local; its first moment stands for "unknown"."""
    if info.date_time <= (1980, 1, 1, 0, 0, 0):
        return None
    try:
        return datetime(*info.date_time).astimezone()
    except (ValueError, OverflowError, OSError):
        return None


def _bytes_of(
    source: Steady, info: zipfile.ZipInfo, limit: int, *, password: str | None, turns: Turns
) -> Iterator[bytes | memoryview]:
    """Yield a member's bytes, then compare the check value. The next member begins at `limit`."""
    _find_bytes(source, info, limit)
    crc = 0
    key = None if password is None else password.encode("utf-8", "surrogatepass")
    for chunk in unpacked_bytes(source, info, key, turns):
        crc = crc32(chunk, crc)
        yield chunk
    if crc != info.CRC:
        raise _Differs


def _find_bytes(source: Steady, info: zipfile.ZipInfo, limit: int) -> None:
    """Go to where the bytes begin. Errors: OSError, BadZipFile, NotImplementedError."""
    if info.header_offset < 0:
        raise zipfile.BadZipFile("the directory has the member before the archive's beginning")
    source.seek(info.header_offset)
    head = source.read(LOCAL_SIZE)
    if len(head) < LOCAL_SIZE or head[:4] != LOCAL:
        raise zipfile.BadZipFile("no header where the directory has the member")
    name_size, extra_size = int.from_bytes(head[26:28], "little"), int.from_bytes(head[28:30], "little")
    name = source.read(name_size)
    if info.flag_bits & _CANNOT_BE_READ:
        raise NotImplementedError
    encoding = "utf-8" if int.from_bytes(head[6:8], "little") & UTF8 else "cp437"
    if name.decode(encoding) != info.orig_filename:
        raise zipfile.BadZipFile("the directory and the member's header give different names")
    begin = info.header_offset + LOCAL_SIZE + name_size + extra_size
    if begin + info.compress_size > limit:
        raise _Overlaps
    source.seek(begin)


def explain_member(error: Exception, at: int, *, source: Steady, info: zipfile.ZipInfo) -> Problem:
    """Put a failure of reading a member, after `at` good bytes, into words."""
    locked = bool(info.flag_bits & LOCKED)
    doubt = ", or the password is wrong" if locked else ""
    if source.trouble is not None:  # a library may have made something else of a read that failed
        error = source.trouble
    match error:
        case _Differs():
            return Problem(Trouble.CHECK_VALUE, f"its check value in the archive differs{doubt}")
        case _Overlaps():
            return Problem(Trouble.DAMAGED, "the archive's directory gives the same bytes to another file too")
        case NotImplementedError():
            return Problem(Trouble.UNSUPPORTED, "it is packed in a way that cannot be read here")
        case RuntimeError() if locked and "assword" in str(error):
            wrong = "the password is wrong" if "Bad" in str(error) else "it is encrypted and no password is given"
            return Problem(Trouble.REFUSED, wrong)
        case OSError() | DrillError() | MemoryError():
            return explain(error, at)
    return Problem(Trouble.DAMAGED, f"cannot be unpacked from byte {at} on{doubt}")
