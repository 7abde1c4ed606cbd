"""`drill bad-sector` as a user starts it: every format, bad input, and that nothing but what is named is written."""

import hashlib
import json
import os
import tarfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import py7zr
import pytest
from census import census
from runner import Outcome, start

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

NAMES = [f"kiln/K{number:03}.dng" for number in range(12)]
CONTENT = {name: bytes((n * n + number) % 251 for n in range(3000 + 400 * number)) for number, name in enumerate(NAMES)}


def lay_out(folder: Path) -> None:
    for name, content in CONTENT.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)


def by_py7zr(folder: Path, to: Path, password: str | None = None) -> None:
    with py7zr.SevenZipFile(to, "w", password=password, header_encryption=password is not None) as archive:
        for name in NAMES:
            archive.write(folder / name, name)


def by_zipfile(folder: Path, to: Path) -> None:
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in NAMES:
            archive.write(folder / name, name)


def by_tarfile(mode: str) -> Callable[[Path, Path], None]:
    def make(folder: Path, to: Path) -> None:
        with tarfile.open(to, mode) as archive:  # type: ignore[call-overload]
            for name in NAMES:
                archive.add(folder / name, name)

    return make


MAKERS: dict[str, Callable[[Path, Path], None]] = {
    "kiln.7z": by_py7zr,
    "kiln.zip": by_zipfile,
    "kiln.tar": by_tarfile("w"),
    "kiln.tar.gz": by_tarfile("w:gz"),
    "kiln.tar.xz": by_tarfile("w:xz"),
}


STUDIO = """
[studio]
name = "Kiln"
[[media]]
id = "disk"
kind = "hard-disk"
place = "home"
[[shoots]]
id = "kiln"
date = 2026-09-12
manifest = "kiln.sha256"
[[copies]]
on = "disk"
at = "archives/kiln.7z"
"""


@pytest.fixture
def home(tmp_path: Path) -> Path:
    lay_out(tmp_path / "in")
    (tmp_path / "archives").mkdir()
    return tmp_path


def made(home: Path, name: str) -> Path:
    MAKERS[name](home / "in", home / "archives" / name)
    return home / "archives" / name


def ask(home: Path, archive: str | Path, *more: str | Path, env: dict[str, str | None] | None = None) -> Outcome:
    return start("bad-sector", archive, *more, cwd=home, env=env)


