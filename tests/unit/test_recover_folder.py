"""The folder that a recovery writes to: which one it may be, who else is in it, what an earlier run left in it."""

import errno
import hashlib
import os
import sqlite3
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from drill.errors import Mistakes, Unfinished
from drill.guard import falls_in
from drill.model import Studio
from drill.recover import Options, check_into, disk_notes, recover
from drill.recover import lock as lock_room
from drill.recover import names as names_room
from drill.recover.home import WORKING, Home
from drill.recover.lock import working
from drill.recover.names import copy_new, give_name
from drill.recoverrecord import Recovery, to_json
from drill.report.recover_text import recover_text
from drill.studio import load_studio

NOW = datetime(2026, 10, 1, tzinfo=UTC)
THEN_S = datetime(2026, 9, 12, tzinfo=UTC).timestamp()
PICTURES = {f"raw/R{number}.dng": f"kiln {number} ".encode() * 2000 for number in range(3)}

needs_links = pytest.mark.skipif(os.name == "nt", reason="links need a right there")


def lay_out(folder: Path, *, at: str = "media/ssd", lost_at: str = "media/tablet") -> Studio:
    """Write a studio of a drive that is there and has all, and a tablet that is lost."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = [f"{hashlib.sha256(data).hexdigest()}  {path}\n" for path, data in PICTURES.items()]
    (folder / "reed.sha256").write_text("".join(lines))
    for path, data in PICTURES.items():
        target = folder / "media/ssd" / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
        os.utime(target, (THEN_S, THEN_S))
    text = '[studio]\nname = "Reed"\n[[shoots]]\nid = "reed"\ndate = 2026-09-12\nmanifest = "reed.sha256"\n'
    for id_, where in (("ssd", at), ("tablet", lost_at)):
        text += f'[[media]]\nid = "{id_}"\nkind = "ssd"\nplace = "at-{id_}"\n'
        text += f'[[copies]]\non = "{id_}"\nat = "{where}"\n'
    (folder / "studio.toml").write_text(text)
    return load_studio(folder / "studio.toml")


def bring_back(studio: Studio, into: Path) -> Recovery:
    return recover(studio, into, studio.shoots, Options(("medium:tablet",), NOW))


def mistakes_of(studio: Studio, into: Path) -> list[str]:
    with pytest.raises(Mistakes) as caught:
        check_into(studio, into, studio.shoots, ("medium:tablet",))
    return [str(mistake) for mistake in caught.value.mistakes]


# --- which folder it may be ------------------------------------------------------------------------------------------


def test_what_is_reached_by_a_detour_is_not_inside_what_the_detour_leads_through(tmp_path: Path) -> None:
    (tmp_path / "studio").mkdir()
    (tmp_path / "tablet").mkdir()
    assert not falls_in(tmp_path / "studio/../tablet", tmp_path / "studio")
    assert falls_in(tmp_path / "studio/../tablet", tmp_path / "tablet")
    assert falls_in(tmp_path / "tablet/new", tmp_path / "studio/../tablet")


def test_a_detour_in_the_studio_file_is_not_shown(tmp_path: Path) -> None:
    studio = lay_out(tmp_path / "s", at="../s/media/ssd", lost_at="sub/../../disk/2026.zip")
    (tmp_path / "s/sub").mkdir()
    assert [copy.at for copy in load_studio(studio.file).copies] == [
        tmp_path / "s/media/ssd",
        tmp_path / "disk/2026.zip",
    ]


@needs_links
def test_a_detour_through_a_link_stays_as_it_is_written(tmp_path: Path) -> None:
    (tmp_path / "s").mkdir()
    (tmp_path / "far/away").mkdir(parents=True)
    (tmp_path / "s/door").symlink_to(tmp_path / "far/away", target_is_directory=True)
    studio = lay_out(tmp_path / "s", lost_at="door/../tablet")
    assert studio.copies[1].at == tmp_path / "s/door/../tablet"
    (tmp_path / "far/tablet").mkdir()
    assert "falls inside the copy tablet" in mistakes_of(studio, tmp_path / "far/tablet/new")[0]


def test_one_cause_is_one_mistake(tmp_path: Path) -> None:
    studio = lay_out(tmp_path / "s")
    (told,) = mistakes_of(studio, tmp_path / "s")
    assert "has the copy ssd, the copy tablet, the manifest reed.sha256 and " in told and " more in it" in told
    (told,) = mistakes_of(studio, tmp_path / "s/media/tablet/new")
    assert "falls inside the copy tablet" in told and "another disk" in told


def test_the_folder_of_a_lost_archive_is_written_to_no_more(tmp_path: Path) -> None:
    studio = lay_out(tmp_path / "s", lost_at="../attic/2026.zip")
    (tmp_path / "attic").mkdir()
    (told,) = mistakes_of(studio, tmp_path / "attic/back")
    assert "the medium of tablet, which is lost: write nothing to it" in told
    check_into(studio, tmp_path / "attic/back", studio.shoots)  # not lost: it is said, and no more


def test_what_else_is_on_the_disk_is_said_and_first_what_is_lost(tmp_path: Path) -> None:
    studio = lay_out(tmp_path / "s")
    (tmp_path / "s/media/tablet").mkdir()
    lost, left = disk_notes(studio, tmp_path / "back/deep", ("medium:tablet",))
    assert "same disk as tablet, lost" in lost and "same disk as ssd: what is back is no copy apart" in left
    assert set(bring_back(studio, tmp_path / "back").notes) >= {
        note.replace("back/deep", "back") for note in (lost, left)
    }


# --- who else is in it -----------------------------------------------------------------------------------------------


def test_nobody_else_begins_until_all_is_put_away_and_nothing_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    emptied = []
    honest = lock_room._empty

    def meanwhile(folder: Path) -> None:
        honest(folder)
        emptied.append(sorted(path.name for path in folder.iterdir()))
        with pytest.raises(Unfinished, match="another recovery"), working(Home(tmp_path, {})):
            pass

    monkeypatch.setattr(lock_room, "_empty", meanwhile)
    with working(Home(tmp_path, {})):
        pass
    assert emptied == [["lock"]] and not (tmp_path / WORKING).exists()


@pytest.mark.skipif(os.name == "nt", reason="a lock that is open cannot be removed there")
def test_a_lock_that_was_removed_meanwhile_holds_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    honest, tries = lock_room._made, []

    def removed_by_the_run_before(path: Path) -> os.stat_result:
        before = honest(path)
        tries.append(before)
        if len(tries) == 1:
            path.rename(path.with_name("kept, so that no new file gets its number"))
            path.write_bytes(b"")
        return before

    monkeypatch.setattr(lock_room, "_made", removed_by_the_run_before)
    with working(Home(tmp_path, {})):
        assert len(tries) == 2
        other = sqlite3.connect(tmp_path / WORKING / "lock", timeout=0, isolation_level=None)
        with pytest.raises(sqlite3.Error):
            other.execute("BEGIN EXCLUSIVE")
        other.close()


# --- what an earlier run left in it ----------------------------------------------------------------------------------


@needs_links
def test_no_link_in_the_folder_on_the_way_leads_into_a_copy(tmp_path: Path) -> None:
    studio, way = lay_out(tmp_path / "s"), tmp_path / "back" / WORKING
    copy = tmp_path / "s/media/ssd"
    (copy / "empty").write_bytes(b"")
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in copy.rglob("*") if path.is_file()}
    (way / "run-old").mkdir(parents=True)
    for name in ("lock", "list", "list.part", "part", "list-1", "part-1"):
        (way / name).symlink_to(copy / "empty")
    for name in ("reading", "run-1", "run-old/reading"):
        (way / name).symlink_to(copy / "raw", target_is_directory=True)
    (way / "run-old/0000001").symlink_to(copy / "raw/R0.dng")
    with working(Home(tmp_path / "kept", {})):
        (tmp_path / "kept" / WORKING / "run-older").mkdir()
        (tmp_path / "kept" / WORKING / "run-older/door").symlink_to(copy, target_is_directory=True)
        lock_room.remove_links(tmp_path / "kept" / WORKING)
        assert not os.path.lexists(tmp_path / "kept" / WORKING / "run-older/door")
    assert bring_back(studio, tmp_path / "back").is_back
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in copy.rglob("*") if path.is_file()} == before
    assert not way.exists()


def test_what_was_left_on_its_way_is_on_the_disk_and_dressed_as_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio, left = lay_out(tmp_path / "s"), tmp_path / "back" / WORKING / "run-old/reading/0000001"
    left.parent.mkdir(parents=True)
    left.write_bytes(PICTURES["raw/R1.dng"])
    left.chmod(0o600)
    number, honest = left.stat().st_ino, os.fsync
    flushed: list[int] = []

    def noting(fd: int) -> None:
        flushed.append(os.fstat(fd).st_ino)
        honest(fd)

    monkeypatch.setattr(os, "fsync", noting)
    record = bring_back(studio, tmp_path / "back")
    own, other = ((tmp_path / "back/reed/raw" / name).stat() for name in ("R1.dng", "R2.dng"))
    assert record.shoots[0].sources == {"ssd": 2}, "it was not read from the drive again"
    assert (own.st_mode, own.st_mtime) == (other.st_mode, other.st_mtime) and own.st_mtime == THEN_S
    assert own.st_ino != number or number in flushed


def test_a_second_name_of_a_file_of_a_copy_is_not_taken(tmp_path: Path) -> None:
    studio, left = lay_out(tmp_path / "s"), tmp_path / "back" / WORKING / "run-old/reading/0000001"
    left.parent.mkdir(parents=True)
    try:
        os.link(tmp_path / "s/media/ssd/raw/R1.dng", left)
    except OSError:
        pytest.skip("no hard links here")
    assert bring_back(studio, tmp_path / "back").is_back
    assert (tmp_path / "s/media/ssd/raw/R1.dng").stat().st_nlink == 1
    assert (tmp_path / "back/reed/raw/R1.dng").stat().st_nlink == 1


def test_what_rotted_in_the_folder_is_named_and_not_to_be_used(tmp_path: Path) -> None:
    studio, into = lay_out(tmp_path / "s"), tmp_path / "back"
    bring_back(studio, into)
    (into / "reed/raw/R0.dng").write_bytes(b"rot")
    (into / "reed/raw/R1.dng").write_bytes(b"rot")
    (tmp_path / "s/media/ssd/raw/R1.dng").unlink()  # and of this one nothing else is left
    record = bring_back(studio, into)
    (told,) = record.shoots
    assert told.not_as_promised == ("reed/raw/R0.dng", "reed/raw/R1.dng")
    assert to_json(record)["shoots"][0]["not_as_promised"] == list(told.not_as_promised)
    assert [each.why for each in told.elsewhere] == ["the file that stands there has other bytes than promised"]
    text = " ".join(recover_text(record).split())
    assert "Do not use: under a promised name, with other bytes than promised - reed/raw/R0.dng" in text
    assert bring_back(studio, into).shoots[0].not_as_promised == told.not_as_promised


def test_a_list_that_steps_aside_is_told(tmp_path: Path) -> None:
    studio, into = lay_out(tmp_path / "s"), tmp_path / "back"
    into.mkdir()
    (into / "reed.sha256").write_text("somebody's own\n")
    text = " ".join(recover_text(bring_back(studio, into)).split())
    assert "the checksum list of reed is reed.as-promised.sha256" in text


# --- names on disks without hard links ------------------------------------------------------------------------------


def no_links(*_: object) -> None:
    raise OSError(errno.EPERM, "this disk has no hard links")


@pytest.mark.parametrize("renames", [True, False])
def test_a_file_that_appears_meanwhile_keeps_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, renames: bool
) -> None:
    """As on FAT: no hard links, and perhaps no rename that replaces nothing. Looking first would be too early."""
    monkeypatch.setattr(os, "link", no_links)
    monkeypatch.setattr(os.path, "lexists", lambda path: False)
    if not renames:
        monkeypatch.setattr(names_room, "_renamed", lambda work, name: False)
    work, name = tmp_path / "work", tmp_path / "name"
    work.write_bytes(b"right")
    name.write_bytes(b"it appeared meanwhile")
    with pytest.raises(FileExistsError):
        give_name(work, name)
    assert (work.read_bytes(), name.read_bytes()) == (b"right", b"it appeared meanwhile")
    (tmp_path / "empty").write_bytes(b"")
    with pytest.raises(FileExistsError):
        give_name(work, tmp_path / "empty")
    assert work.exists() and (tmp_path / "empty").read_bytes() == b""
    give_name(work, tmp_path / "free")
    assert (tmp_path / "free").read_bytes() == b"right" and not work.exists()
    with pytest.raises(OSError, match=r"No such file|cannot find"):
        give_name(name, tmp_path / "nowhere/name")
    assert name.read_bytes() == b"it appeared meanwhile"


@pytest.mark.skipif(sys.platform != "linux", reason="rename(2): renameat2 is Linux's")
def test_linux_has_a_rename_that_replaces_nothing(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "b").write_bytes(b"b")
    with pytest.raises(FileExistsError):
        names_room._renamed(tmp_path / "a", tmp_path / "b")
    assert names_room._renamed(tmp_path / "a", tmp_path / "c") and (tmp_path / "c").read_bytes() == b"a"
    with pytest.raises(FileNotFoundError):
        names_room._renamed(tmp_path / "a", tmp_path / "d")


@needs_links
def test_a_copy_goes_through_no_link(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"new")
    (tmp_path / "of-a-copy").write_bytes(b"old")
    (tmp_path / "b").symlink_to(tmp_path / "of-a-copy")
    with pytest.raises(FileExistsError):
        copy_new(tmp_path / "a", tmp_path / "b")
    assert (tmp_path / "of-a-copy").read_bytes() == b"old"
