"""The check of a sealed folder: which part is not as it was sealed, and whether the key is the one that was asked for.

Flows in: a folder from anybody, the fingerprint that the reader got elsewhere, the pictures. Flows out: faults as
values. Must not know: what the parts say, studios, terminals. Nothing in the folder is trusted: links are not followed,
sizes are bounded, no name leads out of it. Without a fingerprint from elsewhere a signature shows only that nothing
changed since somebody sealed it.
"""

import hashlib
import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import load_pem_public_key

from drill.errors import Mistake, Mistakes
from drill.seal.keys import fingerprint as fingerprint_of
from drill.seal.keys import grouped
from drill.seal.lists import MOST_BYTES, Named, read_lines
from drill.seal.opening import Refused, content_of, digest_of
from drill.seal.pictures import Compared, Fault, compare
from drill.seal.sealing import (
    CONTENTS,
    LISTED_PARTS,
    MOST_PART_BYTES,
    OWN_PARTS,
    PICTURES,
    PUBLIC_KEY,
    ROOT,
    SIGNATURE,
)
from drill.seal.tree import merkle_root

_MOST_ENTRIES = 1000
_SIGNATURE_BYTES = 64  # RFC 8032, section 5.1.6
_MOST_READ = {CONTENTS: 1024 * 1024, SIGNATURE: _SIGNATURE_BYTES, PUBLIC_KEY: 64 * 1024, ROOT: 64 * 1024}
_MOST_READ[PICTURES] = MOST_BYTES
_LEFT_BY_SYSTEMS = re.compile(r"\.DS_Store|Thumbs\.db|desktop\.ini", re.IGNORECASE)
_BESIDE = "._"  # before the name of the file that a Mac keeps it beside
_BESIDE_BEGINS = b"\x00\x05\x16\x07"  # RFC 1740, AppleDouble; the number from memory
_MOST_LEFT = 16 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check found.

    `fingerprint` is that of the key in the folder, None where there is none; `is_known`: it is the one that was asked
    for. `names` are the parts in the list of contents, `pictures` how many the other list holds (0 where it cannot be
    read), `left` what a system left in the folder: no part, and no fault. `compared` counts the pictures that were
    found right; None where none were looked at.
    """

    faults: tuple[Fault, ...]
    fingerprint: str | None
    is_known: bool
    root: str | None
    names: tuple[str, ...]
    pictures: int
    left: tuple[str, ...]
    compared: Compared | None


def read_fingerprint(text: str) -> str:
    """Read a fingerprint as people copy it: 64 hex digits, spaces and colons among them. Errors: ValueError."""
    digits = re.sub(r"[\s:]", "", text).lower()
    if not re.fullmatch(r"[0-9a-f]{64}", digits):
        count = len(digits)
        raise ValueError(f"a fingerprint is 64 digits 0-9 and a-f, all of them; this one is written with {count}")
    return digits


def check(
    folder: Path,
    *,
    fingerprint: str | None = None,
    pictures: Path | None = None,
    progress: Callable[[str], None] | None = None,
) -> Checked:
    """Check a sealed folder, and with `pictures` the pictures in that folder against its list.

    `fingerprint` is 64 hex digits from elsewhere (see `read_fingerprint`). Errors: Mistakes where the folder cannot be
    looked into, or holds nothing of a seal.
    """
    found = _Folder(folder)
    names = found.judge_contents(fingerprint)
    listed = found.judge_list()
    if names is not None:
        found.judge_strangers(names)
    compared = None if pictures is None else compare(pictures, listed, progress or _unseen)
    return Checked(
        tuple(found.faults),
        found.fingerprint,
        fingerprint is not None and found.fingerprint == fingerprint,
        found.root,
        tuple(names or ()),
        len(listed),
        tuple(found.left),
        compared,
    )


class _Folder:
    """A folder under check: what is in it, and the faults found so far."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.faults: list[Fault] = []
        self.left: list[str] = []
        self.fingerprint: str | None = None
        self.root: str | None = None
        self._contents: dict[str, bytes] = {}  # of the parts that are read here: each is read once, and judged by that
        self._there = _names_in(folder)
        self._read_own()

    def judge_contents(self, fingerprint: str | None) -> list[str] | None:
        """Judge the key, the signature, and every part that the list names; return those names, None for no list."""
        key = self._key(fingerprint)
        self._judge_signature(key)
        content = self._contents.get(CONTENTS)
        if content is None:
            return None
        try:
            listed = read_lines(content)
        except ValueError as error:
            self._fault(CONTENTS, f"is no list that can be believed: {error}")
            return None
        for name, digest in listed:
            self._judge_part(name, digest)
        names = [name for name, _ in listed]
        for part in LISTED_PARTS:
            if part not in names:
                self._fault(part, f"is not in {CONTENTS}, so nobody has sealed it")
        return names

    def judge_list(self) -> list[Named]:
        """Judge the pictures' list and its root; return what is listed."""
        content = self._contents.get(PICTURES)
        if content is None:
            return []
        try:
            listed = read_lines(content)
        except ValueError as error:
            self._fault(PICTURES, f"is no list that can be believed: {error}")
            return []
        if not listed:
            self._fault(PICTURES, "lists nothing")
        self.root = merkle_root(content.split(b"\n")[:-1]).hex()
        stated = self._contents.get(ROOT)
        if stated is not None and stated.partition(b"\n")[0] != self.root.encode("ascii"):
            self._fault(ROOT, f"does not fit {PICTURES}: the root of that list is {self.root}")
        return listed

    def judge_strangers(self, names: list[str]) -> None:
        """Judge what lies in the folder and is in no list."""
        known = {*names, *OWN_PARTS}
        for name in sorted(self._there - known):
            if self._is_left(name):
                self.left.append(name)
            else:
                self._fault(name, "was added after the folder was sealed: it is no part of the proof")

    def _is_left(self, name: str) -> bool:
        """Say whether a file is what systems leave by themselves, and no letter under such a name."""
        if not _LEFT_BY_SYSTEMS.fullmatch(name) and name.removeprefix(_BESIDE) not in self._there - {name}:
            return False
        try:
            content = content_of(self.folder / name, _MOST_LEFT)
        except Refused:
            return False
        return not name.startswith(_BESIDE) or content.startswith(_BESIDE_BEGINS)

    def _read_own(self) -> None:
        for name, most in _MOST_READ.items():
            try:
                self._contents[name] = content_of(self.folder / name, most)
            except Refused as refused:
                self._fault(name, str(refused))
        if not self._contents.keys() & {CONTENTS, SIGNATURE, PUBLIC_KEY}:
            what = (
                f"this is no sealed folder: it holds no {CONTENTS}, no {SIGNATURE} and no {PUBLIC_KEY} that can be read"
            )
            raise Mistakes([Mistake(str(self.folder), "", what, "name the folder that `drill attest` made")])

    def _key(self, asked: str | None) -> Ed25519PublicKey | None:
        content = self._contents.get(PUBLIC_KEY)
        if content is None:
            return None
        try:
            key = load_pem_public_key(content)
        except (ValueError, UnsupportedAlgorithm):
            key = None
        if not isinstance(key, Ed25519PublicKey):
            self._fault(PUBLIC_KEY, "is no Ed25519 key")
            return None
        self.fingerprint = fingerprint_of(key)
        if asked is not None and asked != self.fingerprint:
            what = "is another key than the one you named: somebody else sealed this, or the fingerprint was "
            what += "mistyped: compare again; the key's fingerprint: "
            self._fault(PUBLIC_KEY, what + grouped(self.fingerprint))
        return key

    def _judge_signature(self, key: Ed25519PublicKey | None) -> None:
        content, signature = self._contents.get(CONTENTS), self._contents.get(SIGNATURE)
        if content is None or signature is None or key is None:
            return  # what is not there has been said
        try:
            key.verify(signature, content)
        except InvalidSignature:
            what = f"the signature does not fit: this list, {SIGNATURE} or {PUBLIC_KEY} is not as it was sealed"
            self._fault(CONTENTS, what)

    def _judge_part(self, name: str, digest: str) -> None:
        if "/" in name or "\\" in name or name in (CONTENTS, SIGNATURE):
            self._fault(CONTENTS, f"names {name!r}, which cannot be a part of this folder")
            return
        if name in _MOST_READ:
            content = self._contents.get(name)
            if content is None:
                return  # said when it was read
            seen = hashlib.sha256(content).hexdigest()
        else:
            try:
                seen = digest_of(self.folder / name, MOST_PART_BYTES)
            except Refused as refused:
                self._fault(name, str(refused))
                return
        if seen != digest:
            self._fault(name, "was changed after the folder was sealed")

    def _fault(self, part: str, what: str) -> None:
        self.faults.append(Fault(part, what))


def _names_in(folder: Path) -> set[str]:
    """Return the names in a folder. Errors: Mistakes where that cannot be, or where there are too many."""
    names: set[str] = set()
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                names.add(entry.name)
                if len(names) > _MOST_ENTRIES:
                    what = f"holds more than {_MOST_ENTRIES} files, which no sealed folder does"
                    raise Mistakes([Mistake(str(folder), "", what, "name the folder that `drill attest` made")])
    except OSError as error:
        what = f"cannot be looked into: {error.strerror or error}"
        raise Mistakes([Mistake(str(folder), "", what, "name the folder that `drill attest` made")]) from None
    return names


def _unseen(text: str) -> None:
    """Show no progress."""
