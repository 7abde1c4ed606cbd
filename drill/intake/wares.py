"""Wares: every file on the media that may be promised, with what reading it showed; and what is left out, and why.

Flows in: opened copies, the checksum lists that lie on them, readings. Flows out: wares, what lists claim, counts of
what is left out. Must not know: shoots.

A picture's file that is empty, or nothing but zeros or ones, is no reading of anything: it was made and never filled.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import xxhash

from drill import naming
from drill.copies import ARCHIVES, archive_format
from drill.coverage import WEAK
from drill.manifests import read_manifest
from drill.model import Digest, Entry, Problem, Seen
from drill.naming import Nature
from drill.shelf import OpenCopy, State

PICTURES = frozenset({Nature.RAW, Nature.PICTURE, Nature.VIDEO, Nature.SOUND, Nature.LAYERED})
PART = 8  # bytes of one part's digest in Seen.parts
PARTS = 16
_BLOCK = 1 << 16
_TAGS = re.compile(r"(?:bagit|bag-info|fetch|tagmanifest-[a-z0-9-]+|manifest-[a-z0-9-]+)\.txt", re.IGNORECASE)


@dataclass(frozen=True, slots=True, eq=False)
class Ware:
    """One file on one copy: its folders from the medium's top, its name, and what was seen when it was read.

    Compared by identity: it is a key in many tables.
    """

    copy: str
    medium: str
    entry: Entry
    folders: tuple[str, ...]
    name: str
    nature: Nature
    seen: Seen
    delivery: bool

    @property
    def is_picture(self) -> bool:
        """Say whether it is a picture, a film or a sound, in distinction from what goes with one."""
        return self.nature in PICTURES


@dataclass(frozen=True, slots=True)
class Claimed:
    """What a list that lies on a copy says of one name: the name as written, where that is on the copy, its digests."""

    list: str
    copy: str
    name: str
    path: str
    digests: tuple[Digest, ...]


@dataclass(slots=True)
class Candidates:
    """What one copy offers before anything is read: files to read, what lists claim, bags, and what is left out."""

    entries: list[Entry] = field(default_factory=list)
    claimed: list[Claimed] = field(default_factory=list)
    bags: set[tuple[str, ...]] = field(default_factory=set)
    left_out: Counter[str] = field(default_factory=Counter)
    notes: list[str] = field(default_factory=list)


def candidates(found: OpenCopy) -> Candidates:
    """Sort one copy's files into what is read and what is left out, and read the lists that lie among them."""
    into = Candidates()
    if found.state is not State.HERE:
        return into
    bag_folders = {_folder(e.path) for e in found.entries if e.path.rpartition("/")[2].lower() == "bagit.txt"}
    into.bags = {(*_top(found), *(folder.split("/") if folder else ())) for folder in bag_folders}
    lists: list[Entry] = []
    for entry in found.entries:
        what = _reason_to_leave_out(found, entry, bag_folders)
        if what is None:
            into.entries.append(entry)
        else:
            into.left_out[what] += 1
            if what == "checksum lists":
                lists.append(entry)
    _read_lists(found, lists, into)
    return into


def _reason_to_leave_out(found: OpenCopy, entry: Entry, bags: set[str]) -> str | None:
    dropping = naming.dropping(entry.path)
    if dropping is not None:
        return dropping
    name = entry.path.rpartition("/")[2]
    nature = naming.nature(entry.path)
    folder = _folder(entry.path)
    if folder in bags and _TAGS.fullmatch(name):
        return "checksum lists" if name.lower().startswith("manifest-") else "files of a bag's own"
    if nature is Nature.LIST:
        return "checksum lists"
    if nature is Nature.ARCHIVE:
        if found.copy.archive is not None or archive_format(name) is None:
            return f"archives that are not read here (read: {' '.join(ARCHIVES)})"
        named = is_text(entry.path)
        return "archives (each is a copy of its own)" if named else "archives that are not read: give them plain names"
    return None


