"""The headers of archives, kept beside the ledger: what is kept, what is left alone, what a damaged text gives."""

import io
import os
import shutil
import subprocess
import tarfile
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import py7zr
import pytest

from drill.copies import LinkSession
from drill.extents import Kept, Piece
from drill.insurance import Held, headers_folder, insure, is_kept, kept_headers, lost_since
from drill.insurance.form import About, read, sum_of, write
from drill.model import Copy, Medium
from drill.salvage import salvage_entries
from drill.shelf import OpenCopy, State, open_copy

NOW = datetime(2026, 10, 1, tzinfo=UTC)
MEDIUM = Medium("drive", "hard-disk", "home", attached=False, offsite=False, carried=False)


def members(folder: Path) -> Path:
    home = folder / "raw"
    home.mkdir(exist_ok=True)
    for number in range(6):
        (home / f"R000{number}.dng").write_bytes(os.urandom(9000 + number))
    return home


def make_zip(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for item in sorted(members(path.parent).iterdir()):
            archive.write(item, f"raw/{item.name}")


def make_7z(path: Path, password: str | None = None) -> None:
    with py7zr.SevenZipFile(path, "w", password=password, header_encryption=password is not None) as archive:
        archive.writeall(members(path.parent), "raw")


def make_tar(path: Path) -> None:
    with tarfile.open(path, "w", format=tarfile.PAX_FORMAT) as archive:
        for item in sorted(members(path.parent).iterdir()):
            archive.add(item, f"raw/{item.name}")


MAKERS: dict[str, Callable[[Path], None]] = {".zip": make_zip, ".7z": make_7z, ".tar": make_tar}


def opened(path: Path, *, password: str | None = None, id_: str = "shelf") -> OpenCopy:
    kind = next(kind for kind in (".tar.gz", ".tar", ".7z", ".zip") if path.name.endswith(kind))
    copy = Copy(id_, "drive", path, None, "archive", kind, None, password=password)
    with LinkSession() as session:
        return open_copy(copy, MEDIUM, session=session, downloads=path.parent)


def made(folder: Path, kind: str) -> Path:
    path = folder / "at" / f"2026{kind}"
    path.parent.mkdir(exist_ok=True)
    MAKERS[kind](path)
    return path


def texts(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_the_folder_is_named_after_the_ledger() -> None:
    assert headers_folder(Path("a/ledger.sqlite")) == Path("a/ledger.headers")
    assert headers_folder(Path("a/past")) == Path("a/past.headers")
    assert headers_folder(Path("a/x.headers")) == Path("a/x.headers.headers")


@pytest.mark.parametrize("kind", sorted(MAKERS))
def test_kept_headers_list_an_archive_of_which_nothing_can_be_read(tmp_path: Path, kind: str) -> None:
    path = made(tmp_path, kind)
    found = opened(path)
    assert insure(found, tmp_path / "kept", now=NOW) is None
    assert is_kept("shelf", tmp_path / "kept") and not is_kept("other", tmp_path / "kept")
    (kept,) = kept_headers("shelf", tmp_path / "kept").headers
    content = path.read_bytes()
    assert kept.size == len(content)
    assert all(content[piece.start : piece.start + len(piece.data)] == piece.data for piece in kept.pieces)
    assert sum(len(piece.data) for piece in kept.pieces) < len(content) / 2
    path.write_bytes(bytes(len(content)))  # every byte is gone
    again = opened(path)
    assert again.state is (State.HERE if kind == ".tar" else State.REFUSES)  # zeros are the end of a tar
    damaged = again.damaged or again.store
    assert damaged is not None
    named = salvage_entries(damaged, kind, None, kept=kept)
    assert {(e.path, e.size) for e in named} == {(e.path, e.size) for e in found.entries}


def test_encrypted_headers_are_kept_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "a.7z"
    make_7z(path, "kiln and reed")
    assert insure(opened(path, password="kiln and reed"), tmp_path / "kept", now=NOW) is None
    (text,) = ((tmp_path / "kept" / name).read_text() for name in texts(tmp_path / "kept"))
    assert "kiln" not in text and b"R0001".hex() not in text and "R0001" not in text


def test_nothing_is_written_anew_while_nothing_has_changed(tmp_path: Path) -> None:
    path, kept = made(tmp_path, ".zip"), tmp_path / "kept"
    insure(opened(path), kept, now=NOW)
    (name,) = texts(kept)
    before = (kept / name).stat().st_mtime_ns, (kept / name).read_bytes()
    insure(opened(path), kept, now=NOW)
    os.utime(path, (1, 1))  # touched, and the same
    insure(opened(path), kept, now=datetime(2027, 1, 1, tzinfo=UTC))
    assert ((kept / name).stat().st_mtime_ns, (kept / name).read_bytes()) == before


def test_the_last_two_states_are_kept_and_no_more(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    sizes = []
    for number in range(4):
        path = made(tmp_path, ".zip")
        with zipfile.ZipFile(path, "a") as archive:
            archive.writestr(f"more{number}", b"x" * 10 ** (number + 1))
        os.utime(path, (number, number))
        said = insure(opened(path), kept, now=NOW)
        assert said is None if number == 0 else said is not None and "has changed" in said
        sizes.append(path.stat().st_size)
    assert [one.size for one in kept_headers("shelf", kept).headers] == [sizes[3], sizes[2]]
    assert len(texts(kept)) == 2


def test_a_damaged_archive_takes_no_kept_headers_away(tmp_path: Path) -> None:
    path, kept = made(tmp_path, ".7z"), tmp_path / "kept"
    insure(opened(path), kept, now=NOW)
    before = {name: (kept / name).read_bytes() for name in texts(kept)}
    content = bytearray(path.read_bytes())
    content[-20:] = bytes(20)
    path.write_bytes(content)
    insure(opened(path), kept, now=NOW)
    assert {name: (kept / name).read_bytes() for name in texts(kept)} == before


@pytest.mark.parametrize("touched", [False, True])
def test_a_tar_that_ends_early_without_an_error_is_seen_through(tmp_path: Path, touched: bool) -> None:
    path, kept = made(tmp_path, ".tar"), tmp_path / "kept"
    found = opened(path)
    insure(found, kept, now=NOW)
    held = kept_headers("shelf", kept)
    assert lost_since(found, held) == []
    content, before = bytearray(path.read_bytes()), path.stat()
    piece = held.headers[0].pieces[3]
    content[piece.start : piece.start + len(piece.data)] = bytes(len(piece.data))
    path.write_bytes(content)
    os.utime(path, (5, 5) if touched else None, **({} if touched else {"ns": (before.st_atime_ns, before.st_mtime_ns)}))
    again = opened(path)
    assert len(again.entries) == 5 and again.others == 3 and again.is_damaged
    assert [entry.path for entry in lost_since(again, held)] == ["raw/R0003.dng"]
    assert insure(again, kept, now=NOW) is None
    assert kept_headers("shelf", kept) == held


def make_padded_tar(path: Path, *names: str) -> None:
    with tarfile.open(path, "w") as archive:
        for number, name in enumerate(names):
            item = tarfile.TarInfo(name)
            item.size = 300 + number
            archive.addfile(item, io.BytesIO(b"r" * item.size))


def test_an_archive_made_anew_at_the_same_size_is_another_one(tmp_path: Path) -> None:
    path, kept = tmp_path / "2026.tar", tmp_path / "kept"
    make_padded_tar(path, "a.dng", "b.dng", "old.xmp")
    insure(opened(path), kept, now=NOW)
    size = path.stat().st_size
    make_padded_tar(path, "a.dng", "b.dng", "new.xmp")
    os.utime(path, (5, 5))
    assert path.stat().st_size == size
    again = opened(path)
    assert lost_since(again, kept_headers("shelf", kept)) == []
    said = insure(again, kept, now=NOW)
    assert said == "shelf has changed, and 1 file that it had before is not in it any more, such as old.xmp"
    headers = kept_headers("shelf", kept).headers
    assert [b"new.xmp" in b"".join(piece.data for piece in one.pieces) for one in headers] == [True, False]
    assert insure(opened(path), kept, now=NOW) is None  # told once


def test_what_was_never_written_of_a_tar_is_no_other_archive(tmp_path: Path) -> None:
    """Copying broke off, and the place for the rest was there already."""
    path, kept = made(tmp_path, ".tar"), tmp_path / "kept"
    with tarfile.open(path, "a") as archive:
        for item in sorted(members(path.parent).iterdir()) * 3:
            archive.add(item, f"more/{item.name}")
    insure(opened(path), kept, now=NOW)
    held = kept_headers("shelf", kept)
    content = path.read_bytes()
    path.write_bytes(content[: held.headers[0].pieces[4].start].ljust(len(content), b"\0"))
    os.utime(path, (5, 5))
    again = opened(path)
    assert 0 < len(again.entries) < 24
    assert len(lost_since(again, held)) == 24 - len(again.entries)
    assert insure(again, kept, now=NOW) is not None
    assert kept_headers("shelf", kept) == held


def test_a_tar_that_is_cut_short_again_and_again_replaces_nothing(tmp_path: Path) -> None:
    path, kept = made(tmp_path, ".tar"), tmp_path / "kept"
    insure(opened(path), kept, now=NOW)
    held, content = kept_headers("shelf", kept), path.read_bytes()
    for number, size in enumerate((45_000, 33_000, 15_000)):
        path.write_bytes(content[:size])
        os.utime(path, (number, number))
        again = opened(path)
        said = insure(again, kept, now=NOW)
        assert again.is_damaged or (said is not None and "those kept before stay" in said)
    assert kept_headers("shelf", kept) == held


def test_ids_that_differ_in_case_alone_have_files_of_their_own(tmp_path: Path) -> None:
    path, kept = made(tmp_path, ".zip"), tmp_path / "kept"
    for id_ in ("Shelf", "shelf", "con.", "shelf-older"):
        insure(opened(path, id_=id_), kept, now=NOW)
    names = texts(kept)
    assert len({name.casefold() for name in names}) == 4
    assert all(len(kept_headers(id_, kept).headers) == 1 for id_ in ("Shelf", "shelf", "con.", "shelf-older"))


def test_compressed_tars_and_folders_have_nothing_to_keep(tmp_path: Path) -> None:
    path = tmp_path / "a.tar.gz"
    with tarfile.open(path, "w:gz") as archive:
        archive.add(members(tmp_path), "raw")
    assert insure(opened(path), tmp_path / "kept", now=NOW) is None
    assert not (tmp_path / "kept").exists()


def test_more_than_is_kept_is_said_and_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drill.insurance.keep.MOST_BYTES", 100)
    said = insure(opened(made(tmp_path, ".zip")), tmp_path / "kept", now=NOW)
    assert said is not None and "more than is kept" in said
    assert not (tmp_path / "kept").exists()


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "kept").write_text("a file stands there")
    said = insure(opened(made(tmp_path, ".zip")), tmp_path / "kept", now=NOW)
    assert said is not None and "cannot be kept" in said


@pytest.mark.outside
def test_a_hex_program_puts_kept_headers_back(tmp_path: Path) -> None:
    """`xxd -r`, of the Vim distribution, as its manual page has it: patches a file at the places that lines name."""
    if shutil.which("xxd") is None:
        pytest.skip("xxd is not installed")
    for kind in sorted(MAKERS):
        folder = tmp_path / kind[1:]
        folder.mkdir()
        path = made(folder, kind)
        insure(opened(path), folder / "kept", now=NOW)
        (text,) = (folder / "kept").iterdir()
        (kept,) = kept_headers("shelf", folder / "kept").headers
        whole = path.read_bytes()
        broken = bytearray(whole)
        for piece in kept.pieces:
            broken[piece.start : piece.start + len(piece.data)] = bytes(len(piece.data))
        duplicate = folder / "duplicate"
        duplicate.write_bytes(broken[: kept.pieces[-1].start] if kind == ".zip" else broken)  # one was cut short too
        subprocess.run(["xxd", "-r", text, duplicate], check=True)
        assert duplicate.read_bytes() == whole


# --- the text ----------------------------------------------------------------------------------------------------

PIECES = (Piece(0, b"PK\x03\x04" * 9), Piece(5_000_000_000, bytes(range(256))), Piece(5_000_001_000, b"\n"))


def text_of(archive: str = "2026.zip") -> str:
    about = About("shelf", archive, 5_000_002_000, "2026-09-12T10:00:00+00:00", sum_of(PIECES, 5_000_002_000))
    return write(about, PIECES, kept="2026-10-01T00:00:00Z")


@pytest.mark.parametrize("archive", ["2026.zip", 'a "b"\n# size: 1\udce4\x1b.zip'])
def test_what_is_written_is_read(archive: str) -> None:
    text = read(text_of(archive))
    assert text.kept == Kept(5_000_002_000, PIECES) and text.damaged == 0
    assert text.about.archive == archive
    assert all(line.startswith("#") or ": " in line for line in text_of(archive).splitlines())


def test_a_damaged_line_takes_its_own_piece_and_no_other() -> None:
    lines = text_of().splitlines(keepends=True)
    for number, line in enumerate(lines):
        for damaged in ("", line[:-2] + "\n", line.replace("5", "6", 1), line.replace("0", "z", 1)):
            text = "".join([*lines[:number], damaged, *lines[number + 1 :]])
            try:
                found = read(text)
            except ValueError:
                continue
            assert set(found.kept.pieces) <= set(PIECES)
            assert len(found.kept.pieces) >= 2 or found.damaged


def test_a_damaged_size_is_outvoted_or_told() -> None:
    several = text_of()
    found = read(several.replace("# size: 5000002000", "# size: 5000003000"))
    assert (found.kept.size, found.damaged) == (5_000_002_000, 1)
    found = read(several.replace("byte 0 of 5000002000", "byte 0 of 6000002000"))
    assert (found.kept.size, found.damaged) == (5_000_002_000, 1)
    single = write(About("shelf", "a.7z", 900, "", sum_of(PIECES[:1], 900)), PIECES[:1], kept="")
    assert read(single).damaged == 0
    with pytest.raises(ValueError, match="two sizes"):
        read(single.replace("# size: 900", "# size: 9900"))
    assert read(single.replace("900", "9900")).damaged == 1  # everywhere alike: the sum of all tells


def test_whatever_stands_in_the_folder_is_no_crash(tmp_path: Path) -> None:
    path, kept = made(tmp_path, ".zip"), tmp_path / "kept"
    insure(opened(path), kept, now=NOW)
    (name,) = texts(kept)
    whole = (kept / name).read_bytes()
    for content in (
        b"",
        b"\0" * 900,
        os.urandom(5000),
        whole[:700],
        whole[:-700],
        whole.replace(b"# size: ", b"# size: -"),
    ):
        (kept / name).write_bytes(content)
        held = kept_headers("shelf", kept)
        assert held.warnings and all(name in said for said in held.warnings)
        assert insure(opened(path), kept, now=NOW) is None  # and it is made good again
        assert kept_headers("shelf", kept).headers
        for left in kept.glob("*-older.txt"):
            left.unlink()
    other = kept_headers("another", kept)
    assert other == Held()
    (kept / name).rename(kept / name.replace("shelf", "other"))
    assert kept_headers("shelf", kept) == Held()


def test_a_text_of_another_copy_is_left_alone(tmp_path: Path) -> None:
    path, kept = made(tmp_path, ".zip"), tmp_path / "kept"
    insure(opened(path), kept, now=NOW)
    insure(opened(path, id_="two"), kept, now=NOW)
    one, two = texts(kept)
    shutil.copy(kept / one, kept / two)
    assert kept_headers("two", kept).headers == ()
    assert "shelf" in kept_headers("two", kept).warnings[0]


def test_an_archive_opened_past_its_damage_is_not_in_good_health(tmp_path: Path) -> None:
    found = replace(opened(made(tmp_path, ".zip")), reason="its directory is damaged")
    insure(found, tmp_path / "kept", now=NOW)
    assert not (tmp_path / "kept").exists()
