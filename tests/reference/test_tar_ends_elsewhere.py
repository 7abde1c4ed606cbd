"""A tar with zeros in the place of a header, as people's programs read it: they end there without an error.

Judges: GNU tar with and without --ignore-zeros, 7-Zip, Python's tarfile.
"""

import io
import subprocess
import tarfile
from pathlib import Path

import pytest
from packing import pictures, program

from drill.copies import file_store, list_archive

pytestmark = pytest.mark.outside


def _run(*command: str | Path) -> tuple[int, list[str]]:
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout.splitlines()


@pytest.mark.parametrize("size", [512, 4096])
def test_other_programs_end_at_zeros_and_the_listing_says_where(size: int, tmp_path: Path) -> None:
    tree = pictures(tmp_path / "tree", seed=93)
    path = tmp_path / "a.tar"
    assert _run(program("tar"), "-C", tree, "-cf", path, ".")[0] == 0
    content = bytearray(path.read_bytes())
    with tarfile.open(fileobj=io.BytesIO(content)) as whole:
        files = [member for member in whole.getmembers() if member.isreg()]
    place = files[len(files) // 2].offset // size * size
    content[place : place + size] = bytes(size)
    path.write_bytes(content)
    found = list_archive(file_store(path), ".tar", None)
    ours = [entry.path for entry in found.entries]
    assert found.damage and found.others is not None and 0 < found.others < len(ours)
    code, seen = _run(program("tar"), "-tf", path)
    assert code == 0 and [name.removeprefix("./") for name in seen if not name.endswith("/")] == ours[: found.others]
    code, seen = _run(program("7zz"), "l", "-ba", "-slt", path)
    named = {line.removeprefix("Path = ").removeprefix("./") for line in seen if line.startswith("Path = ")}
    assert code == 0 and named & set(ours) == set(ours[: found.others])
    with tarfile.open(path) as standard:
        assert [m.name.removeprefix("./") for m in standard.getmembers() if m.isreg()] == ours[: found.others]
    _, seen = _run(program("tar"), "-i", "-tf", path)
    assert [name.removeprefix("./") for name in seen if not name.endswith("/")] == ours
