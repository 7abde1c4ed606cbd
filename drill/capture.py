"""When a picture was taken, read from its own metadata (Exif), also where only its head and its tail were kept.

Flows in: a picture's bytes, whole or as a Window. Flows out: Taken, or None. Must not know: copies, promises, what the
answer is for, and what names mean beyond which endings are worth the time.

Facts: CIPA DC-008 (Exif 2.32): the block is a TIFF of its own, DateTimeOriginal is "YYYY:MM:DD HH:MM:SS" by the
camera's clock without a zone, unknown is written as blanks; DateTime is when the *file* was changed, which an edit or
an export moves, so it is never taken for the capture time. Where the block is: JPEG, RAF (a JPEG inside), HEIF, AVIF:
after "Exif" and two NULs; JPEG XL: a box "Exif"; PNG: a chunk "eXIf"; WebP: a chunk "EXIF"; CR3: boxes "CMT1" (camera)
and "CMT2" (times); MRW: a block "TTW"; every other raw is itself a TIFF, some with a magic number of their own.

A video's own time is left alone: the standard says UTC (ISO/IEC 14496-12, mvhd), many cameras write their local time
there, and nothing in the file tells which.
"""

import io
import re
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from logging import getLogger
from typing import Any, BinaryIO

import exifread

from drill.model import Taken
from drill.streams import Placed

HEAD_BYTES = 256 * 1024  # JPEG keeps Exif in its first 64 KiB, raws and HEIF within 256 KiB; or at the very end:
TAIL_BYTES = 64 * 1024  # TIFF writers that put the directory behind the pixels, HEIF with its Exif item last
Source = BinaryIO | io.RawIOBase | io.BufferedIOBase

