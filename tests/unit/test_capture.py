"""Capture times: where cameras put them, what is no time, damage, and files of which only the ends were kept."""

import io
import logging
import random
import struct
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from PIL import Image

from drill import capture, naming
from drill.capture import Window, taken
from drill.model import Taken

NOW = datetime(2026, 11, 24, 20, 0)
WHEN = datetime(2026, 9, 12, 19, 30, 5, 250000)
MADE = Taken(WHEN, "Heron Optics Ridge 5 #00123")


def exif(
    *, original: str | None = "2026:09:12 19:30:05", digitized: str | None = None, changed: str | None = None
) -> bytes:
    """Build an Exif block: "Exif", two NULs and a TIFF, as Pillow writes it."""
    block = Image.Exif()
    block[0x010F], block[0x0110] = "Heron Optics", "Ridge 5"
    inner = block.get_ifd(0x8769)
    inner[0xA431] = "00123"
    if changed is not None:
        block[0x0132] = changed
    if original is not None:
        inner[0x9003], inner[0x9291] = original, "25"
    if digitized is not None:
        inner[0x9004] = digitized
    return block.tobytes()


def tiff(**times: str | None) -> bytes:
    return exif(**times).removeprefix(b"Exif\0\0")


def picture(kind: str, block: bytes) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (64, 48), (10, 90, 60)).save(out, kind, exif=block)
    return out.getvalue()


# Every container below was shown to another reader (the Perl module Image::ExifTool 12.57): it found the same time.
def box(kind: bytes, *content: bytes) -> bytes:
    body = b"".join(content)
    return struct.pack(">I", 8 + len(body)) + kind + body


def jpeg(block: bytes) -> bytes:
    return picture("JPEG", block)


def raf() -> bytes:  # a JPEG inside, at the offset that bytes 84 to 88 say
    return (
        b"FUJIFILMCCD-RAW 0201".ljust(84, b"\0") + struct.pack(">I", 160).ljust(76, b"\0") + jpeg(exif()) + bytes(9000)
    )


_CANON = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")


def cr3() -> bytes:  # camera and times in two blocks of their own; the second one is an Exif directory as the first one
    times = b"II*\0\x08\0\0\0" + struct.pack("<HHHIIHHI4sI", 2, 0x9003, 2, 20, 38, 0x9291, 2, 3, b"25\0\0", 0)
    times += b"2026:09:12 19:30:05\0"
    camera = tiff(original=None)
    moov = box(b"moov", box(b"uuid", _CANON, box(b"CMT1", camera), box(b"CMT2", times)))
    return box(b"ftyp", b"crx \0\0\0\1crx isom") + moov + box(b"mdat", bytes(5000))


def mrw() -> bytes:
    block = b"\0PRD" + struct.pack(">I", 24) + bytes(24) + b"\0TTW" + struct.pack(">I", len(tiff())) + tiff()
    return b"\0MRM" + struct.pack(">I", len(block)) + block + bytes(4000)


def _heif(brand: bytes, before: bytes, item: bytes, after: bytes = b"") -> bytes:
    """Build a HEIF file whose only item is an Exif block between `before` and `after`."""
    kind = box(b"ftyp", brand, bytes(4), b"mif1", brand)
    handler = box(b"hdlr", bytes(8), b"pict", bytes(13))
    info = box(b"iinf", bytes(4), b"\0\1", box(b"infe", b"\2\0\0\0", b"\0\1", b"\0\0", b"Exif", b"\0"))

    def meta(at: int) -> bytes:
        place = struct.pack(">HHHHII", 1, 1, 0, 1, at, len(item))
        return box(b"meta", bytes(4), handler, info, box(b"iloc", bytes(4), b"\x44\0", place))

    start = len(kind) + len(meta(0)) + 8 + len(before)
    return kind + meta(start) + box(b"mdat", before, item, after)


def heif() -> bytes:  # the Exif item behind the pictures, as some phones write it
    return _heif(b"heix", bytes(400_000), b"\0\0\0\6" + exif())


def heif_bare() -> bytes:  # the block at once, without "Exif" before it
    return _heif(b"mif1", b"\1" * 99, bytes(4) + tiff(), b"\1" * 400_000)


def heif_bare_last() -> bytes:
    return _heif(b"mif1", b"\1" * 400_000, bytes(4) + tiff())


def jxl() -> bytes:
    head = b"\0\0\0\x0cJXL \r\n\x87\n" + box(b"ftyp", b"jxl \0\0\0\0jxl ")
    return head + box(b"Exif", bytes(4), tiff()) + box(b"jxlc", bytes(999))


def long_xmp_first() -> bytes:  # a segment of 60,000 bytes before the Exif segment
    whole = jpeg(exif())
    segment = b"\xff\xe1" + struct.pack(">H", 60_002) + b"http://ns.adobe.com/xap/1.0/\0".ljust(60_000, b" ")
    return whole[:2] + segment + whole[2:]


