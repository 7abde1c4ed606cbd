"""BagIt folders: the payload manifests of a bag → names with digests, and what makes the bag invalid.

Flows in: a bag's folder. Flows out: names, digests, sizes and mistakes into a `Gathering`. Must not know: copies,
faults, nor the payload's bytes, which are never read: whether they are there and right is for others to find.
Facts: RFC 8493 (section numbers stand beside the checks); before version 1.0 less is required (its section 3, item 4).
"""

import hashlib
import os
import re
import unicodedata
from collections.abc import Iterator
from pathlib import Path

from drill.manifests.bagfiles import (
    Bag,
    Unsound,
    bag_path,
    digest_of,
    inside,
    manifest_lines,
    payload_name,
    read_declaration,
    tag_lines,
)
from drill.manifests.gathering import Gathering
from drill.manifests.lists import MOST_NAMES, Role, kind_named, shown, unsafe
from drill.model import Digest

_MANIFEST = re.compile(r"(tag)?manifest-([A-Za-z0-9_.-]+)\.txt")
_FETCH = re.compile(r"([A-Za-z][A-Za-z0-9+.-]*:\S+)[ \t]+([0-9]{1,18}|-)[ \t]+(.+)", re.DOTALL)
_OXUM = re.compile(r"([0-9]{1,18})\.([0-9]{1,18})")
_DROPPING = re.compile(r"(?:.*/)?(?:\.DS_Store|Thumbs\.db|\._[^/]*)", re.DOTALL)
_HASHED = ("md5", "sha1", "sha224", "sha256", "sha384", "sha512", "blake2b")


def is_bag(folder: Path) -> bool:
    """Say whether a folder claims to be a bag: it holds a bagit.txt."""
    return os.path.lexists(folder / "bagit.txt") and folder.is_dir()


def read_bag(folder: Path, *, where: str, role: Role, into: Gathering) -> None:
    """Read a bag's payload manifests into a gathering, and note what makes the bag invalid.

    A promise drops `data/` from its names, and every defect but the payload's own is a mistake. A copy keeps `data/`;
    what keeps its manifests from being read is a mistake, all else a warning. Errors: OSError where the folder itself
    cannot be read.
    """
    bag = Bag(folder, where, role, into)
    present = sorted(entry.name for entry in folder.iterdir())
    read_declaration(bag)
    found = [(name, match) for name in present if (match := _MANIFEST.fullmatch(name))]
    bag.manifests = [name for name, match in found if not match[1]]
    known = [_read_payload_manifest(bag, name, bit) for bit, name in enumerate(bag.manifests)]
    bag.broken = any(name in bag.complaints for name in bag.manifests)
    if not any(known):
        bag.wrong("", "", "has no payload manifest whose digests are read here", "add a manifest-sha512.txt")
    elif not bag.masks and not bag.broken:
        bag.wrong("", "", "lists nothing", "write the bag's manifests again, or leave it out")
    sizes = _read_fetch(bag) if "fetch.txt" in present else {}
    if role == "promise":
        _check_lists_agree(bag)
        on_disk = _check_payload_listed(bag)
        if "bag-info.txt" in present:
            _check_oxum(bag, on_disk=on_disk, sizes=sizes)
        for name in (name for name, match in found if match[1]):
            _check_tag_manifest(bag, name)
    for complaints in bag.complaints.values():
        into.mistakes.extend(complaints.all())


# --- payload manifests ------------------------------------------------------------------------------------------------


def _read_payload_manifest(bag: Bag, name: str, bit: int) -> bool:
    """Read one payload manifest; say whether its digests are of a known kind."""
    kind = kind_named(name[len("manifest-") : -len(".txt")])
    if kind is None:
        bag.warn(name, "its digests are of a kind that is not read here; only its names are")
    base = bag.into.open_list(f"{bag.where}/{name}")
    repeated = 0
    for count, (number, text, path) in enumerate(manifest_lines(bag, name), 1):
        if count > MOST_NAMES:
            bag.wrong(name, f"line {number}", f"more than {MOST_NAMES:,} names in one manifest", "split the bag")
            break
        try:
            plain = payload_name(path)
            digest = digest_of(kind, text)
            before = bag.masks.get(path, 0)
            repeated += before >> bit & 1
            bag.masks[path] = before | 1 << bit
            if digest is not None:
                _take(bag, plain if bag.role == "promise" else path, digest=digest, place=base + number)
        except Unsound as fault:
            bag.wrong(name, f"line {number}", *fault.args)
    if repeated:
        bag.warn(name, f"names listed more than once, with the same digest: {repeated}")
    return kind is not None