def is_text(path: str) -> bool:
    """Say whether a path is valid text, so that a studio file can name it."""
    try:
        path.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def _read_lists(found: OpenCopy, lists: Sequence[Entry], into: Candidates) -> None:
    root = found.copy.at
    if not lists:
        return
    if root is None or found.copy.archive is not None:
        into.notes.append(f"{found.copy.id}: {len(lists)} checksum lists inside the archive are not used")
        return
    for entry in lists:
        shown = f"{found.copy.id}: {entry.path}"
        reading = read_manifest(entry.path, base=root, where=shown, key="", role="copy")
        if reading.mistakes or not reading.listed:
            why = str(reading.mistakes[0]) if reading.mistakes else f"{shown}: it lists nothing"
            into.notes.append(f"not used as a list: {why}")
            continue
        folder = _folder(entry.path)
        prefix = f"{folder}/" if folder else ""
        into.claimed.extend(
            Claimed(shown, found.copy.id, item.path, prefix + item.path, item.digests)
            for item in reading.listed
            if naming.dropping(item.path) is None and any(digest.kind not in WEAK for digest in item.digests)
        )


def wares(
    found: OpenCopy,
    chosen: Candidates,
    readings: Mapping[tuple[str, str, int], Seen | Problem],
    *,
    kinds: Collection[str],
) -> Iterator[Ware | tuple[Entry, Problem]]:
    """Give each file of a copy with what reading it showed, or the problem that there was.

    Digests of other than these `kinds`, which the ledger may know of some files, are dropped: equal bytes must have
    equal digests.
    """
    top = _top(found)
    for entry in chosen.entries:
        seen = readings.get((found.copy.id, entry.path, entry.index))
        if isinstance(seen, Problem):
            yield entry, seen
        elif seen is not None:
            *folders, name = entry.path.split("/")
            every = (*top, *_without_payload(folders, chosen.bags))
            delivery = any(naming.is_delivery(folder) for folder in every)
            nature = naming.nature(entry.path)
            if nature is Nature.OTHER and naming.dcf_file(name) is not None and naming.on_a_card(entry.path):
                nature = Nature.RAW  # a camera made it, whatever its ending
            if any(digest.kind not in kinds for digest in seen.digests):
                seen = seen._replace(digests=tuple(digest for digest in seen.digests if digest.kind in kinds))
            yield Ware(found.copy.id, found.medium.id, entry, every, name, nature, seen, delivery)


def _without_payload(folders: Sequence[str], bags: Collection[tuple[str, ...]]) -> tuple[str, ...]:
    """Return folders without the one in which a bag keeps its payload (RFC 8493): promised paths have no `data/`."""
    for n, name in enumerate(folders):
        if name == "data" and tuple(folders[:n]) in bags:
            return (*folders[:n], *folders[n + 1 :])
    return tuple(folders)


def _top(found: OpenCopy) -> tuple[str, ...]:
    """Return the folder that an archive stands for: its own name, unless all in it lies in one folder anyway."""
    if found.copy.archive is None:
        return ()
    tops = {entry.path.split("/")[0] for entry in found.entries if "/" in entry.path}
    loose = any("/" not in entry.path and naming.nature(entry.path) in PICTURES for entry in found.entries)
    if tops and not loose and not all(naming.is_part(t) for t in tops):
        return ()
    name = found.copy.at.name if found.copy.at is not None else (found.copy.url or "").split("?")[0].rpartition("/")[2]
    return (name[: -len(archive_format(name) or "")] or name,)


def is_hollow(seen: Seen) -> bool:
    """Say whether a file is empty or, from 4 KiB on, nothing but zeros or ones."""
    if not seen.size:
        return True
    ends = [seen.size * number // PARTS for number in range(PARTS + 1)]
    parts = {
        (end - begin, seen.parts[n * PART : (n + 1) * PART])
        for n, (begin, end) in enumerate(pairwise(ends))
        if seen.parts
    }
    if not parts or len(parts) > 2:  # sixteenths are of two lengths at most
        return False
    return any(all(_filled(length, byte) == part for length, part in parts) for byte in (b"\0", b"\xff"))


def _filled(length: int, byte: bytes) -> bytes:
    """Return the digest of a sixteenth that is one byte over and over (see `drill.model.Seen`)."""
    whole, rest = divmod(length, _BLOCK)
    made = xxhash.xxh3_64()
    for _ in range(whole):
        made.update(byte * _BLOCK)
    made.update(byte * rest)
    return made.digest()


def by_copy(items: Iterable[Ware]) -> dict[str, list[Ware]]:
    """Return wares by the copy they are on."""
    found: dict[str, list[Ware]] = defaultdict(list)
    for ware in items:
        found[ware.copy].append(ware)
    return dict(found)