def directory_last() -> bytes:
    """A TIFF whose directory and Exif lie behind 600,000 bytes of pixels, as some writers put it."""
    block, gap = bytearray(tiff()), 600_000
    order = "<" if block[:2] == b"II" else ">"

    def shift(at: int) -> None:
        block[at : at + 4] = struct.pack(order + "I", struct.unpack_from(order + "I", block, at)[0] + gap)

    def move(ifd: int) -> None:
        for entry in range(ifd + 2, ifd + 2 + 12 * struct.unpack_from(order + "H", block, ifd)[0], 12):
            tag, kind, count = struct.unpack_from(order + "HHI", block, entry)
            inner = struct.unpack_from(order + "I", block, entry + 8)[0]
            if tag == 0x8769:
                move(inner)
            if tag == 0x8769 or (kind == 2 and count > 4):
                shift(entry + 8)

    move(struct.unpack_from(order + "I", block, 4)[0])
    shift(4)
    return bytes(block[:8]) + bytes(gap) + bytes(block[8:])


CONTAINERS: dict[str, Callable[[], bytes]] = {
    "jpeg": lambda: jpeg(exif()),
    "png": lambda: picture("PNG", exif()),
    "webp": lambda: picture("WEBP", exif()),
    "tiff": tiff,
    "tiff, directory last": directory_last,
    "orf": lambda: tiff().replace(b"II*\0", b"IIRO", 1).replace(b"MM\0*", b"MMOR", 1),
    "jpeg, long xmp first": long_xmp_first,
    "raf": raf,
    "cr3": cr3,
    "mrw": mrw,
    "heif, item last": heif,
    "heif, bare block": heif_bare,
    "heif, bare block last": heif_bare_last,
    "jpeg xl": jxl,
}


def kept(data: bytes, head: int = capture.HEAD_BYTES, tail: int = capture.TAIL_BYTES) -> Window:
    return Window(len(data), data[:head], data[-tail:] if tail else b"")


@pytest.mark.parametrize("name", CONTAINERS)
def test_found_in_every_container_whole_and_by_its_ends(name: str) -> None:
    data = CONTAINERS[name]()
    assert taken(io.BytesIO(data), not_after=NOW) == MADE
    assert taken(kept(data), not_after=NOW) == MADE


def test_read_from_a_real_file_that_stays_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(CONTAINERS["jpeg"]())
    with path.open("rb", buffering=0) as file:
        assert taken(file, not_after=NOW) == MADE
    assert path.read_bytes() == CONTAINERS["jpeg"]()


def test_the_time_of_the_file_is_not_the_time_of_the_picture() -> None:
    assert taken(io.BytesIO(jpeg(exif(original=None, changed="2026:09:12 19:30:05"))), not_after=NOW) is None
    both = jpeg(exif(original="2026:09:12 19:30:05", changed="2026:10:01 08:00:00"))
    assert taken(io.BytesIO(both), not_after=NOW) == MADE


def test_the_digitized_time_serves_where_the_original_is_none() -> None:
    for original in (None, "0000:00:00 00:00:00", "    :  :     :  :  "):
        data = jpeg(exif(original=original, digitized="2026:09:12 19:30:05"))
        found = taken(io.BytesIO(data), not_after=NOW)
        assert found is not None
        assert found.when == WHEN.replace(microsecond=0)


@pytest.mark.parametrize(
    ("written", "believed"),
    [
        ("1989:12:31 23:59:59", False),
        ("1990:01:01 00:00:00", True),
        ("2026:11:25 20:00:00", True),  # a day ahead: the far side of the world
        ("2026:11:25 20:00:01", False),
        ("2099:09:29 10:10:10", False),
    ],
)
@pytest.mark.parametrize("not_after", [NOW, NOW.replace(tzinfo=UTC)])
def test_a_clock_that_was_never_set_is_not_believed(written: str, believed: bool, not_after: datetime) -> None:
    block = Image.Exif()
    block.get_ifd(0x8769)[0x9003] = written
    found = taken(io.BytesIO(jpeg(block.tobytes())), not_after=not_after)
    assert (found is not None) == believed


def test_the_last_day_of_the_calendar_is_no_trouble() -> None:
    assert taken(io.BytesIO(jpeg(exif())), not_after=datetime.max) == MADE


@pytest.mark.parametrize(
    ("make", "model", "serial", "expected"),
    [
        ("HERON", "HERON R5", "", "HERON R5"),
        ("Heron Optics", "Heron R5", "", "Heron R5"),
        ("Heron", "", "", "Heron"),
        ("", "R5", "", "R5"),
        ("", "", "777", ""),  # a number of nobody's tells no cameras apart
        ("Heron", "R5", "0000000", "Heron R5"),
        ("Heron", "R5", "\x01`", "Heron R5"),
        ("Heron", "R5", "A-1234", "Heron R5 #A-1234"),
        ("Heron\n\x1b[31m", "R5", "", "Heron [31m R5"),
        ("H" * 500, "R5", "", "H" * 60 + " R5"),
    ],
)
def test_camera(make: str, model: str, serial: str, expected: str) -> None:
    block = Image.Exif()
    inner = block.get_ifd(0x8769)
    inner[0x9003] = "2026:09:12 19:30:05"
    for directory, tag, text in ((block, 0x010F, make), (block, 0x0110, model), (inner, 0xA431, serial)):
        if text:
            directory[tag] = text
    found = taken(io.BytesIO(jpeg(block.tobytes())), not_after=NOW)
    assert found is not None
    assert found.camera == expected