def _take(bag: Bag, path: str, *, digest: Digest, place: int) -> None:
    earlier = bag.into.add(path, digest, place)
    if earlier is not None:
        raise Unsound(f"{shown(path)} has another {digest.kind} on {earlier}", "keep the line that is right")


def _check_lists_agree(bag: Bag) -> None:
    """From 1.0, every payload manifest lists the same files (2.1.3, 3); names that look alike are warned of."""
    if bag.broken:
        return
    every = bag.every
    for path, mask in bag.masks.items():
        if mask != every and bag.strict:
            lacking = next(name for bit, name in enumerate(bag.manifests) if not mask >> bit & 1)
            bag.wrong(lacking, "", f"does not list {shown(path)}, which another manifest lists")
        elif mask != every and path[5:] not in bag.into.index:
            bag.wrong("", "", f"{shown(path)} has no digest of a kind that is read here")
    alike: dict[str, str] = {}
    twins = [path for path in bag.masks if alike.setdefault(_plain(path).casefold(), path) != path]
    if twins:  # 6.1.1.3
        first = alike[_plain(twins[0]).casefold()]
        bag.warn(
            "", f"names that differ only in case or in how accents are written: {len(twins)}, the first {shown(first)}"
        )


def _plain(path: str) -> str:
    return unicodedata.normalize("NFC", path)


# --- what lies in the folder ------------------------------------------------------------------------------------------


def _payload_files(bag: Bag) -> Iterator[tuple[str, int | None]]:
    """Give every file in data/ with its size; links to folders are not followed, links out of the bag have no size."""
    waiting = ["data"]
    while waiting:
        folder = waiting.pop()
        if inside(bag, folder) is None:
            bag.defect("", "", f"{folder} is a link that leads out of the bag")
            continue
        try:
            with os.scandir(bag.folder / folder) as entries:
                for entry in entries:
                    path = f"{folder}/{entry.name}"
                    if entry.is_dir(follow_symlinks=False):
                        waiting.append(path)
                    elif entry.is_symlink() and inside(bag, path) is None:
                        yield path, None
                    elif not entry.is_dir():
                        yield path, entry.stat().st_size if entry.is_file() else None
        except OSError as error:  # missing or damaged payload is for the drill to find
            bag.warn("", f"{folder} cannot be read ({error.strerror or error})")


def _check_payload_listed(bag: Bag) -> dict[str, int | None]:
    """Hold the files in data/ against the manifests (3, item 4); return the listed ones with their sizes."""
    listed: dict[str, int | None] = {}
    as_written: dict[str, str] | None = None
    droppings = renamed = 0
    for path, size in _payload_files(bag):
        if path in bag.masks:
            listed[path] = size
            continue
        if as_written is None:  # 6.1.1.3: compare after the same normalisation
            as_written = {_plain(name): name for name in bag.masks}
        written = as_written.get(_plain(path))
        if written is not None:
            listed[written] = size
            renamed += 1
        elif _DROPPING.fullmatch(path):
            droppings += 1
        elif not bag.broken:
            bag.wrong("", "", f"{shown(path)} is in no manifest", "list it in every manifest, or take it out of data/")
    if droppings:
        bag.warn("", f"system files (.DS_Store, Thumbs.db, ._*) in data/ that no manifest lists, left out: {droppings}")
    if renamed:
        bag.warn("", f"names in data/ that write accents in another form than the manifests: {renamed}")
    return listed


