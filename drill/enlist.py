"""Making the lists that are missing: every copy without one is read once, and what it holds is written down.

Flows in: a studio, settings. Flows out: lists as bytes, and the studio file's text with a `manifest` key for each; it
writes nothing but the ledger. Must not know: promises, terminals. A list says what a copy held when it was read: it
makes later changes visible, and proves nothing about the time before.
"""

import os
import re
import tomllib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from drill import naming
from drill.copies import LinkSession
from drill.coverage import WEAK
from drill.ledger import Ledger
from drill.manifests import format_list, suffix
from drill.model import Copy, Digest, Entry, Problem, Studio
from drill.naming import Nature
from drill.reading import Job, Readings, read_files
from drill.shelf import OpenCopy, State, open_copy

MANIFESTS = "manifests"
FASTEST = "xxh128"
_HEADER = re.compile(r"[ \t]*\[\[[ \t]*copies[ \t]*\]\]")


@dataclass(frozen=True, slots=True)
class MadeList:
    """A list that was missing: for which copy, under which `manifest` key, its bytes, and what could not be read."""

    copy: str
    key: str
    kind: str
    content: bytes
    files: int
    bytes: int
    unread: tuple[str, ...]
    at: Path | None  # the copy's folder, where it has one


@dataclass(frozen=True, slots=True)
class Made:
    """What was made, what was passed over and why, and how many bytes were read (not known already) in how long."""

    lists: tuple[MadeList, ...]
    passed_over: tuple[str, ...]
    bytes_read: int
    took_s: float


def make_lists(
    studio: Studio, *, kind: str | None, ledger: Ledger, now: datetime, progress: Callable[[str], None]
) -> Made:
    """Read every copy without a list that can be read. Errors: Unfinished, KeyboardInterrupt; readings are kept."""
    kind = kind or usual_kind(studio)
    opened, passed_over = _without_list(studio, progress)
    others = {os.path.realpath(copy.at) for copy in studio.copies if copy.at is not None}
    wanted = {found.copy.id: _worth_listing(found, others) for found in opened}
    jobs = [Job(found, entry) for found in opened for entry in wanted[found.copy.id]]
    read = read_files(jobs, kinds=[kind], ledger=ledger, now=now, progress=progress, with_capture=False)
    taken = {path.name for path in (studio.file.parent / MANIFESTS).glob("*")}
    lists = []
    for found in opened:
        name = _unused(f"on-{found.copy.id}", kind, taken)
        taken.add(name)
        lists.append(_list_of(found, wanted[found.copy.id], read, kind=kind, name=name))
    empty = [made.copy for made in lists if not made.files]
    passed_over += [f"{id_}: no file on it could be listed" for id_ in empty]
    return Made(tuple(made for made in lists if made.files), tuple(passed_over), read.bytes_read, read.took_s)


def usual_kind(studio: Studio) -> str:
    """Return the kind to make lists of: the fastest, unless promised files lack it; else the one most of them have.

    A list that shares no kind with a promise is matched by name, and names are no identity.
    """
    files = [file for shoot in studio.shoots for file in shoot.promise]
    kinds = Counter(digest.kind for file in files for digest in file.digests if digest.kind not in WEAK)
    if kinds[FASTEST] == len(files):
        return FASTEST
    return max(kinds, key=lambda kind: (kinds[kind], kind), default=FASTEST)


def _without_list(studio: Studio, progress: Callable[[str], None]) -> tuple[list[OpenCopy], list[str]]:
    opened: list[OpenCopy] = []
    passed_over: list[str] = []
    session = LinkSession()
    try:
        for copy in studio.copies:
            if copy.listed is not None:
                continue
            if copy.at is None:
                why = "a link is not downloaded for this" if copy.url is not None else "it cannot be read from here"
                passed_over.append(f"{copy.id}: {why}")
                continue
            progress(f"opening {copy.id}")
            found = open_copy(copy, studio.media[copy.on], session=session, downloads=studio.file.parent)
            if found.is_damaged:
                passed_over.append(f"{copy.id}: it is damaged, and a list would call that right: {found.reason}")
            elif found.state is State.HERE:
                opened.append(found)
            else:
                passed_over.append(f"{copy.id}: {found.reason}")
    finally:
        session.close()
    return opened, passed_over


