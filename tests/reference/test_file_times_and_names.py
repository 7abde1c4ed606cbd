"""What file systems do to times and names decides nothing in `drill new`: content does.

Sources: Microsoft, "File Times" (FAT keeps local times to two seconds: a file seen in another zone is whole hours
off); the exFAT specification, 7.2 (names keep their case and are compared without) and 7.4.8 (times); Unicode Standard
Annex 15 and NormalizationTest.txt (equivalent names); RFC 8493, 6.1 (which systems store which form).
"""

import io
import os
import shutil
import unicodedata
from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

import pytest
from collections_found import jpeg, promised, put, sha256, walk, written
from PIL import Image
from runner import start

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

Form = Literal["NFC", "NFD"]
SHOT = datetime(2026, 9, 12, 10, 11, 13)  # an odd second, which FAT cannot hold
MTIME = SHOT.timestamp()
SHIFTS = [2.0, -1.0, 3600, -11 * 3600, 5.75 * 3600 + 2]


def lay_out(folder: Path, *, dated: bool = True) -> None:
    """Lay out one shoot: four pictures, a sidecar, a note."""
    for number in range(4):
        when = SHOT + timedelta(minutes=number) if dated else None
        put(folder / f"Heron Ridge/ABCD000{number + 1}.JPG", jpeg(number, when))
    put(folder / "Heron Ridge/ABCD0001.xmp", b"<x:xmpmeta xmlns:x='adobe:ns:meta/'/>")
    put(folder / "Heron Ridge/notes.txt", b"nine herons\n")


def stamp(folder: Path, mtime: float) -> None:
    for path in walk(folder):
        os.utime(path, (mtime, mtime))


def outcome(studio: Path) -> dict[str, str]:
    """Return all that was written, but for the ledger (which remembers times, to know what changed)."""
    return {
        path.relative_to(studio).as_posix(): path.read_text(encoding="utf-8")
        for path in walk(studio)
        if path.name != "ledger.sqlite"
    }


def new(studio: Path, *copies: Path) -> str:
    media = [part for copy in copies for part in ("--medium", f"hard-disk={copy}")]
    made = start("new", studio, *media, "--digest", "sha256", "--name", "Saltmarsh Light", cwd=studio.parent)
    assert made.code == 0, made.said
    return made.out


@pytest.fixture
def two(tmp_path: Path) -> tuple[Path, Path]:
    """Return two copies of one shoot with equal times."""
    one, other = tmp_path / "one", tmp_path / "other"
    lay_out(one)
    shutil.copytree(one, other)
    stamp(one, MTIME)
    stamp(other, MTIME)
    return one, other


def test_two_seconds_and_whole_hours_change_nothing(two: tuple[Path, Path], tmp_path: Path) -> None:
    one, other = two
    new(tmp_path / "before", *two)
    before = outcome(tmp_path / "before")
    assert len(promised(tmp_path / "before", "sha256")["heron-ridge"]) == 6
    for number, shift in enumerate(SHIFTS):
        stamp(other, MTIME + shift)
        new(tmp_path / f"after-{number}", one, other)
        assert outcome(tmp_path / f"after-{number}") == before, shift


def test_the_same_folder_looked_at_again_in_another_zone_adds_nothing(two: tuple[Path, Path], tmp_path: Path) -> None:
    studio = tmp_path / "studio"
    new(studio, *two)
    before = outcome(studio)
    stamp(two[1], MTIME - 6 * 3600)
    again = start("new", studio, "--add", cwd=tmp_path)
    assert again.code == 0, again.said
    assert "Nothing to add" in again.out
    assert outcome(studio) == before