_ENDINGS = frozenset(
    re.findall(
        r"\w+",
        """
    jpg jpeg jpe jfif mpo insp heic heif hif avif png webp jxl tif tiff thm 3fr ari arw cap cr2 cr3 crw dcr dcs dng drf
    eip erf fff gpr iiq k25 kdc mdc mef mfw mos mrw nef nrw orf ori pef ptx pxn raf raw rw2 rwl rwz sr2 srf srw stx
    x3f
        """,
    )
)
_TIFF = re.compile(rb"II[*U]\0|MM\0\*|IIR[OS]|MMOR")  # TIFF; U: RW2; R: ORF
_BLOCK = re.compile(
    rb"(?:Exif\0\0(?:\0\0)?|eXIf|EXIF.{4}(?:Exif\0\0)?|\0TTW.{4}|CMT[12])(?=II\*\0|MM\0\*)",
    re.DOTALL,
)
_BARE = re.compile(rb"\0\0\0\0(?=II\*\0\x08\0\0\0|MM\0\*\0\0\0\x08)")  # HEIF item whose offset to the block is zero
_DATE = re.compile(
    r"([0-9]{4})([:/.-])([0-9]{2}| [0-9])\2([0-9]{2}| [0-9])[ T]([0-9]{2}| [0-9]):([0-9]{2}| [0-9]):([0-9]{2}| [0-9])"
    r"(?:[.,]([0-9]{1,9}))?\s*(?:Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_EARLIEST = datetime(1990, 1, 1)
_READS = 6_000  # an ordinary picture takes 200 to 2,500; a damaged directory would go on for millions
_BLOCKS = 4  # of one file: CR3 has two, a panorama its parts

# It warns of every odd tag of every picture. Nobody here reads that: what it cannot read is None.
getLogger("exifread").setLevel("CRITICAL")


class Window(Placed):
    """A file of `size` bytes of which the first and the last were kept; reads in the hole end short."""

    def __init__(self, size: int, head: bytes, tail: bytes) -> None:
        super().__init__(size)
        self._head = head[:size]
        self._tail = tail[-size:] if size and tail else b""

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        """Go to a byte; errors: ValueError before the first, which is the picture's fault and no I/O error."""
        try:
            return super().seek(offset, whence)
        except OSError as error:
            raise ValueError("before the first byte") from error

    def readinto(self, buffer: object, /) -> int:
        """Read what was kept at this place: at most to the hole's edge, nothing inside it."""
        into = self.room(buffer)
        tail_at = self.size - len(self._tail)
        if self.place < len(self._head):
            kept = memoryview(self._head)[self.place :]
        elif self.place >= tail_at:
            kept = memoryview(self._tail)[self.place - tail_at :]
        else:
            return 0
        count = min(len(into), len(kept))
        into[:count] = kept[:count]
        self.place += count
        return count


def can_have(path: str) -> bool:
    """Say whether a file of this name can hold a capture time that `taken` could find, by its ending."""
    _, dot, ending = path.rpartition(".")
    return bool(dot) and ending.lower() in _ENDINGS


def is_whole(path: str, head: bytes, tail: bytes) -> bool | None:
    """Say whether a JPEG or PNG begins and ends as one does; None for other kinds. It may be damaged in between.

    `tail` are the file's last bytes, which may be all of it. Source: ITU-T T.81, table B.1 (SOI, EOI); W3C PNG, 5.2 and
    11.2.5. Cameras append previews and padding after the end, so the mark is looked for in the tail.
    """
    ending = path.rpartition(".")[2].lower()
    if ending in ("jpg", "jpeg", "jpe", "jfif"):
        return head.startswith(b"\xff\xd8\xff") and b"\xff\xd9" in tail
    if ending == "png":
        return head.startswith(b"\x89PNG\r\n\x1a\n") and b"IEND\xaeB`\x82" in tail
    return None


def taken(file: Source, *, not_after: datetime) -> Taken | None:
    """Return when and with what a picture was taken; None where it does not say, or not believably.

    A time before 1990, or more than a day after `not_after` (a day for zones), is a clock that was never set. Never
    raises for what is in the file; a read that fails counts as nothing found. Bounded whatever the damage: see _READS.
    """
    latest = _latest(not_after)
    tags: dict[str, Any] = {}
    try:
        for base in _blocks(file):
            tags = _tags(file, base) | tags
            when = _when(tags)
            if when is not None:
                return Taken(when, _camera(tags)) if _EARLIEST <= when <= latest else None
    except OSError:
        return None
    return None


def _latest(not_after: datetime) -> datetime:
    naive = not_after.astimezone(UTC).replace(tzinfo=None) if not_after.tzinfo else not_after
    return naive + timedelta(days=1) if naive < datetime.max - timedelta(days=1) else naive


def _blocks(file: Source) -> Iterator[int]:
    """Give where the Exif blocks of a file begin, the likeliest first."""
    head = _read(file, 0, HEAD_BYTES)
    if _TIFF.match(head):
        yield 0
        return
    found = [hit.end() for hit in _BLOCK.finditer(head)]
    boxed = head[4:8] == b"ftyp"
    if boxed and not found:
        size = file.seek(0, io.SEEK_END)
        start = max(0, size - TAIL_BYTES)
        tail = _read(file, start, TAIL_BYTES)
        found = [start + hit.end() for hit in _BLOCK.finditer(tail)]
        found = found or [hit.end() for hit in _BARE.finditer(head)]
        found = found or [start + hit.end() for hit in _BARE.finditer(tail)]
    yield from found[:_BLOCKS]


def _read(file: Source, at: int, most: int) -> bytes:
    file.seek(at)
    got = bytearray()
    while len(got) < most and (more := file.read(most - len(got))):
        got += more
    return bytes(got)


class _Enough(Exception):
    """No error of the file's: so much reading is never worth it."""


class _Block:
    """A part of a file from `base` on, for a parser that must not read for ever."""

    def __init__(self, file: Source, base: int) -> None:
        self._file, self._base, self._reads = file, base, 0

    def seek(self, at: int, whence: int = io.SEEK_SET) -> int:
        return self._file.seek(at + self._base if whence == io.SEEK_SET else at, whence) - self._base

    def tell(self) -> int:
        return self._file.tell() - self._base

    def read(self, count: int = -1) -> bytes:
        self._reads += 1
        if self._reads > _READS:
            raise _Enough
        return self._file.read(min(count, HEAD_BYTES) if count >= 0 else HEAD_BYTES) or b""


def _tags(file: Source, base: int) -> dict[str, Any]:
    """Read the tags of one block; what cannot be parsed has none."""
    block: Any = _Block(file, base)
    try:
        return dict(exifread.process_file(block, details=False, extract_thumbnail=False))
    except OSError:
        raise
    except Exception:
        # A damaged directory ends in whatever Python raises: IndexError, KeyError, struct.error, RecursionError …
        return {}


def _text(tags: Mapping[str, Any], name: str) -> str:
    """Return a tag's text, also where a writer gave it the wrong type or put it into the first directory."""
    tag = tags.get(f"EXIF {name}") or tags.get(f"Image {name}")
    value = getattr(tag, "values", "")
    if isinstance(value, list):
        value = bytes(n for n in value if isinstance(n, int) and 0 <= n < 256)
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    return value.partition("\0")[0].strip() if isinstance(value, str) else ""


def _when(tags: Mapping[str, Any]) -> datetime | None:
    for name, fraction in (("DateTimeOriginal", "SubSecTimeOriginal"), ("DateTimeDigitized", "SubSecTimeDigitized")):
        when = parse_exif_time(_text(tags, name), fraction=_text(tags, fraction))
        if when is not None:
            return when
    return None


def parse_exif_time(text: str, *, fraction: str = "") -> datetime | None:
    """Read a time as Exif writes it, "2026:09:12 19:30:00"; None for anything that names no real moment.

    Also taken: dashes, slashes or dots in the date, a T between, blanks for leading zeros, a fraction, a zone at the
    end (dropped: the time stays the camera's own). `fraction` is the digits of SubSecTime.
    """
    found = _DATE.fullmatch(text.strip("\0 \t\r\n"))
    if found is None:
        return None
    year, month, day, hour, minute, second = (int(found.group(i)) for i in (1, 3, 4, 5, 6, 7))
    digits = found.group(8) or (fraction if re.fullmatch(r"[0-9]{1,9}", fraction) else "0")
    try:
        return datetime(year, month, day, hour, minute, second, int(digits[:6].ljust(6, "0")))
    except ValueError:
        return None


def _camera(tags: Mapping[str, Any]) -> str:
    make, model, serial = (_plain(_text(tags, name)) for name in ("Make", "Model", "BodySerialNumber"))
    name = model if model.lower().startswith(make.lower().partition(" ")[0]) else f"{make} {model}"
    told_apart = name.strip() and re.fullmatch(
        r"(?=.*[1-9A-Za-z])[0-9A-Za-z-]{3,}", serial
    )  # some write "0" or rubbish
    return (f"{name} #{serial}" if told_apart else name).strip()


def _plain(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:60]
