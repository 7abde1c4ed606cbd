"""Archives of every kind as people's programs make them, of files as photographers have them, for tests of damage.

Programs: 7-Zip (`7zz`), Info-ZIP (`zip`), GNU tar, gzip, xz, zstd. What is missing skips the test with a reason.
"""

import random
import shutil
import subprocess
from pathlib import Path

import pytest

PASSWORD = "reed"
PROGRAMS = {
    "solid.7z": ["7zz", "a", "-bd"],
    "fastest.7z": ["7zz", "a", "-bd", "-mx=1"],
    "blocks.7z": ["7zz", "a", "-bd", "-ms=512k"],
    "single.7z": ["7zz", "a", "-bd", "-ms=off"],
    "stored.7z": ["7zz", "a", "-bd", "-mx=0"],
    "secret.7z": ["7zz", "a", "-bd", f"-p{PASSWORD}"],
    "secret-names.7z": ["7zz", "a", "-bd", f"-p{PASSWORD}", "-mhe=on"],
    "deflated.zip": ["zip", "-q", "-r"],
    "stored.zip": ["zip", "-q", "-0", "-r"],
    "by-7-zip.zip": ["7zz", "a", "-bd"],
    "plain.tar": ["tar", "-cf"],
    "gz.tar.gz": ["tar", "-czf"],
    "xz.tar.xz": ["tar", "-I", "xz -T2 --block-size=256KiB", "-cf"],
    "zst.tar.zst": ["tar", "-I", "zstd -q", "-cf"],
}


def program(name: str) -> str:
    """Return a program of this machine, or skip."""
    found = shutil.which(name) or (shutil.which("7z") if name == "7zz" else None)
    if found is None:
        pytest.skip(f"the program {name} is not on this machine")
    return found


def pictures(folder: Path, *, seed: int) -> Path:
    """Lay out raws that do not shrink, scans that do, and sidecars, of about 3 MB in all; none of them empty."""
    rng = random.Random(seed)
    folder.mkdir()
    for number in range(20):
        (folder / f"R{number:04}.nef").write_bytes(rng.randbytes(rng.randrange(40_000, 200_000)))
        (folder / f"R{number:04}.xmp").write_bytes(b"<x:xmpmeta n='%d'/>\n" % number * (40 + number))
    for number in range(4):
        runs = (bytes([rng.randrange(40)]) * rng.randrange(3, 60) for _ in range(5000))
        (folder / f"S{number:04}.tif").write_bytes(b"".join(runs))
    return folder


def pack(kind: str, tree: Path, to: Path) -> Path:
    """Pack a folder as one of PROGRAMS does."""
    name, *options = PROGRAMS[kind]
    subprocess.run([program(name), *options, to, "."], cwd=tree, check=True, capture_output=True, timeout=60)
    return to


def unpack(name: str, archive: Path, to: Path) -> None:
    """Have a program unpack what it can of an archive, which may be damaged."""
    commands = {
        "7zz": ["x", "-bd", "-y", f"-p{PASSWORD}", archive],
        "unzip": ["-q", "-o", archive],
        "tar": ["-xf", archive],
    }
    shutil.rmtree(to, ignore_errors=True)
    to.mkdir()
    subprocess.run([program(name), *commands[name]], cwd=to, check=False, capture_output=True, timeout=60)


def whole(tree: Path, unpacked: Path) -> set[str]:
    """Return the files that came out byte for byte."""
    names = (path.name for path in tree.iterdir())
    return {n for n in names if (unpacked / n).is_file() and (unpacked / n).read_bytes() == (tree / n).read_bytes()}
