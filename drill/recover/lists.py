"""The checksum lists of what is back, one for each kind of digest, so that any checker can prove it again.

Flows in: what is back of a shoot. Flows out: lists in the folder. A list of somebody else's is never replaced.
Must not know: copies, plans.
"""

import os
from pathlib import Path

from drill.coverage import kinds_of
from drill.errors import Unfinished
from drill.manifests import format_list, suffix, write_list
from drill.model import Digest, Promised
from drill.recover.home import AS_PROMISED, Home
from drill.recover.waiting import Wanted


def write_lists(home: Home, shoot: str, files: list[Wanted]) -> tuple[str, ...]:
    """Write the lists of a shoot's files that are back; return their names in the folder. Errors: Unfinished."""
    names = []
    for kind in sorted(kinds_of(wanted.file for wanted in files if wanted.put is not None)):
        items = [
            (digest, wanted.put.path.relative_to(home.into).as_posix())
            for wanted in files
            if wanted.put is not None
            for digest in wanted.file.digests
            if digest.kind == kind
        ]
        try:
            target = home.into / f"{shoot}{suffix(kind)}"
            if not _may_replace(target, home, files, kind):
                target = home.into / f"{shoot}{AS_PROMISED}{suffix(kind)}"
                if not _may_replace(target, home, files, kind):
                    raise Unfinished(f"{target} is there already and no list of ours; move it away and run again")
            aside = home.fresh("list")
            write_list(aside, items)
            aside.replace(target)
        except OSError as error:
            raise Unfinished(f"the list {shoot}{suffix(kind)} cannot be written: {error.strerror}") from error
        home.made.add(home.into)
        names.append(target.name)
    return tuple(names)


def _lines(home: Home, files: list[Wanted], kind: str) -> frozenset[bytes]:
    """Return every line that any list of this shoot and kind can have, wherever its files stand."""
    lines: set[bytes] = set()
    for wanted in files:
        for digest in wanted.file.digests:
            if digest.kind == kind:
                lines.update(_line(digest, home, wanted.shoot, wanted.number, wanted.file))
    return frozenset(lines)


def _line(digest: Digest, home: Home, shoot: str, number: int, file: Promised) -> list[bytes]:
    names = home.names(shoot, number, file.path)
    return [format_list([(digest, name.relative_to(home.into).as_posix())]) for name in names]


def _may_replace(target: Path, home: Home, files: list[Wanted], kind: str) -> bool:
    """Say whether nothing would be lost: no file there, or a list with no line but those that ours can have."""
    if not os.path.lexists(target):
        return True
    if target.is_symlink() or not target.is_file():
        return False
    ours = _lines(home, files, kind)
    with target.open("rb") as file:
        return all(line in ours for line in file)
