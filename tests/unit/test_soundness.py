"""Opens, but unproven: every kind sound, cut short, unreadable; variants, bombs, crashes; nothing is written."""

import gzip
import io
import sqlite3
import sys
import time
import zipfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import py7zr
import pytest
import raws
import sound_files
from PIL import Image
from sound_files import sound

from drill.copies import FileBytes
from drill.faults.draw import Damage
from drill.faults.overlay import Overlay
from drill.soundness import Check, Outcome, Soundness, check, checking, packed, pictures
from drill.soundness.apart import Apart
from drill.soundness.kinds import Kind, kind_of
from drill.soundness.source import Opener
from drill.streams import InMemory


@pytest.fixture(scope="module")
def look() -> Iterator[Check]:
    with checking() as found:
        yield found


@pytest.mark.parametrize("name", sound())
def test_what_is_sound_opens(name: str, look: Check) -> None:
    assert look(name, sound()[name]) == Soundness(Outcome.OPENS)


@pytest.mark.parametrize("name", sound())
def test_what_is_cut_short_is_damaged(name: str, look: Check) -> None:
    content = sound()[name]
    found = look(name, content[: len(content) * 6 // 10])
    assert found.outcome is Outcome.DAMAGED and found.detail


@pytest.mark.parametrize("name", sound())
def test_what_cannot_be_read_is_unreadable_whatever_a_decoder_makes_of_it(name: str, look: Check) -> None:
    content = sound()[name]
    middle = len(content) // 2
    damage = Damage(bad={(middle, 64)})
    found = look(name, lambda: Overlay(InMemory(content), damage, len(content)))
    assert found.outcome is Outcome.UNREADABLE and found.detail.startswith("I/O error at byte ")
    assert look(name, content).outcome is Outcome.OPENS  # and the next is judged as ever


@pytest.mark.parametrize("name", [name for name in sound() if name != "reed.lrcat"])
def test_what_lost_its_head_is_damaged(name: str, look: Check) -> None:
    found = look(name, bytes(64) + sound()[name][64:])
    assert found.outcome is Outcome.DAMAGED and found.detail


def test_a_file_that_is_not_there_is_unreadable(tmp_path: Path) -> None:
    found = check("R0001.JPG", lambda: FileBytes(tmp_path / "R0001.JPG"))
    assert found == Soundness(Outcome.UNREADABLE, "is not there")


@pytest.mark.parametrize(("name", "outcome"), [("R0001.JPG", Outcome.DAMAGED), ("notes.txt", Outcome.CANNOT_CHECK)])
def test_an_empty_file(name: str, outcome: Outcome, look: Check) -> None:
    assert look(name, b"") == Soundness(outcome, "is empty")


def test_what_is_of_no_known_kind_cannot_be_checked(look: Check) -> None:
    for name in ("R0001.MOV", "notes.txt", "R0001.WAV", "no ending"):
        assert look(name, b"words and more words").outcome is Outcome.CANNOT_CHECK


def test_content_outweighs_the_name(look: Check) -> None:
    assert look("R0002.JPG", sound()["R0002.png"]) == Soundness(Outcome.OPENS, "is a PNG under the name of a JPEG")
    assert look("R0002", sound()["R0002.png"]) == Soundness(Outcome.OPENS)


def test_the_preview_of_a_raw_is_not_taken_for_the_raw() -> None:
    assert kind_of("R0001.NEF", sound()["plain.tif"]) is Kind.RAW
    assert kind_of("R0001.tif", sound()["plain.dng"]) is Kind.RAW
    assert kind_of("R0001.tif", sound()["plain.tif"]) is Kind.TIFF


# --- variants that are no damage ---------------------------------------------------------------------------------


def test_a_variant_that_is_not_known_here_is_not_called_damaged(look: Check) -> None:
    rows = raws.samples(1)
    variants = {
        "lossless.jpg": raws.lossless_jpeg(rows),  # process SOF3
        "other.dng": raws.dng(rows, packed=True, compression=12345),
        "stitched.tif": sound()["packed.tif"].replace(b"\x03\x01\x03\0\1\0\0\0\5\0", b"\x03\x01\x03\0\1\0\0\0\x51\xc3"),
        "other.nef": b"II*\0" + bytes(4000),
    }
    for name, content in variants.items():
        found = look(name, content)
        assert (found.outcome, bool(found.detail)) == (Outcome.CANNOT_CHECK, True), (name, found)


def test_a_locked_archive_cannot_be_checked(look: Check) -> None:
    out = io.BytesIO()
    with py7zr.SevenZipFile(out, "w", password="heron") as made:
        made.writestr(sound_files.SIDECAR, "R0001.xmp")
    assert look("locked.7z", out.getvalue()).outcome is Outcome.CANNOT_CHECK


def test_a_picture_of_too_many_pixels_is_left_alone(look: Check) -> None:
    out = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(out, "PNG")
    assert look("wall.png", out.getvalue()) == Soundness(
        Outcome.CANNOT_CHECK, "has more pixels than can be decoded here"
    )


# --- what a strict decoder and check values notice ----------------------------------------------------------------


def changed(content: bytes, at: int) -> bytes:
    return content[:at] + bytes((content[at] ^ 0x10,)) + content[at + 1 :]


def test_a_zeroed_sector_in_a_jpeg_is_noticed_only_by_the_strict_decoder(
    look: Check, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = sound_files.jpeg(5, size=(800, 600))
    hurt = content[:8192] + bytes(4096) + content[8192 + 4096 :]
    found = look("R0009.JPG", hurt)
    assert found.outcome is Outcome.DAMAGED and "Corrupt JPEG data" in found.detail
    monkeypatch.setattr(pictures, "_simplejpeg", lambda: None)
    lenient = pictures.look(Opener(hurt), Kind.JPEG)
    assert lenient.outcome is Outcome.OPENS and "restore-drill[jpeg]" in lenient.detail


def test_check_values_notice_one_changed_bit(look: Check) -> None:
    for name in ("R0002.png", "heron.zip", "heron.7z", "heron.tar.gz", "heron.tar.xz", "heron.tar.zst", "notes.gz"):
        content = sound()[name]
        found = look(name, changed(content, len(content) // 2))
        assert found.outcome is Outcome.DAMAGED, name


def test_the_check_value_behind_a_packed_tar_counts(look: Check) -> None:
    content = sound()["heron.tar.gz"]
    assert look("heron.tar.gz", changed(content, len(content) - 6)).outcome is Outcome.DAMAGED
    assert look("heron.tar.gz", content[:-6]).outcome is Outcome.DAMAGED


def test_a_tar_without_its_end_is_damaged_even_where_a_file_ends(look: Check) -> None:
    content = sound()["heron.tar"]
    second = content.index(b"heron/R0001.xmp")
    for hurt in (
        bytes(len(content)),
        content[:-1024],
        content[:second] + bytes(512) + content[second + 512 :],
        bytes(512) + content[512:],
    ):
        assert look("heron.tar", hurt).outcome is Outcome.DAMAGED


def test_a_damaged_member_is_named(look: Check) -> None:
    content = sound()["heron.zip"]
    found = look("heron.zip", changed(content, 200))
    assert found.detail.startswith("heron/R0001.JPG in it: ")


# --- sidecars, bombs, databases ----------------------------------------------------------------------------------


def test_a_sidecar_that_is_not_well_formed_names_the_line(look: Check) -> None:
    found = look("R0001.xmp", sound_files.SIDECAR.replace(b"</kiln>", b"</kiIn>"))
    assert found == Soundness(Outcome.DAMAGED, "is not well-formed at line 2 (mismatched tag)")


@pytest.mark.parametrize(
    "entity",
    [b'<!ENTITY a "reed"><!ENTITY b "&a;&a;">', b'<!ENTITY a SYSTEM "file:///etc/passwd">', b'<!ENTITY % a "b">'],
)
def test_entities_are_never_expanded(entity: bytes, look: Check) -> None:
    found = look("R0001.xmp", b"<?xml version='1.0'?><!DOCTYPE r [" + entity + b"]><r>&a;</r>")
    assert found == Soundness(Outcome.CANNOT_CHECK, "declares entities, which are not looked into")


def test_what_unpacks_to_absurdly_much_is_left_alone(look: Check, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packed, "_ALWAYS_BYTES", 1_000_000)
    monkeypatch.setattr(packed, "_MOST_TIMES", 100)
    large = bytes(20_000_000)
    for name, content in {"bomb.gz": gzip.compress(large), "bomb.zip": _zip_of(large)}.items():
        assert look(name, content) == Soundness(Outcome.CANNOT_CHECK, "would unpack to absurdly much")


def _zip_of(content: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("R0001.bin", content)
    return out.getvalue()


def test_a_damaged_page_of_a_database_is_noticed(look: Check) -> None:
    content = sound()["reed.lrcat"]
    found = look("reed.lrcat", content[:8192] + bytes(4096) + content[8192 + 4096 :])
    assert found.outcome is Outcome.DAMAGED and found.detail.startswith("SQLite says: ")


def test_a_database_that_needs_its_own_program_is_not_called_damaged(tmp_path: Path, look: Check) -> None:
    path = tmp_path / "kiln.lrcat"
    with closing(sqlite3.connect(path)) as made:
        made.create_collation("kiln", lambda a, b: (a > b) - (a < b))
        made.execute("CREATE TABLE picture (name TEXT COLLATE kiln PRIMARY KEY)")
        made.execute("INSERT INTO picture VALUES ('R0001'), ('R0002')")
        made.commit()
    found = look(path.name, path.read_bytes())
    assert found.outcome is Outcome.CANNOT_CHECK and "kiln" in found.detail


def test_nothing_is_written_beside_the_original_and_nothing_left_in_scratch(tmp_path: Path) -> None:
    copy, scratch = tmp_path / "copy", tmp_path / "scratch"
    scratch.mkdir()
    copy.mkdir()
    path = copy / "reed.lrcat"
    with closing(sqlite3.connect(path)) as made:  # as a program leaves it that was killed: a log that is not merged
        made.execute("PRAGMA journal_mode = WAL")
        made.execute("CREATE TABLE picture (name TEXT)")
        made.commit()
        kept = {beside.name: beside.read_bytes() for beside in copy.iterdir()}
    for beside in copy.iterdir():
        beside.unlink()
    for name, content in kept.items():
        (copy / name).write_bytes(content)
    before = {beside.name: (beside.read_bytes(), beside.stat().st_mtime_ns) for beside in copy.iterdir()}
    assert set(before) == {"reed.lrcat", "reed.lrcat-wal", "reed.lrcat-shm"}
    check("reed.lrcat", lambda: FileBytes(path), scratch=scratch)
    assert before == {beside.name: (beside.read_bytes(), beside.stat().st_mtime_ns) for beside in copy.iterdir()}
    assert not list(scratch.iterdir())


def test_a_scratch_that_is_not_there_is_said(tmp_path: Path) -> None:
    found = check("reed.lrcat", sound()["reed.lrcat"], scratch=tmp_path / "gone")
    assert found.outcome is Outcome.CANNOT_CHECK and found.detail.startswith("scratch cannot be written")


# --- the other process -------------------------------------------------------------------------------------------


def apart(code: str, *, limit_s: float = 60.0) -> Soundness:
    other = Apart(limit_s, command=(sys.executable, "-c", code))
    try:
        return other.look(Opener(b"content" * 100_000), 700_000, Kind.JPEG)
    finally:
        other.close()


def test_a_decoder_that_crashes_is_no_end_of_the_run_and_no_verdict() -> None:
    for code in ("import os; os.abort()", "import sys; sys.stdin.buffer.read(500_000); import os; os.abort()"):
        found = apart(code)
        assert found == Soundness(Outcome.CANNOT_CHECK, "its decoder crashed over it; it may be damaged")


def test_a_decoder_that_never_ends_is_ended() -> None:
    started = time.monotonic()
    found = apart("import time; time.sleep(300)", limit_s=1.0)
    assert found == Soundness(Outcome.CANNOT_CHECK, "its decoder took longer than 1 s; it may be damaged")
    assert time.monotonic() - started < 30


def test_an_answer_that_is_none_is_no_verdict() -> None:
    read = "import sys; sys.stdin.buffer.read(700_024); "
    for answer in ("verified", '[\\"verified\\", \\"\\"]', "[1]", ""):
        assert apart(f"{read}print('{answer}')").outcome is Outcome.CANNOT_CHECK


def test_after_a_crash_the_next_file_is_judged() -> None:
    content, other = sound()["R0001.JPG"], Apart(60.0)
    try:
        assert other.look(Opener(content), len(content), Kind.JPEG).outcome is Outcome.OPENS
        assert other._process is not None
        other._process.kill()
        other._process.wait()
        assert other.look(Opener(content), len(content), Kind.JPEG).outcome is Outcome.CANNOT_CHECK
        assert other.look(Opener(content), len(content), Kind.JPEG).outcome is Outcome.OPENS
    finally:
        other.close()


def test_a_decoder_that_cannot_be_started_is_said() -> None:
    other = Apart(60.0, command=("no-such-program-of-this-name",))
    found = other.look(Opener(b"x"), 1, Kind.JPEG)
    assert found.outcome is Outcome.CANNOT_CHECK and found.detail.startswith("its decoder cannot be started")


def test_a_missing_extra_is_named(monkeypatch: pytest.MonkeyPatch, look: Check) -> None:
    monkeypatch.setattr("drill.soundness.apart.find_spec", lambda name: None)
    assert "restore-drill[raw]" in look("packed.DNG", sound()["packed.DNG"]).detail
    assert "restore-drill[heic]" in look("R0007.HEIC", sound()["R0007.HEIC"]).detail