@pytest.mark.parametrize(
    "data", [b"", b"I", b"II*\0", b"MM\0*\xff\xff\xff\xff", b"\xff\xd8", b"text\n" * 999, bytes(5000)]
)
def test_nothing_is_found_in_nothing(data: bytes) -> None:
    assert taken(io.BytesIO(data), not_after=NOW) is None


def test_a_read_that_fails_is_nothing_found() -> None:
    class Broken(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            raise OSError(5, "Input/output error")

    assert taken(Broken(jpeg(exif())), not_after=NOW) is None


def test_damage_never_raises_never_speaks_and_never_takes_long(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    rng, longest = random.Random(7), 0.0
    whole = [data for make in CONTAINERS.values() if len(data := make()) < 200_000]
    for _ in range(1500):
        data = bytearray(rng.choice(whole))
        for _ in range(rng.choice((1, 4, 40))):
            data[rng.randrange(min(len(data), 1200))] = rng.choice((0, 255, rng.randrange(256)))
        started = time.perf_counter()
        found = taken(io.BytesIO(data[: rng.choice((len(data), rng.randrange(len(data))))]), not_after=NOW)
        longest = max(longest, time.perf_counter() - started)
        assert found is None or datetime(1990, 1, 1) <= found.when <= datetime(2026, 11, 25, 20)
    assert not [record for record in caplog.records if record.name.startswith("exifread")]
    assert longest < 1.0


def test_a_directory_that_goes_on_for_ever_is_left() -> None:
    """65,535 entries of 999 values each would take minutes to read."""
    entry = struct.pack("<HHII", 0x1111, 4, 999, 8)
    data = b"II*\0\x08\0\0\0" + struct.pack("<H", 65_535) + entry * 65_535
    started = time.perf_counter()
    assert taken(io.BytesIO(data), not_after=NOW) is None
    assert time.perf_counter() - started < 1.0


@pytest.mark.parametrize("name", ["jpeg", "tiff", "cr3", "raf", "mrw"])
def test_a_hole_anywhere_hides_a_time_and_never_makes_one_up(name: str) -> None:
    data, rng, seen = CONTAINERS[name](), random.Random(3), set()
    for _ in range(250):
        found = taken(kept(data, rng.randrange(len(data)), rng.randrange(len(data))), not_after=NOW)
        seen.add(found and found.when.replace(microsecond=0))
    assert seen == {None, WHEN.replace(microsecond=0)}


def test_window_reads_what_was_kept_and_stops_at_the_hole() -> None:
    window = Window(100, b"h" * 10, b"t" * 20)
    assert window.read(100) == b"h" * 10
    assert window.tell() == 10
    assert window.read(5) == b""
    assert window.seek(79) == 79
    assert window.read(5) == b""
    assert window.seek(-20, io.SEEK_END) == 80
    assert window.read(5) == b"ttttt"
    assert window.read() == b"t" * 15
    assert window.read(1) == b""
    assert window.seek(500) == 500
    assert window.read(1) == b""
    assert window.seek(8) == 8
    assert window.seek(1, io.SEEK_CUR) == 9
    assert window.read(50) == b"h"
    with pytest.raises(ValueError, match="before the first byte"):
        window.seek(-1)
    assert window.readable()
    assert window.seekable()
    assert not window.writable()


@pytest.mark.parametrize(("head", "tail"), [(10, 0), (0, 10), (6, 6), (10, 10), (4, 6), (99, 99)])
def test_window_without_a_hole_is_the_file(head: int, tail: int) -> None:
    data = bytes(range(10))
    window = Window(10, data[:head], data[-tail:] if tail else b"")
    out = bytearray()
    while piece := window.read(3):
        out += piece
    assert bytes(out) == data


def test_window_of_an_empty_file() -> None:
    assert Window(0, b"", b"").read() == b""


def test_window_is_never_longer_than_its_file() -> None:
    assert Window(4, b"abcdXX", b"").read() == b"abcd"
    assert Window(4, b"", b"XXabcd").read() == b"abcd"


def test_no_time_is_spent_where_no_time_can_be() -> None:
    for name in ("a/b.NEF", "x.jpg", "x.HEIC", "x.tiff", "MVI_1.THM"):
        assert capture.can_have(name)
    for name in ("a.xmp", "a.txt", "SHA256SUMS", "nef", "a.nef/", "a.mov", "a.7z", "", "jpg"):
        assert not capture.can_have(name)
    assert capture._ENDINGS <= naming.RAW_ENDINGS | naming.PICTURE_ENDINGS | naming.SIDECAR_ENDINGS