def _read_fetch(bag: Bag) -> dict[str, int]:
    """Read fetch.txt (2.2.3): its paths must be payload that every manifest lists; return the sizes it states."""
    sizes: dict[str, int] = {}
    quirks: set[str] = set()
    for number, line in tag_lines(bag, "fetch.txt"):
        if not line:
            continue
        found = _FETCH.fullmatch(line)
        if found is None:
            bag.defect("fetch.txt", f"line {number}", 'is not written like "url length data/name"')
            continue
        path = bag_path(bag, found[3], escaped=False, quirks=quirks)
        try:
            plain = payload_name(path)
        except Unsound as fault:
            bag.defect("fetch.txt", f"line {number}", *fault.args)
            continue
        mask = bag.masks.get(path, 0)
        if not bag.broken and (mask != bag.every if bag.strict else not mask):
            bag.defect("fetch.txt", f"line {number}", f"{shown(path)} is not listed in every payload manifest")
        elif found[2] != "-" and mask and sizes.setdefault(path, int(found[2])) != int(found[2]):
            bag.defect("fetch.txt", f"line {number}", f"{shown(path)} stands there twice with different lengths")
        elif path in sizes:
            bag.into.sizes[plain if bag.role == "promise" else path] = sizes[path]
    if quirks:
        bag.warn("fetch.txt", f"would not pass strict validation: {', '.join(sorted(quirks))}")
    return sizes


def _check_oxum(bag: Bag, *, on_disk: dict[str, int | None], sizes: dict[str, int]) -> None:
    """Hold Payload-Oxum (2.2.2) against the names listed and, where all sizes are known, their bytes."""
    stated: list[tuple[int, str]] = []
    for number, line in tag_lines(bag, "bag-info.txt"):
        label, colon, value = line.partition(":")
        if line and not line[0].isspace() and not colon:
            bag.wrong("bag-info.txt", f"line {number}", 'is not written like "Label: value"')
        if label.strip().lower() == "payload-oxum" and colon:
            stated.append((number, value.strip()))
    for number, _ in stated[1:]:
        bag.wrong("bag-info.txt", f"line {number}", "Payload-Oxum stands there more than once")
    if not stated:
        return
    number, value = stated[0]
    oxum = _OXUM.fullmatch(value)
    if oxum is None:
        bag.wrong("bag-info.txt", f"line {number}", "Payload-Oxum is not written like 279164409832.1198")
    elif int(oxum[2]) != len(bag.masks):
        what = f"Payload-Oxum counts {int(oxum[2])} files, the manifests list {len(bag.masks)}"
        bag.wrong("bag-info.txt", f"line {number}", what, "a file was added or taken away after the bag was made")
    else:
        known = [on_disk.get(path, sizes.get(path)) for path in bag.masks]
        octets = sum(size for size in known if size is not None)
        if None not in known and octets != int(oxum[1]):
            bag.warn("bag-info.txt", f"Payload-Oxum counts {int(oxum[1])} bytes, there are {octets}")


def _check_tag_manifest(bag: Bag, name: str) -> None:
    """Verify the tag files that a tag manifest lists; from 1.0 it lists every payload manifest (2.2.1)."""
    kind = kind_named(name[len("tagmanifest-") : -len(".txt")])
    if kind not in _HASHED:
        bag.warn(name, "its digests are of a kind that is not checked here")
        kind = None
    seen: set[str] = set()
    for number, text, path in manifest_lines(bag, name):
        seen.add(path)
        try:
            _check_tag_file(bag, path, digest_of(kind, text))
        except Unsound as fault:
            bag.wrong(name, f"line {number}", *fault.args)
    for lacking in (other for other in bag.manifests if other not in seen and bag.strict):
        bag.wrong(name, "", f"does not list {lacking}")


def _check_tag_file(bag: Bag, path: str, digest: Digest | None) -> None:
    fault = unsafe(path) or ("begins like a home folder" if path.startswith("~") else None)
    if fault is not None:
        raise Unsound(f"the name {shown(path)} {fault}")
    if path.startswith("data/") or path.startswith("tagmanifest-"):
        raise Unsound(f"{shown(path)} has no place in a tag manifest")
    file = inside(bag, path)
    if file is None:
        raise Unsound(f"{shown(path)} is a link that leads out of the bag")
    if not file.is_file():
        raise Unsound(f"{shown(path)} is missing")
    if digest is None:
        return
    try:
        with file.open("rb") as opened:
            right = hashlib.file_digest(opened, lambda: hashlib.new(digest.kind, usedforsecurity=False)).hexdigest()
    except OSError as error:
        raise Unsound(f"{shown(path)} cannot be read ({error.strerror or error})") from error
    if right != digest.hex:
        raise Unsound(f"{shown(path)} is not as it was when the bag was made: its {digest.kind} differs")
