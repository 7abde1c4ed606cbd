"""What people wrote down about their files: checksum lists and BagIt folders → names with digests.

Flows in: a path, a glob or a bag's folder, as a studio file names it. Flows out: one `Reading`: names merged by path,
and every mistake found. Must not know: copies, faults, which file a name stands for.
Facts: see `lists` (coreutils, xxhsum) and `bags` (RFC 8493).
"""

import glob
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from drill.errors import Mistake
from drill.manifests.bags import is_bag, read_bag
from drill.manifests.gathering import Gathering
from drill.manifests.lists import Role, format_list, kind_named, read_list, suffix, unsafe, write_list
from drill.manifests.same import Same
from drill.model import Listed

__all__ = ["Reading", "Role", "Same", "format_list", "kind_named", "read_manifest", "suffix", "unsafe", "write_list"]


@dataclass(frozen=True, slots=True)
class Reading:
    """What lists and bags say: names in order of first appearance, what is wrong with them, and what was read."""

    listed: Sequence[Listed]
    mistakes: tuple[Mistake, ...]
    warnings: tuple[str, ...]
    files: tuple[Path, ...]


def read_manifest(  # each says one thing of where and how
    pattern: str,
    *,
    base: Path,
    where: str,
    key: str,
    role: Role,
    same: Same | None = None,
    in_columns: bool = False,
) -> Reading:
    """Read every list and bag that a path or glob names, relative to `base`, merged by path.

    A "promise" must hold names that can be restored, and its bags must be valid in all but the payload's bytes; a
    "copy" keeps names as they stand. `where` and `key` (a studio file and its key) stand in mistakes about `pattern`
    itself; mistakes inside a list name it and the line. Raises nothing for bad content: all of it is in the `Reading`.
    What other lists said already is shared with them through `same`, and the same lists are not read a second time.
    With `in_columns` names take little memory, and are made anew each time they are looked at.
    """
    into = Gathering()
    found = _find(pattern, base)
    if not found:
        kind = "nothing matches" if glob.has_magic(pattern) else "there is nothing at"
        into.mistakes.append(
            Mistake(where, key, f"{kind} {pattern!r}", "name a checksum list, a glob or a BagIt folder")
        )
    files = [path for _, path in found]
    known = None if same is None else same.known(files, role)
    if known is not None:
        return Reading(known, (), (), tuple(files))
    for name, path in found:
        fault = _read_one(name, path, role=role, into=into)
        if fault is not None:
            into.mistakes.append(
                Mistake(where, key, f"{name} {fault}", "name a checksum list, a glob or a BagIt folder")
            )
    listed = into.rows(same) if in_columns else into.listed(same)
    # A bag is read anew: its names are others in a promise, and it has to be valid there.
    if same is not None and found and not (into.mistakes or into.warnings or any(path.is_dir() for path in files)):
        same.keep(files, role, listed)
    return Reading(listed, tuple(into.mistakes), tuple(into.warnings), tuple(into.files))


def _find(pattern: str, base: Path) -> list[tuple[str, Path]]:
    """Return what the pattern names, as (name for people, path); a path that is there wins over a glob's meaning."""
    if os.path.lexists(base / pattern):
        return [(pattern, base / pattern)]
    if not glob.has_magic(pattern) or "\0" in pattern:
        return []
    names = sorted(glob.glob(pattern, root_dir=base, recursive=True))  # noqa: PTH207  (Path.glob takes no absolute one)
    paths = [(name.replace(os.sep, "/"), base / name) for name in names]
    bags = {path for _, path in paths if is_bag(path)}
    # What lies inside a matched bag belongs to it; a plain folder between the lists is no list.
    return [
        (name, path)
        for name, path in paths
        if path in bags or not (path.is_dir() or any(parent in bags for parent in path.parents))
    ]


def _read_one(name: str, path: Path, *, role: Role, into: Gathering) -> str | None:
    """Read one list or bag; return what is wrong with it as a whole, or None."""
    try:
        if path.is_dir():
            if not is_bag(path):
                return "is a folder and no bag (it holds no bagit.txt)"
            read_bag(path, where=name, role=role, into=into)
        elif path.is_file():
            with path.open("rb") as file:
                read_list(file, where=name, role=role, into=into)
        else:
            return "is no file"  # a pipe or device would never end; a link may lead nowhere
    except OSError as error:
        return f"cannot be read ({error.strerror or error})"
    into.files.append(path)
    return None