def test_equal_times_and_sizes_do_not_make_one_file_of_two(two: tuple[Path, Path], tmp_path: Path) -> None:
    """Size and time agree, the bytes do not: all three readings are found, and the lone one is said to differ."""
    one, other = two
    third = tmp_path / "third"
    shutil.copytree(one, third)
    wrong = other / "Heron Ridge/ABCD0003.JPG"
    content = wrong.read_bytes()
    wrong.write_bytes(content[:300] + bytes(20) + content[320:])
    stamp(other, MTIME)
    stamp(third, MTIME)
    said = new(tmp_path / "studio", other, one, third)
    right = promised(tmp_path / "studio", "sha256")["heron-ridge"]["ABCD0003.JPG"]
    assert right == sha256(one / "Heron Ridge/ABCD0003.JPG") != sha256(wrong)
    assert "ABCD0003.JPG" in said.partition("different bytes")[2]


@pytest.mark.parametrize("apart", [False, True], ids=["one drive", "two drives"])
def test_scans_of_one_size_and_much_white_are_different_pictures(tmp_path: Path, apart: bool) -> None:
    """TIFF 6.0 without compression: equal dimensions give equal sizes, and white paper gives equal bytes."""
    roots = [tmp_path / "one", tmp_path / "other" if apart else tmp_path / "one"]
    pages = []
    for number in range(4):
        page = Image.new("L", (320, 320), "white")
        page.paste(40 * number, (20, 20, 60 + 20 * number, 60 + 10 * number))
        out = io.BytesIO()
        page.save(out, "TIFF")
        pages.append(put(roots[number % 2] / "Contracts" / f"page {number}.tif", out.getvalue()))
    assert len({path.stat().st_size for path in pages}) == 1
    new(tmp_path / "studio", *dict.fromkeys(roots))
    found = sorted(digest for paths in promised(tmp_path / "studio", "sha256").values() for digest in paths.values())
    assert found == sorted(map(sha256, pages))


