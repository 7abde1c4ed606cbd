"""Audits against lists that nobody here wrote: the digests that a Debian system keeps of its own files.

Source: dpkg's md5sums files (/var/lib/dpkg/info/*.md5sums, deb-md5sums(5)). The audit agrees with `md5sum -c` of the
GNU coreutils line by line, on files as they are and damaged in many ways.
"""

import os
import random
import shutil
import subprocess
from pathlib import Path

import pytest
from runner import Outcome, start

INFO = Path("/var/lib/dpkg/info")
STUDIO = """
[studio]
name = "Debian"
[[media]]
id = "disk"
kind = "ssd"
place = "home"
[[shoots]]
id = "packages"
date = 2026-09-12
manifest = "promise.md5"
[[copies]]
on = "disk"
at = "{at}"
manifest = "list.md5"
"""
pytestmark = [
    pytest.mark.deep,
    pytest.mark.outside,
    pytest.mark.skipif(not any(INFO.glob("*.md5sums")), reason="this is no Debian system"),
    pytest.mark.skipif(shutil.which("md5sum") is None, reason="md5sum is not installed"),
]


def listed() -> dict[str, str]:
    """Return all lines about files below usr/: the path below it, and the digest."""
    lines = [line for path in sorted(INFO.glob("*.md5sums")) for line in path.read_text("utf-8").splitlines()]
    pairs = (line.split("  ", 1) for line in lines)
    return {path.removeprefix("usr/"): digest for digest, path in pairs if path.startswith("usr/")}


def by_md5sum(root: Path, list_file: Path) -> dict[str, str]:
    """Return what `md5sum -c` says of each name."""
    done = subprocess.run(
        ["md5sum", "-c", list_file], cwd=root, capture_output=True, check=False, env={**os.environ, "LC_ALL": "C"}
    )
    lines = done.stdout.decode("utf-8").splitlines()
    return dict(line.rsplit(": ", 1) for line in lines)


def audited(folder: Path, root: Path, names: dict[str, str]) -> Outcome:
    text = "".join(f"{digest}  {path}\n" for path, digest in names.items())
    (folder / "list.md5").write_text(text, encoding="utf-8")
    (folder / "promise.md5").write_text(text, encoding="utf-8")
    (folder / "studio.toml").write_text(STUDIO.replace("{at}", root.as_posix()), encoding="utf-8")
    return start("audit", folder / "studio.toml", "--json", "-", cwd=folder)


def agree(outcome: Outcome, said: dict[str, str]) -> dict[str, str]:
    """Hold an audit against md5sum; return the outcomes of what is not verified and not extra."""
    assert outcome.code in (0, 1), outcome.said
    (row,) = outcome.record["copies"]
    told = {file["path"]: file["outcome"] for file in row["files"] if file["outcome"] != "extra"}
    as_said = {"OK": None, "FAILED": "altered", "FAILED open or read": "missing"}
    different = {path: (words, told.get(path)) for path, words in said.items() if told.get(path) != as_said[words]}
    assert not different, f"{len(different)} lines differ: {list(different.items())[:10]}"
    assert told.keys() <= said.keys()
    assert row["counts"]["verified"] == sum(words == "OK" for words in said.values())
    return told


def test_a_part_of_a_debian_system_damaged_in_many_ways(tmp_path: Path) -> None:
    rng = random.Random(6)
    names = listed()
    drawn = rng.sample(sorted(names), min(4000, len(names)))  # to look at all of them takes longer than the audit
    small = [path for path in drawn if (at := Path("/usr") / path).is_file() and at.stat().st_size < 100_000]
    chosen = {path: names[path] for path in small[:1500]}
    root = tmp_path / "copy"
    for path in chosen:
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(Path("/usr") / path, root / path)
    damaged = rng.sample(sorted(chosen), 150)
    for number, path in enumerate(damaged):
        _damage(root / path, number % 5, rng)
    outcome = audited(tmp_path, root, chosen)
    told = agree(outcome, by_md5sum(root, tmp_path / "list.md5"))
    assert len(set(told) & set(damaged)) >= 110  # the rest was damaged to what it was; some files differ as they are
    assert {"altered", "missing"} == set(told.values())


def _damage(path: Path, how: int, rng: random.Random) -> None:
    data = path.read_bytes()
    if how == 0:
        path.unlink()
    elif how == 1:
        path.write_bytes(data[: len(data) // 2])
    elif how == 2:
        path.write_bytes(data + b"\n")
    elif data:
        at = rng.randrange(len(data))
        flipped = bytes([data[at] ^ (1 << rng.randrange(8))]) if how == 3 else bytes(1)
        path.write_bytes(data[:at] + flipped + data[at + 1 :])


@pytest.mark.deep
def test_a_whole_debian_system_line_by_line(tmp_path: Path) -> None:
    names = listed()
    assert len(names) > 1000
    outcome = audited(tmp_path, Path("/usr"), names)
    agree(outcome, by_md5sum(Path("/usr"), tmp_path / "list.md5"))
