"""Audits of a drive on which the kernel itself gives I/O errors.

A file system in a file, mounted over a loop device, whose backing file is cut short afterwards: what lay behind the cut
gives EIO, as a bad sector does. The ranges reported are held against reading each block with pread.
"""

import json
import os
import random
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from plain_studio import LIST, sha256_list, studio_text
from runner import start

SIZE = 24 << 20
BLOCK = 4096


def _run(*command: str | Path) -> None:
    subprocess.run([os.fspath(part) for part in command], check=True, capture_output=True)


def _make(folder: Path) -> None:
    """Make the drive with its pictures, an equal folder, and the list."""
    whole, mounted, image = folder / "whole", folder / "mounted", folder / "drive.img"
    whole.mkdir()
    mounted.mkdir()
    rng = random.Random(8)
    for number in range(30):
        (whole / f"K{number:04d}.DNG").write_bytes(rng.randbytes(500_000 + number))
    with image.open("wb") as file:
        file.truncate(SIZE)
    _run("mkfs.ext4", "-q", "-b", str(BLOCK), "-O", "^has_journal", image)
    _run("mount", "-o", "loop", image, mounted)
    try:
        shutil.copytree(whole, mounted / "kiln")
    finally:
        _run("umount", mounted)
    (folder / LIST).write_text(
        sha256_list({path.name: path.read_bytes() for path in whole.iterdir()}), encoding="ascii"
    )


def _amid_a_picture(folder: Path) -> int:
    """Return a place on the drive amid a picture's bytes that has about half of the pictures behind it."""
    image = (folder / "drive.img").read_bytes()
    middles = [path.read_bytes()[60 * BLOCK : 61 * BLOCK] for path in sorted((folder / "whole").iterdir())]
    return sorted(image.find(middle) for middle in middles)[15]


@pytest.fixture
def failing(tmp_path: Path) -> Iterator[Path]:
    """A folder with a studio whose drive is cut short while it is mounted."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or shutil.which("mkfs.ext4") is None:
        pytest.skip("mounting a file system in a file needs Linux, root and mkfs.ext4")
    try:
        _make(tmp_path)
        _run("mount", "-o", "loop,ro", tmp_path / "drive.img", tmp_path / "mounted")
    except subprocess.CalledProcessError as error:
        pytest.skip(f"no loop device can be mounted here: {error.stderr.decode(errors='replace').strip()}")
    try:
        os.truncate(tmp_path / "drive.img", _amid_a_picture(tmp_path))
        Path("/proc/sys/vm/drop_caches").write_text("3", encoding="ascii")
        yield tmp_path
    finally:
        subprocess.run(["umount", "--lazy", tmp_path / "mounted"], check=False)


def bad_ranges(path: Path) -> list[list[int]]:
    """Return the ranges that give EIO, by reading block after block."""
    ranges: list[list[int]] = []
    size = path.stat().st_size
    fd = os.open(path, os.O_RDONLY)
    try:
        for start_at in range(0, size, BLOCK):
            try:
                os.pread(fd, BLOCK, start_at)
            except OSError:
                end = min(start_at + BLOCK, size)
                if ranges and ranges[-1][1] == start_at:
                    ranges[-1][1] = end
                else:
                    ranges.append([start_at, end])
    finally:
        os.close(fd)
    return ranges


def audited(folder: Path, *more: str) -> tuple[int, dict[str, Any]]:
    outcome = start("audit", folder / "studio.toml", "--json", "-", *more, cwd=folder)
    assert outcome.code in (0, 1), outcome.said
    value = json.loads(outcome.out)
    return outcome.code, value


@pytest.mark.deep  # file systems of its own
@pytest.mark.outside
@pytest.mark.parametrize("listed", [True, False])
def test_true_io_errors_are_told_to_the_byte(failing: Path, listed: bool) -> None:
    kinds, at = {"field-ssd": "ssd", "archive-a": "hard-disk"}, {"field-ssd": "mounted/kiln", "archive-a": "whole"}
    text = studio_text(kinds, at=at, listed=("archive-a", "field-ssd") if listed else ("archive-a",))
    (failing / "studio.toml").write_text(text, encoding="utf-8")
    code, record = audited(failing)
    drive = failing / "mounted" / "kiln"
    expected = {path.name: ranges for path in drive.iterdir() if (ranges := bad_ranges(path))}
    assert 0 < len(expected) < 30
    assert any(ranges[0][0] > 0 for ranges in expected.values()), "no file lies across the cut"
    told = {file["path"]: file for file in record["copies"][0]["files"]}
    assert {name: file["ranges"] for name, file in told.items()} == expected
    assert {file["outcome"] for file in told.values()} == {"unreadable"}
    assert record["copies"][0]["counts"]["verified"] == 30 - len(expected)
    assert all(file["intact"][0]["copy"] == "archive-a" for file in told.values())
    assert code == 1 and record["complete"] is True
    text = start("audit", failing / "studio.toml", cwd=failing)
    assert "field-ssd gives I/O errors and may be failing" in text.out, text.said
