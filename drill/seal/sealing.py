"""Sealing: the lists, the root, the key's public half, how to check, and the signature over all of it.

Flows in: a folder that holds the parts of a proof (letter, record), the pictures' digests, the key. Flows out: the
seal's files in it. Must not know: what the parts say, copies. The folder is the caller's: not yet under its last name.

    deliverables.sha256  → merkle-root.txt      what the pictures are
    all parts            → contents.sha256      what this folder is
    contents.sha256      → contents.sha256.sig  who says so: 64 bytes (RFC 8032)

The same parts, digests and key give the same bytes: Ed25519 draws nothing, and there is no time in it.
"""

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from drill.errors import Unfinished
from drill.seal.keys import fingerprint
from drill.seal.lists import MOST_BYTES, Named, joined, list_lines
from drill.seal.tree import merkle_root

PICTURES = "deliverables.sha256"
ROOT = "merkle-root.txt"
PUBLIC_KEY = "public-key.pem"
HOW = "HOW-TO-CHECK.txt"
CONTENTS = "contents.sha256"
SIGNATURE = "contents.sha256.sig"

LISTED_PARTS = (PICTURES, ROOT, PUBLIC_KEY, HOW)
OWN_PARTS = (*LISTED_PARTS, CONTENTS, SIGNATURE)
"""The files that a seal adds; the first four are in the list of contents, as every other part is."""

MOST_PART_BYTES = 256 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Sealed:
    """A folder that was sealed: the key's fingerprint and the list's root (hex), pictures listed, the parts' names."""

    fingerprint: str
    root: str
    pictures: int
    parts: tuple[str, ...]


def seal(folder: Path, *, digests: Sequence[Named], key: Ed25519PrivateKey) -> Sealed:
    """Seal a folder: list the pictures (path, SHA-256 in hex) and every part in it, and sign.

    The folder holds plain files only, none with a name of the seal's own. Errors: ValueError where that is not so, for
    no digests at all, and for names that no list can hold; Unfinished where it cannot be written.
    """
    lines = list_lines(digests)
    content = joined(lines)
    if not lines or len(content) > MOST_BYTES:
        raise ValueError(f"{len(lines)} pictures cannot be listed: there must be some, and at most half a million")
    root = merkle_root(lines).hex()
    try:
        parts = _parts_of(folder)
        _write(folder / PICTURES, content)
        _write(folder / ROOT, root_text(root, len(lines)))
        _write(folder / PUBLIC_KEY, key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo))
        _write(folder / HOW, how_to_check())
        parts = sorted([*parts, *LISTED_PARTS])
        contents = joined(list_lines([(name, _sha256(folder / name)) for name in parts]))
        _write(folder / CONTENTS, contents)
        _write(folder / SIGNATURE, key.sign(contents))
    except OSError as error:
        raise Unfinished(f"{folder} cannot be sealed: {error.strerror or error}") from error
    return Sealed(fingerprint(key), root, len(lines), tuple(parts))


def root_of(digests: Sequence[Named]) -> str:
    """Return the root, in hex, that a seal over these pictures' digests will have. Errors: ValueError as `seal`."""
    return merkle_root(list_lines(digests)).hex()


def root_text(root: str, lines: int) -> bytes:
    """Write the file of the root: itself on the first line, then what it is."""
    count = "1 line" if lines == 1 else f"{lines} lines"
    return (
        f"{root}\n\nThis number stands for all of {PICTURES} ({count}): the root of a Merkle tree over its lines, in\n"
        "their order, each without its line end (RFC 9162, section 2.1.1, with SHA-256). It is short enough for\n"
        "paper: a printed letter that has it says which list it belongs to.\n"
    ).encode("ascii")


def how_to_check() -> bytes:
    """Return the text that says how to check a sealed folder without this program."""
    return (
        files("drill.seal").joinpath(HOW).read_bytes().replace(b"\r\n", b"\n")
    )  # as a checkout on Windows may have it


def _parts_of(folder: Path) -> list[str]:
    names = []
    with os.scandir(folder) as entries:
        for entry in entries:
            if not entry.is_file(follow_symlinks=False):
                raise ValueError(f"{entry.name} is no plain file, and a proof holds nothing else")
            if entry.name in OWN_PARTS:
                raise ValueError(f"{entry.name} is there already")
            if entry.stat(follow_symlinks=False).st_size > MOST_PART_BYTES:
                raise ValueError(f"{entry.name} is too large for a part of a proof")
            names.append(entry.name)
    return names


def _write(file: Path, content: bytes) -> None:
    with file.open("xb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())


def _sha256(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()
