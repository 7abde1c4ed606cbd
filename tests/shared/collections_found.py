"""Collections of pictures for tests: small ones made here, and real ones that nobody here arranged.

Flows in: a folder to lay them out in. Flows out: files, and what is true of them by other means than the program's
(hashlib, Pillow, tomllib). It must not import the program.
"""

import hashlib
import io
import os
import random
import shutil
import tarfile
import tomllib
import zipfile
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Any

import pytest
from PIL import Image

# A folder with source packages as `pip download --no-binary :all:` fetches them, or with pictures.
REAL = "DRILL_REAL_PICTURES"
_SYSTEM = (Path("/usr/share/backgrounds"), Path("/usr/share/wallpapers"))
PICTURE_ENDINGS = frozenset(
    (".avif", ".bmp", ".gif", ".jp2", ".jpeg", ".jpg", ".mpo", ".png", ".ppm", ".tga", ".tif", ".tiff", ".webp")
)
_TAKEN = PICTURE_ENDINGS | {".tar", ".xmp"}
_MOST_BYTES = 2_000_000  # of one file: enough of a photograph, and quick to read some times over


def jpeg(number: int, taken: datetime | None = None, *, size: tuple[int, int] = (64, 48), camera: str = "") -> bytes:
    """Return a JPEG whose pixels `number` decides, with Exif where a time or a camera is given."""
    pixels = random.Random(number).randbytes(size[0] * size[1] // 4)
    exif = Image.Exif()
    if camera:
        exif[0x010F], exif[0x0110] = camera.partition(" ")[0], camera  # Make, Model
    if taken is not None:
        exif.get_ifd(0x8769)[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")  # DateTimeOriginal
    out = io.BytesIO()
    picture = Image.frombytes("L", (size[0] // 2, size[1] // 2), pixels).resize(size)
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()


def put(path: Path, content: bytes) -> Path:
    """Write one file and the folders above it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path


def sha256(path: Path) -> str:
    """Return a file's SHA-256 by hashlib."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def walk(root: Path) -> Iterator[Path]:
    """Give every ordinary file below a folder."""
    for folder, folders, names in os.walk(root):
        folders.sort()
        for name in sorted(names):
            path = Path(folder, name)
            if path.is_file() and not path.is_symlink():
                yield path


def written(folder: Path) -> dict[str, Any]:
    """Return the studio file that lies in a folder, parsed."""
    return tomllib.loads((folder / "studio.toml").read_text(encoding="utf-8"))


def promised(folder: Path, kind: str) -> dict[str, dict[str, str]]:
    """Return what plain lists of `kind` promise: by shoot, path → hex digest. Names with escapes are not for here."""
    found: dict[str, dict[str, str]] = {}
    for shoot in written(folder)["shoots"]:
        lines = (folder / "manifests" / f"{shoot['id']}.{kind}").read_text(encoding="utf-8").splitlines()
        assert not any(line.startswith("\\") for line in lines)
        found[shoot["id"]] = {line.split("  ", 1)[1]: line.split("  ", 1)[0] for line in lines}
    return found


def wallpapers(into: Path) -> Path:
    """Copy the machine's wallpapers into a folder; skips the test where there are none."""
    pictures = [p for root in _SYSTEM for p in walk(root) if p.suffix.lower() in PICTURE_ENDINGS]
    if not any(path.suffix.lower() in (".jpg", ".jpeg") for path in pictures):
        pytest.skip(f"no photographs in {_SYSTEM[0]} or {_SYSTEM[1]}: install the package lomiri-wallpapers-16.04")
    for path in pictures:
        if path.stat().st_size <= _MOST_BYTES:
            put(into / Path(*path.parts[3:]), path.read_bytes())
    return into


def odd_pictures(into: Path) -> Path:
    """Lay out the test pictures of the source packages in the folder that the variable REAL names; skips without."""
    where = os.environ.get(REAL)
    if not where or not Path(where).is_dir():
        pytest.skip(f"{REAL} names no folder with source packages (pip download --no-binary :all: --no-deps pillow)")
    for path in sorted(Path(where).iterdir()):
        if path.name.endswith(".tar.gz"):
            with tarfile.open(path) as packed:
                for member in packed:
                    wanted = member.isfile() and member.size <= _MOST_BYTES and _wanted(member.name)
                    if wanted and (content := packed.extractfile(member)):
                        put(into / _place(path, member.name), content.read())
        elif path.suffix == ".zip":
            with zipfile.ZipFile(path) as zipped:
                for name in filter(_wanted, zipped.namelist()):
                    put(into / _place(path, name), zipped.read(name))
        elif path.suffix.lower() in _TAKEN:
            shutil.copyfile(path, put(into / path.name, b""))
    if not any(walk(into)):
        pytest.skip(f"{REAL} names a folder without pictures")
    return into


def _wanted(name: str) -> bool:
    parts = PurePosixPath(name).parts
    inside = "images" in parts and "tests" in map(str.lower, parts)
    return inside and ".." not in parts and PurePosixPath(name).suffix.lower() in _TAKEN


def _place(package: Path, name: str) -> Path:
    parts = PurePosixPath(name).parts
    return Path(package.name.split("-")[0], *parts[parts.index("images") + 1 :])


def opening(paths: Iterable[Path]) -> list[Path]:
    """Return those files that Pillow recognises as pictures."""
    found = []
    for path in paths:
        try:
            with Image.open(path):
                found.append(path)
        except Exception:  # Pillow raises many things over damaged headers
            continue
    return found


def exif_time(path: Path) -> datetime | None:
    """Return DateTimeOriginal, else DateTimeDigitized, as Pillow reads it; None for what is no plain Exif date."""
    try:
        with Image.open(path) as picture:
            block = picture.getexif()
            inner = block.get_ifd(0x8769)
    except Exception:  # as above
        return None
    for tag in (0x9003, 0x9004):
        value = inner.get(tag) or block.get(tag)  # some writers put it into the first directory
        if isinstance(value, str):
            try:
                return datetime.strptime(value.strip("\0 "), "%Y:%m:%d %H:%M:%S")
            except ValueError:
                continue
    return None
