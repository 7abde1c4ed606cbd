"""`drill survey --write-manifests`: the missing lists, made once, resumed when cut short, never in a copy unasked."""

import hashlib
import os
import signal
import time
import tomllib
import zipfile
from pathlib import Path

import pytest
import xxhash
from census import census, files_below
from left_behind import readings_in
from plain_studio import sha256_list
from runner import begin, start

LEDGER = "ledger.sqlite"


def picture(number: int, size: int = 9000) -> bytes:
    return hashlib.sha512(str(number).encode()).digest() * (size // 64)


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    """A studio of two copies without a list, one with, one archive and one that cannot be read."""
    drive, tablet = tmp_path / "media" / "drive", tmp_path / "media" / "tablet"
    for root in (drive / "reed" / "raw", tablet / "DCIM" / "100REED_"):
        root.mkdir(parents=True)
        for number in range(6):
            (root / f"REED{number:04d}.DNG").write_bytes(picture(number))
    (drive / ".DS_Store").write_bytes(b"left behind")
    (drive / "reed" / "SHA256SUMS").write_text("")
    (tablet / "odd\\name\n.txt").write_bytes(b"odd") if os.name == "posix" else None
    with zipfile.ZipFile(drive / "reed.zip", "w") as packed:
        for number in range(3):
            packed.writestr(f"raw/REED{number:04d}.DNG", picture(number))
    home = tmp_path / "studio"
    (home / "manifests").mkdir(parents=True)
    promised = {f"raw/REED{number:04d}.DNG": picture(number) for number in range(6)}
    (home / "manifests" / "reed.sha256").write_text(sha256_list(promised))
    media = "".join(f'[[media]]\nid = "{m}"\nkind = "ssd"\nplace = "home"\n' for m in ("drive", "tablet", "far"))
    (home / "studio.toml").write_text(
        f"""# my own words
[studio]
name = "Reed"
{media}
[[shoots]]
id = "reed"
date = 2026-09-12
manifest = "manifests/reed.sha256"

# the big drive
[[copies]]
on = "drive"
at = "../media/drive"

[[copies]]
id = "packed"
on = "drive"
at = "../media/drive/reed.zip"

[[copies]]
on = "tablet"   # mine
at = "../media/tablet"

[[copies]]
on = "far"
"""
    )
    return home / "studio.toml"


def lists(studio: Path) -> dict[str, str]:
    return {table["on"]: table.get("manifest", "") for table in tomllib.loads(studio.read_text())["copies"]}


def test_every_copy_without_a_list_gets_one_and_nothing_else_is_touched(studio: Path, tmp_path: Path) -> None:
    before, text = census(tmp_path / "media"), studio.read_text()
    done = start("survey", studio, "--write-manifests", "--digest", "xxh128", cwd=tmp_path)
    assert done.code == 0, done.said
    assert census(tmp_path / "media") == before
    assert "the promises have sha256" in done.err
    home = studio.parent
    names = sorted(path.name for path in (home / "manifests").iterdir())
    assert names == ["on-drive.xxh128", "on-packed.xxh128", "on-tablet.xxh128", "reed.sha256"]
    listed = dict(line.split("  ", 1)[::-1] for line in (home / "manifests/on-drive.xxh128").read_text().splitlines())
    assert listed == {f"reed/raw/REED{n:04d}.DNG": xxhash.xxh128(picture(n)).hexdigest() for n in range(6)}
    kept = [line for line in studio.read_text().splitlines() if not line.startswith('manifest = "manifests/on-')]
    assert kept == text.splitlines()
    assert "no list for far: it cannot be read from here" in done.err
    assert "drive" in done.out
    again = start("survey", studio, "--write-manifests", cwd=tmp_path)
    assert again.code == 0
    assert "wrote" not in again.err


def test_a_drill_takes_the_lists(studio: Path, tmp_path: Path) -> None:
    done = start("survey", studio, "--write-manifests", cwd=tmp_path)
    assert done.code == 0
    assert lists(studio)["tablet"] == "manifests/on-tablet.sha256"  # the promises' own kind: names are no identity
    assert "the promises have" not in done.err
    record = start(
        "run", studio, "--scenario", "silent-rot", "--seed", "3", "--no-reports", "--json", "-", cwd=tmp_path
    )
    assert {d["verdict"] for d in record.record["drills"]} == {"restored"}
    (tmp_path / "media/drive/reed/raw/REED0001.DNG").unlink()
    short = start("survey", studio, "--json", "-", cwd=tmp_path)
    drive = next(c for c in short.record["copies"] if c["copy"] == "drive")
    assert short.code == 1
    assert [item["path"] for item in drive["missing"]] == ["reed/raw/REED0001.DNG"]


def test_into_a_copy_only_when_asked_and_never_over_anything(studio: Path, tmp_path: Path) -> None:
    refused = start("survey", studio, "--into-copies", cwd=tmp_path)
    assert refused.code == 2
    assert "--write-manifests" in refused.err
    mine = tmp_path / "media/tablet/checksums.xxh128"
    mine.write_text("mine\n")
    before = set(files_below(tmp_path / "media"))
    done = start("survey", studio, "--write-manifests", "--into-copies", "--digest", "xxh128", cwd=tmp_path)
    assert done.code == 0, done.said
    assert set(files_below(tmp_path / "media")) - before == {"drive/checksums.xxh128"}
    assert mine.read_text() == "mine\n"
    ours = studio.parent / "manifests/on-drive.xxh128"
    assert (tmp_path / "media/drive/checksums.xxh128").read_bytes() == ours.read_bytes()
    assert start("survey", studio, cwd=tmp_path).code == 0  # its own list is no picture too many


def test_a_studio_file_inside_a_copy_is_refused(studio: Path, tmp_path: Path) -> None:
    inside = tmp_path / "media" / "drive" / "studio"
    inside.mkdir()
    (inside / "manifests").mkdir()
    (inside / "manifests/reed.sha256").write_bytes((studio.parent / "manifests/reed.sha256").read_bytes())
    moved = studio.read_text().replace("../media/drive", "..").replace("../media/tablet", "../../tablet")
    (inside / "studio.toml").write_text(moved)
    before = census(tmp_path / "media")
    done = start("survey", inside / "studio.toml", "--write-manifests", cwd=tmp_path)
    assert done.code == 2, done.said
    assert "nothing is ever written there" in done.err
    assert census(tmp_path / "media") == before


@pytest.mark.deep
@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for one child alone")
def test_cut_short_it_keeps_what_was_read_and_goes_on_from_there(studio: Path, tmp_path: Path) -> None:
    big = tmp_path / "media" / "tablet" / "DCIM" / "200REED_"
    big.mkdir()
    old = time.time() - 1000
    for number in range(400):
        path = big / f"REED{number + 100:04d}.DNG"
        path.write_bytes(picture(number + 100, 2_000_000))
        os.utime(path, (old, old))
    child = begin("survey", studio, "--write-manifests", "--digest", "md5", cwd=tmp_path)
    ledger = studio.parent / LEDGER
    deadline = time.monotonic() + 30
    while not readings_in(ledger) and child.poll() is None:
        assert time.monotonic() < deadline
        time.sleep(0.005)
    child.send_signal(signal.SIGINT)
    _, err = child.communicate(timeout=60)
    if child.returncode != 3:
        pytest.skip("it was done before it could be interrupted")
    assert "goes on from there" in err
    assert lists(studio)["tablet"] == ""
    assert readings_in(ledger)
    done = start("survey", studio, "--write-manifests", "--digest", "md5", cwd=tmp_path)
    assert done.code == 0, done.said
    read = next(line for line in done.err.splitlines() if line.startswith("read "))
    assert "800 MB" not in read
    path = studio.parent / lists(studio)["tablet"]
    for line in path.read_text().splitlines():
        digest, name = line.split("  ", 1)
        if name.startswith("DCIM"):
            assert hashlib.md5((tmp_path / "media/tablet" / name).read_bytes()).hexdigest() == digest


@pytest.mark.skipif(os.name == "nt" or os.getuid() == 0, reason="root may read everything")
def test_a_file_that_cannot_be_read_is_said_and_not_listed(studio: Path, tmp_path: Path) -> None:
    locked = tmp_path / "media/drive/reed/raw/REED0002.DNG"
    locked.chmod(0)
    done = start("survey", studio, "--write-manifests", cwd=tmp_path)
    locked.chmod(0o644)
    assert done.code == 1
    assert "REED0002.DNG" in done.err
