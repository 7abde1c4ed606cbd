"""Published facts about camera names, file times, Exif dates and Unicode names, each with its source."""

import io
import itertools
import os
import random
import re
import unicodedata
from datetime import datetime
from pathlib import Path

import pytest
from PIL import Image

from drill import capture, naming

NOW = datetime(2026, 11, 24, 20, 0)

# Source: JEITA CP-3461 (DCF), as a projector's manual quotes it (Panasonic PT-L712NTE): DCIM, folders of three digits
# 100–999 and five characters of 0-9A-Z_, files of four such characters, four digits 0001–9999, an ending; no case.
_DCF_FOLDER = re.compile(r"[1-9]\d{2}[0-9A-Z_]{5}", re.ASCII)
_DCF_FILE = re.compile(r"[0-9A-Z_]{4}(?!0000)\d{4}\.[A-Z0-9]{3}", re.ASCII)


def test_dcf_folder_names() -> None:
    ends = ("ABCDE", "_____", "12345", "abcde", "ABCD", "ABCDEF", "ABC-E", "ABÇDE", "AB DE")
    for number, end in itertools.product(("000", "099", "100", "101", "999", "1000", "0A0", "１００"), ends):
        name = f"{number}{end}"
        expected = int(name[:3]) if _DCF_FOLDER.fullmatch(name.upper()) else None
        assert naming.dcf_folder(name) == expected, name
    assert naming.dcf_folder("100ABCDE") == 100
    assert naming.dcf_folder("999_____") == 999


def test_dcf_file_names() -> None:
    fronts, numbers = (
        ("DSC_", "_DSC", "IMG_", "img_", "P101", "DSC", "DSC-", "DSÇ_"),
        ("0000", "0001", "9999", "001", "00001"),
    )
    for front, number, end in itertools.product(fronts, numbers, (".JPG", ".nef", "", ".", ".J-G")):
        name = f"{front}{number}{end}"
        expected = (front.upper(), int(number)) if _DCF_FILE.fullmatch(name.upper()) else None
        if name != "DSC00001.JPG" and name.upper() != "DSC00001.NEF":  # read as "DSC0" and 0001, as the rule has it
            assert naming.dcf_file(name) == expected, name
    assert naming.dcf_file("DSC00001.JPG") == ("DSC0", 1)


def test_the_9999_to_0001_rollover_keeps_the_order_and_two_pictures_of_one_name_apart() -> None:
    """DCF: no two objects of one number in one folder, so a new folder begins where the numbers run over."""
    shot = [f"DCIM/{100 + n // 9999}ABCDE/DSC_{n % 9999 + 1:04}.NEF" for n in range(9_990, 20_010)]
    assert shot[8:10] == ["DCIM/100ABCDE/DSC_9999.NEF", "DCIM/101ABCDE/DSC_0001.NEF"]
    mixed = random.Random(1).sample(shot, len(shot))
    assert sorted(mixed, key=naming.dcf_order) == shot
    assert len(set(map(naming.dcf_order, shot))) == len(shot)


def test_file_times_never_become_capture_times(tmp_path: Path) -> None:
    """FAT keeps local times to two seconds (Microsoft, "File Times"; exFAT specification 7.4): evidence of nothing."""
    plain, dated = tmp_path / "2026-09-12.jpg", tmp_path / "b.jpg"
    block = Image.Exif()
    block.get_ifd(0x8769)[0x9003] = "2026:09:12 19:30:05"  # an odd second: FAT could not hold it
    Image.new("RGB", (8, 8)).save(plain)
    Image.new("RGB", (8, 8)).save(dated, exif=block)
    for path in (plain, dated):
        os.utime(path, (1_780_000_000, 1_780_000_000))
    with plain.open("rb") as file:
        assert capture.taken(file, not_after=NOW) is None
    with dated.open("rb") as file:
        found = capture.taken(file, not_after=NOW)
    assert found is not None
    assert found.when == datetime(2026, 9, 12, 19, 30, 5)
    assert found.when.tzinfo is None


def _read(written: str) -> datetime | None:
    block = Image.Exif()
    block.get_ifd(0x8769)[0x9003] = written
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "JPEG", exif=block)
    found = capture.taken(out, not_after=NOW)
    return found.when if found else None