@pytest.mark.parametrize("name", MAKERS)
def test_every_format_is_told_drawn_and_recorded_and_only_read(name: str, home: Path) -> None:
    archive = made(home, name)
    before = census(home / "archives")
    outcome = ask(home, archive, "--json", "map.json", "--picture", "map.svg")
    assert outcome.code == 0, outcome.said
    assert f"{name}: one unreadable sector" in outcome.out and "12 files" in outcome.out
    assert outcome.err == "the map is in map.svg\n"
    record = json.loads((home / "map.json").read_text())
    assert (record["schema"], record["archive"], record["members"]) == ("restore-sectors/1", name, 12)
    assert record["size"] == archive.stat().st_size and record["sectors"] == -(-record["size"] // 4096)
    assert record["stream_size"] == sum(len(content) for content in CONTENT.values())
    assert sum(run[1] for run in record["runs"]) == record["sectors"]
    assert "<svg" in (home / "map.svg").read_text()
    assert census(home / "archives") == before
    assert sorted(path.name for path in home.iterdir()) == ["archives", "in", "map.json", "map.svg"]
    assert ask(home, archive, "--json", "-").record == record


def test_the_sector_size_is_the_drive_s(home: Path) -> None:
    archive = made(home, "kiln.zip")
    record = ask(home, archive, "--json", "-", "--sector-size", "512").record
    assert (record["sector_size"], record["sectors"]) == (512, -(-archive.stat().st_size // 512))
    for wrong in ("0", "-1", "many", "100", "1000", "256", "9" * 40, "\u0664\u0660\u0669\u0666"):
        outcome = ask(home, archive, f"--sector-size={wrong}")
        assert outcome.code == 2 and "512, 4096" in outcome.err


def test_headers_kept_beside_a_ledger_count_when_the_studio_file_is_named(home: Path) -> None:
    archive = made(home, "kiln.7z")
    (home / "kiln.sha256").write_text(f"{hashlib.sha256(CONTENT[NAMES[0]]).hexdigest()}  K000.dng\n")
    (home / "studio.toml").write_text(STUDIO)
    alone = ask(home, archive)
    assert "Keep a second copy of the headers" in alone.out and "--studio FILE" in " ".join(alone.out.split())
    early = ask(home, archive, "--studio", "studio.toml")
    assert early.code == 0 and "drill survey keeps them" in early.err and early.out == alone.out
    assert start("survey", "studio.toml", cwd=home).code == 0
    told = ask(home, archive, "--studio", "studio.toml")
    assert told.code == 0 and "A copy of its headers is kept elsewhere" in " ".join(told.out.split())
    assert "Keep a second copy" not in told.out
    other = ask(home, made(home, "kiln.zip"), "--studio", "studio.toml")
    assert other.code == 2 and "no copy in studio.toml is" in other.err


@pytest.mark.parametrize("given", ["right", "wrong", "none", "unset"])
def test_an_encrypted_archive_needs_its_password(given: str, home: Path) -> None:
    archive = home / "archives" / "secret.7z"
    by_py7zr(home / "in", archive, "saltmarsh")
    env = {"KILN": {"right": "saltmarsh", "wrong": "reed"}.get(given)}
    more = [] if given == "none" else ["--password-env", "KILN"]
    outcome = ask(home, archive, *more, env=env)
    assert outcome.code == (0 if given == "right" else 2), outcome.said
    if given == "right":
        assert "encrypted" in outcome.out and "12 files" in outcome.out
    else:
        assert ("KILN" if given == "unset" else "secret.7z") in outcome.err and "Traceback" not in outcome.err
        assert "--password-env" in outcome.err and not outcome.out


@pytest.mark.parametrize("name", MAKERS)
def test_what_is_no_whole_archive_is_named_with_what_to_do(name: str, home: Path) -> None:
    """Empty; something else under that name; cut short. (Of a tar the last byte is one of many zeros: no loss.)"""
    archive = made(home, name)
    content = archive.read_bytes()
    for damaged in (b"", b"no archive, but a letter " * 400, content[:20], content[: len(content) // 2], content[:-1]):
        archive.write_bytes(damaged)
        outcome = ask(home, archive)
        assert "Traceback" not in outcome.err, outcome.said
        if outcome.code != 2:
            assert damaged == content[:-1] and name.startswith("kiln.tar"), outcome.said
            continue
        assert name in outcome.err and ";" in outcome.err and not outcome.out, outcome.said


def test_mistakes_in_the_command_are_told_before_anything_is_read(home: Path) -> None:
    archive = made(home, "kiln.zip")
    before = census(home)
    for arguments in (
        ["missing.zip"],
        ["long-" * 60 + ".zip"],
        ["in"],
        ["in/kiln/K000.dng"],
        [archive, "--picture", "map.jpeg"],
        [archive, "--picture", "no-folder/map.svg"],
        [archive, "--json", archive],
        [archive, "--json", "map.svg", "--picture", "map.svg"],
        [archive, "--password-env", "NOBODY_SET_THIS"],
    ):
        outcome = ask(home, *arguments, env={"NOBODY_SET_THIS": None})
        assert outcome.code == 2 and outcome.err and not outcome.out, outcome.said
        assert census(home) == before
    linked = home / "linked.json"
    try:
        os.link(archive, linked)
    except OSError:
        return
    assert ask(home, archive, "--json", linked).code == 2


def test_a_picture_that_cannot_be_written_is_exit_3(home: Path) -> None:
    archive = made(home, "kiln.zip")
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    outcome = ask(home, archive, "--json", "/dev/full")
    assert outcome.code == 3 and "/dev/full" in outcome.err, outcome.said
