"""A census of what is on disk: path, size, time of change, mode and content of everything below given roots.

Flows in: folders. Flows out: a value that is equal before and after exactly when nothing was touched.
It must not know what is kept there, nor the program under test. Content digests are hashlib's.
"""

import hashlib
import os
import stat
from pathlib import Path
from typing import NamedTuple


class Counted(NamedTuple):
    """One file, folder or link: its size, mtime in ns, mode bits, and its content's digest (a link's target)."""

    size: int
    mtime_ns: int
    mode: int
    content: str


def _one(path: Path) -> Counted:
    facts = path.lstat()
    if stat.S_ISLNK(facts.st_mode):
        content = os.fspath(path.readlink())
    elif stat.S_ISDIR(facts.st_mode):
        content = "\0".join(sorted(inner.name for inner in path.iterdir()))
    else:
        content = hashlib.sha256(path.read_bytes()).hexdigest()
    # A folder's size is the file system's own affair; its names are in `content`.
    size = 0 if stat.S_ISDIR(facts.st_mode) else facts.st_size
    return Counted(size, facts.st_mtime_ns, facts.st_mode, content)


def census(*roots: Path) -> dict[str, Counted]:
    """Count everything at and below `roots`; symbolic links are counted, never followed."""
    found: dict[str, Counted] = {}
    for root in roots:
        for path in [root, *root.rglob("*")]:
            found[os.fspath(path)] = _one(path)
    return found


def files_below(root: Path) -> list[str]:
    """Return the paths (with `/`) of all files below `root`, sorted; none where it is not there."""
    return sorted(path.relative_to(root).as_posix() for path in root.rglob("*") if not path.is_dir())