@pytest.mark.parametrize("shift", [-2.0, 1.0])
def test_two_seconds_make_no_sidecar_the_newer_one(two: tuple[Path, Path], tmp_path: Path, shift: float) -> None:
    one, other = two
    put(other / "Heron Ridge/ABCD0001.xmp", b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>edited</x:xmpmeta>")
    stamp(other, MTIME + shift)
    assert "newer" not in new(tmp_path / "studio", one, other)


def test_a_sidecar_edited_minutes_later_is_the_newer_one(two: tuple[Path, Path], tmp_path: Path) -> None:
    one, other = two
    edited = put(other / "Heron Ridge/ABCD0001.xmp", b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>edited</x:xmpmeta>")
    stamp(other, MTIME + 1000)
    assert "newer" in new(tmp_path / "studio", one, other)
    assert promised(tmp_path / "studio", "sha256")["heron-ridge"]["ABCD0001.xmp"] == sha256(edited)


def test_no_date_is_taken_from_file_times(tmp_path: Path) -> None:
    one = tmp_path / "one"
    lay_out(one, dated=False)
    found: list[Mapping[str, object]] = []
    for number, mtime in enumerate((MTIME, MTIME - 400 * 86_400, 315_532_800.0)):  # FAT's first moment: 1980
        stamp(one, mtime)
        said = new(tmp_path / f"studio-{number}", one)
        assert "NOT KNOWN" in said
        (shoot,) = written(tmp_path / f"studio-{number}")["shoots"]
        found.append(shoot)
        assert str(datetime.fromtimestamp(mtime).date()) not in said
    assert found[0] == found[1] == found[2]


def test_names_folded_to_upper_case_are_the_same_files(two: tuple[Path, Path], tmp_path: Path) -> None:
    """Old FAT drivers give back 8.3 names in capitals; exFAT 7.2: no two names that differ in case only."""
    one, other = two
    for path in list(walk(other)):
        path.rename(path.with_name(path.name.upper()))
    (other / "Heron Ridge").rename(other / "HERON RIDGE")
    new(tmp_path / "studio", one, other)
    assert promised(tmp_path / "studio", "sha256") == {
        "heron-ridge": {path.name: sha256(path) for path in walk(one)},
    }


# --- Unicode ----------------------------------------------------------------------------------------------------------

# As given → NFC, NFD: UAX 15 and NormalizationTest.txt; RFC 8493, 6.1.1.2 ("Núñez").
VECTORS = [
    ("\u212b", "\u00c5", "A\u030a"),
    ("\u2126", "\u03a9", "\u03a9"),
    ("\u1e9b\u0323", "\u1e9b\u0323", "\u017f\u0323\u0307"),
    ("\ufb01", "\ufb01", "\ufb01"),
    ("s\u0307\u0323", "\u1e69", "s\u0323\u0307"),
    ("D\u0307\u0323", "\u1e0c\u0307", "D\u0323\u0307"),
    ("\u00e9", "\u00e9", "e\u0301"),
    ("\uac00", "\uac00", "\u1100\u1161"),
    ("N\u00fa\u00f1ez", "N\u00fa\u00f1ez", "Nu\u0301n\u0303ez"),
]


def accented(folder: Path, form: Form) -> dict[str, str]:
    """Lay out a shoot with the vectors in its names in one form; return NFC name → SHA-256."""
    found = {}
    for number, (_, nfc, nfd) in enumerate(VECTORS):
        stem = nfc if form == "NFC" else nfd
        assert unicodedata.normalize(form, VECTORS[number][0]) == stem
        name = f"{number}-{stem}"
        shoot = folder / unicodedata.normalize(form, "Caf\u00e9 \u00c5ngstr\u00f6m")
        path = put(shoot / f"{name}.jpg", jpeg(number, SHOT + timedelta(minutes=number)))
        found[unicodedata.normalize("NFC", path.name)] = sha256(path)
        sidecar = put(shoot / f"{name}.xmp", b"<x:xmpmeta xmlns:x='adobe:ns:meta/'/>")  # all alike: only names differ
        found[unicodedata.normalize("NFC", sidecar.name)] = sha256(sidecar)
    return found


@pytest.mark.parametrize("forms", [("NFC", "NFD"), ("NFD", "NFC"), ("NFD", "NFD")], ids="-".join)
def test_composed_and_decomposed_copies_are_one_shoot(tmp_path: Path, forms: tuple[Form, Form]) -> None:
    copies = [tmp_path / f"copy-{number}" for number in range(2)]
    truth = [accented(copy, form) for copy, form in zip(copies, forms, strict=True)]
    assert truth[0] == truth[1]
    said = new(tmp_path / "studio", *copies)
    shoots = promised(tmp_path / "studio", "sha256")
    assert list(shoots) == ["cafe-angstrom"], said
    assert {unicodedata.normalize("NFC", path): digest for path, digest in shoots["cafe-angstrom"].items()} == truth[0]
    assert len(shoots["cafe-angstrom"]) == 2 * len(VECTORS)
    assert "different bytes" not in said
    survey = start("survey", tmp_path / "studio/studio.toml", "--json", "-", cwd=tmp_path).record
    assert survey["shoots"][0]["there"] == 2 * len(VECTORS)
    assert survey["shoots"][0]["on_one_copy"] == []
    for copy in survey["copies"]:
        assert copy["there"] == 2 * len(VECTORS) and not copy["missing"], copy


def test_compatibility_forms_are_other_files(tmp_path: Path) -> None:
    """UAX 15: U+FB01 is "fi" in NFKC only. Folding case makes them one name, so one of the two gets a longer path."""
    folder = tmp_path / "one" / "Field"
    pictures = [put(folder / name, jpeg(number, SHOT)) for number, name in enumerate(["\ufb01eld.jpg", "field.jpg"])]
    new(tmp_path / "studio", tmp_path / "one")
    (shoot,) = promised(tmp_path / "studio", "sha256").values()
    assert sorted(shoot.values()) == sorted(map(sha256, pictures))
    assert len({path.casefold() for path in shoot}) == 2
