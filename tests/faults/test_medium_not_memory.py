"""What the system has in memory proves nothing of a drive: audit, retire and a drill read the medium itself.

A file system in a file is mounted, filled and written out; then the file beneath it is changed, as a bad cable or false
flash would have it: the system's memory still has the right bytes. Needs Linux, root and loop devices.
"""

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from plain_studio import LIST, sha256_list, studio_text
from runner import start

PICTURES = {"ABCD0001.NEF": os.urandom(3_000_000), "ABCD0002.NEF": os.urandom(200_000)}


def _run(*command: str | Path) -> None:
    subprocess.run(command, check=True, capture_output=True)


@pytest.fixture
def rotten(tmp_path: Path) -> Iterator[Path]:
    """A folder with a studio whose ssd has other bytes on it than the system remembers."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or shutil.which("mkfs.ext4") is None:
        pytest.skip("mounting a file system in a file needs Linux, root and mkfs.ext4")
    image, mounted = tmp_path / "ssd.img", tmp_path / "ssd"
    mounted.mkdir()
    with image.open("wb") as file:
        file.truncate(40_000_000)
    try:
        _run("mkfs.ext4", "-q", "-F", image)
        _run("mount", "-o", "loop", image, mounted)
    except subprocess.CalledProcessError as error:
        pytest.skip(f"no loop device can be mounted here: {error.stderr.decode(errors='replace').strip()}")
    try:
        for folder in (tmp_path / "card", mounted):
            (folder / "reed").mkdir(parents=True)
            for name, content in PICTURES.items():
                (folder / "reed" / name).write_bytes(content)
        _run("sync", "-f", mounted)
        at = image.read_bytes().find(PICTURES["ABCD0001.NEF"][:4096])
        with image.open("r+b") as file:
            file.seek(at + 100)
            file.write(b"ROTTEN")
            file.flush()
            os.fsync(file.fileno())
        assert (mounted / "reed/ABCD0001.NEF").read_bytes() == PICTURES["ABCD0001.NEF"], (
            "the memory has the right bytes"
        )
        (tmp_path / LIST).write_text(sha256_list(PICTURES), encoding="ascii")
        (tmp_path / "studio.toml").write_text(studio_text({"card": "card", "ssd": "ssd"}), encoding="utf-8")
        yield tmp_path
    finally:
        subprocess.run(["umount", "--lazy", mounted], check=False)


@pytest.mark.outside
def test_an_audit_finds_what_only_the_drive_has(rotten: Path) -> None:
    outcome = start("audit", "studio.toml", "--copy", "ssd", cwd=rotten)
    assert outcome.code == 1 and "reed/ABCD0001.NEF: altered" in outcome.out, outcome.said


@pytest.mark.outside
def test_a_card_is_not_let_go_for_what_is_only_in_memory(rotten: Path) -> None:
    outcome = start("retire", "studio.toml", "card", cwd=rotten)
    assert outcome.code == 1 and outcome.out.startswith("No: "), outcome.said


@pytest.mark.outside
def test_a_drill_restores_from_the_drive(rotten: Path) -> None:
    gone = rotten / "gone.toml"
    gone.write_text('title = "t"\nstory = "s"\n[[hazards]]\neffect = "gone"\nhits = { medium = "card" }\n')
    outcome = start("run", "studio.toml", "--scenario", gone, "--json", "-", "--no-reports", "--seed", "1", cwd=rotten)
    (drill,) = outcome.record["drills"]
    assert [note["path"] for note in drill["lost_files"]] == ["ABCD0001.NEF"], outcome.said
