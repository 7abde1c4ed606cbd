"""The form in which headers are kept: a text that says what it is, and that `xxd -r` or any hex editor can use.

Flows in: an archive's name and size, pieces of it. Flows out: text, and pieces again. Must not know: archive formats.
A line of bytes is `place: bytes`, both in hexadecimal, 16 bytes a line, as `xxd -r` reads them; every other line begins
with `#`. Each piece has its SHA-256, so that a damaged line takes its own piece and no other, and each says the
archive's size: where one place says another, what most of them say is right.
"""

import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from drill.extents import Kept, Piece

_WIDTH = 16
_PIECE = re.compile(r"# piece [0-9]+ of [0-9]+: from byte ([0-9]+) of ([0-9]+), ([0-9]+) bytes, sha256 ([0-9a-f]{64})")
_BYTES = re.compile(r"([0-9a-f]+): ((?:[0-9a-f]{2})+)")
_ABOUT = re.compile(r"# ([a-z0-9 ]+): (.*)")
_HOW = """\
# The headers of an archive, kept apart from it.
#
# An archive whose headers are damaged gives nothing back, although every picture in it may be whole. With this text
# they can be put back. Work on a duplicate of the archive, never on the archive itself:
#
#     xxd -r THIS-FILE DUPLICATE-OF-THE-ARCHIVE
#
# or, in a hex editor, type the bytes of each line below over the duplicate, beginning at the place that stands before
# the colon (counted from 0, in hexadecimal). It must be as long as "size" says; one that was cut short is filled up.
#
"""


@dataclass(frozen=True, slots=True)
class About:
    """What a kept text says of itself: the copy, the archive's file name, its size and time, and the sum of all its
    pieces, by which it is told whether headers have changed."""

    copy: str
    archive: str
    size: int
    modified: str
    sum: str


@dataclass(frozen=True, slots=True)
class Text:
    """A kept text as read: what it is about, the pieces that are whole, how many are not."""

    about: About
    kept: Kept
    damaged: int


def write(about: About, pieces: Iterable[Piece], *, kept: str) -> str:
    """Return the text; `kept` is the moment, for people."""
    pieces = list(pieces)
    lines = [
        _HOW + f"# copy: {about.copy}",
        f"# archive: {json.dumps(about.archive)}",
        f"# size: {about.size}",
        f"# modified: {about.modified}",
        f"# kept: {kept}",
        f"# sha256 of all: {about.sum}",
    ]
    for number, piece in enumerate(pieces, 1):
        digest = hashlib.sha256(piece.data).hexdigest()
        lines.append("#")
        lines.append(
            f"# piece {number} of {len(pieces)}: from byte {piece.start} of {about.size}, {len(piece.data)} bytes, "
            f"sha256 {digest}"
        )
        text = piece.data.hex()
        lines.extend(
            f"{piece.start + at:08x}: {text[2 * at : 2 * (at + _WIDTH)]}" for at in range(0, len(piece.data), _WIDTH)
        )
    return "\n".join(lines) + "\n"


def sum_of(pieces: Iterable[Piece], size: int) -> str:
    """Return the SHA-256 of an archive's size and its pieces with their places, by which a change in any shows."""
    digest = hashlib.sha256(b"%d\n" % size)
    for piece in pieces:
        digest.update(b"%d %d\n" % (piece.start, len(piece.data)))
        digest.update(piece.data)
    return digest.hexdigest()


def read_about(text: str) -> About:
    """Read what the beginning of a kept text says of itself. Errors: ValueError, where that is not all there."""
    found: dict[str, str] = {}
    for line in text.splitlines():
        if not line.startswith("#") or _PIECE.match(line):
            break
        match = _ABOUT.fullmatch(line)
        if match:
            found.setdefault(match[1], match[2])
    try:
        archive = json.loads(found["archive"])
        size = int(found["size"])
        if not isinstance(archive, str) or size < 0:
            raise ValueError("no such archive")
        return About(found["copy"], archive, size, found["modified"], found["sha256 of all"])
    except KeyError as missing:
        raise ValueError(f"it does not say {missing.args[0]!r}") from None


def read(text: str) -> Text:
    """Read a kept text; pieces that are not whole are left out and counted. Errors: ValueError."""
    about = read_about(text)
    found = list(_pieces(text))
    whole_size = _most_said([about.size, *(said.of for said, _ in found)])
    pieces = [
        Piece(said.start, data)
        for said, data in found
        if len(data) == said.size
        and hashlib.sha256(data).hexdigest() == said.sha256
        and said.start + said.size <= whole_size
    ]
    damaged = len(found) - len(pieces)
    pieces.sort(key=lambda piece: piece.start)
    one_size = about.size == whole_size and all(said.of == whole_size for said, _ in found)
    if damaged == 0 and (not one_size or sum_of(pieces, whole_size) != about.sum):
        damaged = 1
    if not pieces:
        raise ValueError("no piece in it is whole")
    return Text(about, Kept(whole_size, tuple(pieces)), damaged)


def _most_said(sizes: Sequence[int]) -> int:
    """Return the size that is said most often. Errors: ValueError, where two are said as often."""
    counted = Counter(sizes).most_common(2)
    if len(counted) > 1 and counted[0][1] == counted[1][1]:
        raise ValueError(f"it says two sizes of the archive, {counted[0][0]} and {counted[1][0]}")
    return counted[0][0]


class _Said(NamedTuple):
    """What the line above a piece says of it."""

    start: int
    of: int
    size: int
    sha256: str


def _pieces(text: str) -> Iterator[tuple[_Said, bytes]]:
    """Yield each piece that is begun: what is said of it, and the bytes that are there."""
    said: _Said | None = None
    data = bytearray()
    for line in text.splitlines():
        match = _PIECE.fullmatch(line)
        if match:
            if said is not None:
                yield said, bytes(data)
            said, data = _Said(int(match[1]), int(match[2]), int(match[3]), match[4]), bytearray()
            continue
        match = _BYTES.fullmatch(line)
        if match and said is not None and int(match[1], 16) == said.start + len(data):
            data += bytes.fromhex(match[2])
    if said is not None:
        yield said, bytes(data)