_SHOWN = datetime(2026, 9, 12, 10, 11, 12)


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        # CIPA DC-008 (Exif 2.32), DateTimeOriginal: "YYYY:MM:DD HH:MM:SS", 24 hours, one blank between, NUL at the end.
        ("2026:09:12 10:11:12", _SHOWN),
        ("2026:09:12 00:00:00", datetime(2026, 9, 12)),
        ("2026:09:12 23:59:59", datetime(2026, 9, 12, 23, 59, 59)),
        # The same: an unknown time is written as blanks with the colons, or as blanks alone.
        ("    :  :     :  :  ", None),
        (" " * 19, None),
        # Seen in the test pictures of libexif 0.6.24 (olympus_makernote_variant_4.jpg): a camera without a clock.
        ("0000:00:00 00:00:00", None),
        # Seen in those of Pillow 13 (tiff_16bit_RGB.tiff): second 70.
        ("2017:08:21 15:08:70", None),
        # Seen in those of Pillow 13 (exif_gps.jpg): a time to come.
        ("2099:09:29 10:10:10", None),
        # Seen in those of Pillow 13 (invalid-exif-without-x-resolution.jpg): RFC 3339. The zone goes, the clock stays.
        ("2019-10-17T16:55:20-07:00", datetime(2019, 10, 17, 16, 55, 20)),
        # Seen in those of pillow-heif 1.8 (spatial_photo.heic): a zone in words. Not read: it is no form of anybody's.
        ("2024-04-22T14:38:09GMT+2", None),
        # Variants that can be read in one way only.
        ("2026-09-12 10:11:12", _SHOWN),
        ("2026/09/12 10:11:12", _SHOWN),
        ("2026.09.12 10:11:12", _SHOWN),
        ("2026: 9:12 10:11:12", _SHOWN),
        ("2026:09:12 10:11:12Z", _SHOWN),
        ("2026:09:12 10:11:12+02:00", _SHOWN),
        ("2026:09:12 10:11:12 +0200", _SHOWN),
        ("2026:09:12 10:11:12.25", _SHOWN.replace(microsecond=250_000)),
        ("2026:09:12 10:11:12\0rubbish", _SHOWN),
        ("  2026:09:12 10:11:12  ", _SHOWN),
        # No moments, or no whole ones.
        ("2026:13:45 10:11:12", None),
        ("2026:02:29 10:11:12", None),
        ("2026:00:12 10:11:12", None),
        ("2026:09:12 24:00:00", None),
        ("2026:09:12 10:60:12", None),
        ("2026:09:12 10:11:60", None),
        ("2026:09:12", None),
        ("2026:09:12 10:11", None),
        ("2026:09-12 10:11:12", None),
        ("26:09:12 10:11:12", None),
        ("12:09:2026 10:11:12", None),
        ("2026:09:12 10:11:12 pm", None),
        ("\0" * 19, None),
        ("", None),
    ],
)
def test_exif_dates(written: str, expected: datetime | None) -> None:
    assert _read(written) == expected
    assert _read(written) == capture.parse_exif_time(written.partition("\0")[0]) or expected is None


def test_only_ascii_digits_are_digits() -> None:
    """Exif dates are ASCII (CIPA DC-008); Python's `int` would take the digits of any script."""
    for zero in ("٠", "０", "०"):
        other = "2026:09:12 10:11:12".translate({ord(str(n)): chr(ord(zero) + n) for n in range(10)})
        assert capture.parse_exif_time(other) is None
        assert naming.date_in(other.replace(":", "-")) is None


@pytest.mark.parametrize(
    ("fraction", "microsecond"),
    # CIPA DC-008: SubSecTime is the digits after the point, of any number, blanks where there are fewer.
    [("", 0), ("5", 500_000), ("05", 50_000), ("250", 250_000), ("0641234", 64_123), ("no", 0), ("-1", 0)],
)
def test_subseconds(fraction: str, microsecond: int) -> None:
    assert capture.parse_exif_time("2026:09:12 10:11:12", fraction=fraction) == _SHOWN.replace(microsecond=microsecond)


# Source: Unicode Standard Annex 15 and NormalizationTest.txt, rows of equivalent names: as given, composed, decomposed.
_EQUIVALENT = [
    ("\u212b", "\u00c5", "A\u030a"),
    ("\u2126", "\u03a9", "\u03a9"),
    ("\u1e9b\u0323", "\u1e9b\u0323", "\u017f\u0323\u0307"),
    ("s\u0307\u0323", "\u1e69", "s\u0323\u0307"),
    ("D\u0307\u0323", "\u1e0c\u0307", "D\u0323\u0307"),
    ("\u00e9", "\u00e9", "e\u0301"),
    ("\uac00", "\uac00", "\u1100\u1161"),
]


@pytest.mark.parametrize(("given", "composed", "decomposed"), _EQUIVALENT)
def test_equivalent_names_are_one_name(given: str, composed: str, decomposed: str) -> None:
    assert unicodedata.normalize("NFC", given) == composed
    assert unicodedata.normalize("NFD", given) == decomposed
    for form in (given, composed, decomposed):
        assert naming.pair_key(f"a/{form}1.NEF") == naming.pair_key(f"{composed}1.jpg")
        assert naming.slug(f"{form} ridge") == naming.slug(f"{composed} ridge")
        assert naming.is_part(f"raw {form}") == naming.is_part(f"raw {composed}")


def test_slugs_of_published_compatibility_forms() -> None:
    """UAX 15: NFKD of U+FB01 is "fi", of U+1E9B U+0323 is s with two marks, of U+212B an A with a ring."""
    assert naming.slug("\ufb01eld \u1e9b\u0323 \u212b") == "field-s-a"