def _worth_listing(found: OpenCopy, others: set[str]) -> list[Entry]:
    """Leave out what systems leave behind, lists themselves, and archives that are copies of their own."""
    root = found.copy.at
    kept = []
    for entry in found.entries:
        if naming.dropping(entry.path) is not None:
            continue
        nature = naming.nature(entry.path)
        own_copy = (
            nature is Nature.ARCHIVE
            and root is not None
            and found.copy.archive is None
            and os.path.realpath(root / entry.path) in others
        )
        if nature is not Nature.LIST and not own_copy:
            kept.append(entry)
    return kept


def _unused(stem: str, kind: str, taken: set[str]) -> str:
    number, name = 1, f"{stem}{suffix(kind)}"
    while name in taken:
        number += 1
        name = f"{stem}-{number}{suffix(kind)}"
    return name


def _list_of(found: OpenCopy, entries: Sequence[Entry], read: Readings, *, kind: str, name: str) -> MadeList:
    lines: list[tuple[Digest, str]] = []
    unread: list[str] = []
    size = 0
    for entry in entries:
        seen = read.get((found.copy.id, entry.path, entry.index))
        if isinstance(seen, Problem):
            unread.append(f"{entry.path} ({seen.detail})")
        elif seen is not None:
            size += seen.size
            lines.append((next(d for d in seen.digests if d.kind == kind), entry.path))
    names = Counter(name for _, name in dict.fromkeys(lines))
    unread += [f"the folder {folder}" for folder in found.unlisted]
    twice = {name for name, count in names.items() if count > 1}  # in an archive: no list can hold both
    unread += [f"{name} (there twice with other bytes)" for name in sorted(twice)]
    lines = [line for line in dict.fromkeys(lines) if line[1] not in twice]
    at = found.copy.at if found.copy.archive is None else None
    key = f"{MANIFESTS}/{name}"
    return MadeList(found.copy.id, key, kind, format_list(lines), len(lines), size, tuple(unread), at)


def with_manifest_keys(text: str, copies: Sequence[Copy], lists: Sequence[MadeList]) -> str | None:
    """Return a studio file's text in which each copy names its new list; all else stays. None: it cannot be done.

    Every way is checked by reading the text back: nothing but the new keys may differ.
    """
    keys = {made.copy: made.key for made in lists}
    wanted = {number: keys[copy.id] for number, copy in enumerate(copies) if copy.id in keys}
    expected = tomllib.loads(text)
    for number, key in wanted.items():
        expected["copies"][number]["manifest"] = key
    for way in (_below_headers, _by_library):
        with suppress(TOMLKitError, tomllib.TOMLDecodeError, KeyError, IndexError, TypeError, AttributeError):
            changed = way(text, wanted)
            if tomllib.loads(changed) == expected:
                return changed
    return None


def _below_headers(text: str, wanted: Mapping[int, str]) -> str:
    """Put each key on a line of its own right below its table's [[copies]]: byte for byte, nothing else changes."""
    lines = text.splitlines(keepends=True)
    headers = [n for n, line in enumerate(lines) if _HEADER.match(line)]
    for number, key in sorted(wanted.items(), reverse=True):
        at = headers[number]
        end = "\r\n" if lines[at].endswith("\r\n") else "\n"
        lines[at] = lines[at].rstrip("\r\n") + end
        lines.insert(at + 1, f'manifest = "{key}"{end}')
    return "".join(lines)


def _by_library(text: str, wanted: Mapping[int, str]) -> str:
    """Set the keys where copies are written as inline tables; comments stay."""
    document: Any = tomlkit.parse(text)
    for number, key in wanted.items():
        document["copies"][number]["manifest"] = key
    return tomlkit.dumps(document)
