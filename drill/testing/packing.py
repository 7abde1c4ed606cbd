"""Files written as one copy: in a folder, or packed as one archive.

Flows in: bytes by path. Flows out: files on disk. Must not know: studios, which of it is promised.
"""

import io
import tarfile
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

import py7zr

_TARS: Mapping[str, Literal["w", "w:gz", "w:xz"]] = {".tar": "w", ".tar.gz": "w:gz", ".tar.xz": "w:xz"}
ARCHIVES = (".7z", ".zip", *_TARS)


def lay_folder(root: Path, files: Mapping[str, bytes]) -> None:
    """Write files below a folder."""
    for path, data in files.items():
        target = root / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)


def pack(archive: Path, form: str, files: Mapping[str, bytes]) -> None:
    """Write files into one archive of a form in ARCHIVES, in order of their names."""
    if form == ".7z":
        with py7zr.SevenZipFile(archive, "w") as packed:
            for path, data in sorted(files.items()):
                packed.writestr(data, path)
    elif form == ".zip":
        with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as zipped:
            for path, data in sorted(files.items()):
                zipped.writestr(path, data)
    else:
        with tarfile.open(archive, _TARS[form]) as tar:
            for path, data in sorted(files.items()):
                about = tarfile.TarInfo(path)
                about.size = len(data)
                tar.addfile(about, io.BytesIO(data))
