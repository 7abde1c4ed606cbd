"""Checksum lists as the coreutils and xxhsum programs write them: lines → names with digests, and back.

Flows in: a list file's bytes, line by line. Flows out: names and digests into a `Gathering`, mistakes into it too.
Must not know: copies, faults, what a name matches; names are kept as written (NFC and NFD stay distinct).
Facts: GNU coreutils manual, "cksum output modes" (untagged, tagged, reversed, escapes); what xxhsum 0.8.1 prints
(seen): no escapes, XXH3 always tagged, `_LE` tags for little-endian digests.
"""

import base64
import os
import re
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO, Literal

from drill.digests import KINDS, hex_length
from drill.errors import Mistake
from drill.manifests.gathering import Gathering
from drill.model import Digest

Role = Literal["promise", "copy"]

LENGTHS = {kind: hex_length(kind) for kind in KINDS}
"""Hex digits of each kind, worked out once: it is looked up for every line."""

LONGEST_LINE = 64 * 1024
MOST_NAMES = 10_000_000
_MOST_MISTAKES = 20
_UTF16 = (b"\xff\xfe", b"\xfe\xff")  # its byte order marks

_GNU = re.compile(rb"([0-9A-Fa-f]{8,}) (.*)", re.DOTALL)
_TAGGED = re.compile(rb"([A-Za-z][A-Za-z0-9_/-]*)[ \t]?\((.*)\)[ \t]*=[ \t]*([0-9A-Za-z+/=]+)[ \t]*", re.DOTALL)
_ESCAPED = re.compile(rb"[^\\]*(?:\\[\\nr][^\\]*)*", re.DOTALL)
_ESCAPES = {b"\\": b"\\", b"n": b"\n", b"r": b"\r"}
_KIND = r"(md5|sha[-_]?(?:1|224|256|384|512)|blake2b?(?:-[0-9]{1,3})?|xxh(?:3[-_]?(?:64|128)|[-_]?(?:32|64|128|3)))"
_KIND_IN_NAME = re.compile(rf"(?<![a-z0-9]){_KIND}(?:sums?)?(?![a-z0-9])")
_B2_IN_NAME = re.compile(r"b2sums?(?:\.txt|\.asc)?|.*\.b2(?:sums?)?(?:\.txt)?", re.DOTALL)


def kind_named(text: str) -> str | None:
    """Return the kind that a tag, an ending or a common name means ("SHA-256", "XXH3_64", "BLAKE2b-256")."""
    plain = re.sub(r"[^a-z0-9]", "", text.lower())
    plain = {"xxh364": "xxh3", "xxh3128": "xxh128", "blake2": "blake2b", "b2": "blake2b", "b2sum": "blake2b"}.get(
        plain, plain
    )
    if plain in LENGTHS:
        return plain
    bits = plain.removeprefix("blake2b")
    if bits == plain or not re.fullmatch(r"[1-9][0-9]{0,2}", bits) or int(bits) % 8 or int(bits) > 512:
        return None
    return "blake2b" if bits == "512" else f"blake2b-{bits}"


def kind_of_file_name(name: str) -> str | None:
    """Return the kind that a list's file name says (`x.sha256`, `SHA256SUMS`), the last if several."""
    lower = name.lower()
    found = _KIND_IN_NAME.findall(lower)
    if found:
        return kind_named(found[-1])
    return "blake2b" if _B2_IN_NAME.fullmatch(lower) else None


def digits_of(kind: str) -> int:
    """Return how many hex digits a digest of `kind` has."""
    return LENGTHS.get(kind) or hex_length(kind)


def suffix(kind: str) -> str:
    """Return the file ending that says the kind (".sha256"), so that a list written under it is read back."""
    return f".{kind}"


def fold(name: str) -> str:
    """Fold a leading `./` and inner `/./` and `//`; all else stays as written."""
    if "./" not in name and "//" not in name:
        return name
    parts = name.split("/")
    # The first part may be empty (an absolute name) and the last (a folder's name); both say something.
    inner = [part for part in parts[1:-1] if part not in ("", ".")]
    first = [] if parts[0] == "." else [parts[0]]
    return "/".join([*first, *inner, parts[-1]])


def unsafe(name: str) -> str | None:
    """Say why a name may not stand in a promise (absolute, climbing, drive letter, NUL, no file's name), or None."""
    if name[:1] not in "/\\" and name[1:2] != ":" and name[-1:] not in "/." and ".." not in name and "\0" not in name:
        return None  # nearly every name; the rest is looked at closely
    if "\0" in name:
        return "has a NUL byte"
    if name[:1] in ("/", "\\"):
        return "is absolute"
    if re.match(r"[A-Za-z]:", name):
        return "begins with a drive letter"
    if ".." in re.split(r"[/\\]", name):
        return "climbs out of the folder"
    return "names no file" if name.rpartition("/")[2] in ("", ".") else None


def shown(name: str) -> str:
    """Write a name for people: quoted where it has control or undecodable characters, cut where it is long."""
    short = name if len(name) <= 120 else f"{name[:60]}…{name[-50:]}"
    return short if short.isprintable() and short else repr(short)


class Complaints:
    """The mistakes of one list: the first twenty in full, the rest counted."""

    __slots__ = ("_first", "count", "where")

    def __init__(self, where: str) -> None:
        self.where = where
        self.count = 0
        self._first: list[Mistake] = []

    def add(self, at: str, what: str, advice: str = "") -> None:
        """Note one mistake at a line or key of the list."""
        self.count += 1
        if self.count <= _MOST_MISTAKES:
            self._first.append(Mistake(self.where, at, what, advice))

    def all(self) -> list[Mistake]:
        """Return the mistakes noted."""
        more = self.count - len(self._first)
        return [*self._first, Mistake(self.where, "", f"and {more} more mistakes like these")] if more else self._first


def _lines(file: IO[bytes]) -> Iterator[bytes | None]:
    # None stands for a line over the bound; it is skipped without being held.
    while line := file.readline(LONGEST_LINE + 3):
        if line.endswith(b"\n"):
            line = line[:-2] if line.endswith(b"\r\n") else line[:-1]
        elif len(line) == LONGEST_LINE + 3:
            while (rest := file.readline(LONGEST_LINE)) and not rest.endswith(b"\n"):
                pass
        yield line if len(line) <= LONGEST_LINE else None


class _Malformed(Exception):
    """What is wrong with one line, and the next step."""


class _List:
    """One list being read: what its name says, what its lines have shown so far."""

    __slots__ = ("_ambiguous", "_by_length", "_named", "_one_space", "formed")

    def __init__(self, named: str | None) -> None:
        self._named = named
        self._one_space: bool | None = None  # between digest and name; the first line decides
        self._ambiguous = False
        self._by_length: dict[int, str | None] = {}
        self.formed = 0  # lines in the form of a checksum line, whatever they name

    def entry(self, line: bytes) -> tuple[Digest, bytes] | None:
        """Read one line into its digest and its name's bytes; None where the list's one mistake is already said."""
        escaped = line.startswith(b"\\")
        body = line[1:] if escaped else line
        gnu = _GNU.fullmatch(body)
        if gnu is not None:
            name = self._gnu_name(gnu[2])
            digest = self._untagged(gnu[1])
        else:
            tag, name, text = _split_tagged(body)
            self.formed += 1
            digest = _tagged(tag, text)
        if digest is None:
            return None
        return digest, _unescape(name) if escaped else name

    def _gnu_name(self, rest: bytes) -> bytes:
        if not rest or (rest == b" " and self._one_space is False):
            raise _Malformed("there is no name after the digest")
        # As coreutils decides: the first line that can only be one-space makes the whole list so.
        one_space = len(rest) == 1 or rest[:1] not in (b" ", b"*")
        if self._one_space is None:
            self._one_space = one_space
        self.formed += 1
        return rest if self._one_space or one_space else rest[1:]

    def _untagged(self, text: bytes) -> Digest | None:
        length = len(text)
        if length not in self._by_length:
            self._by_length[length] = _kind_of_length(length, self._named)
        kind = self._by_length[length]
        if kind is not None:
            return Digest(kind, text.decode("ascii").lower())
        either = [kind for kind, digits in LENGTHS.items() if digits == length]
        if self._named is not None:
            has = digits_of(self._named)
            raise _Malformed(f"the digest has {length} hex digits; a {self._named}, as the list's name says, has {has}")
        if not either:
            raise _Malformed(f"the digest has {length} hex digits, which no known kind has")
        if self._ambiguous:
            return None  # once per list is enough
        self._ambiguous = True
        endings = " or ".join(suffix(kind) for kind in either)
        advice = f"let the file's name say it: end it in {endings}"
        raise _Malformed(f"a digest of {length} hex digits may be {' or '.join(either)}", advice)


def _kind_of_length(length: int, named: str | None) -> str | None:
    if named is None:
        kinds = [kind for kind, digits in LENGTHS.items() if digits == length]
        return kinds[0] if len(kinds) == 1 else None
    if named == "blake2b" and length % 2 == 0 and length < 128:
        return f"blake2b-{length * 4}"  # b2sum -l writes shorter ones under the same name
    return named if length == digits_of(named) else None


def _split_tagged(body: bytes) -> tuple[str, bytes, bytes]:
    found = _TAGGED.fullmatch(body)
    if found is not None and found[2]:
        return found[1].decode("ascii"), found[2], found[3]
    prefixed = _GNU.fullmatch(body, 5) if body[:5].upper() == b"XXH3_" else None
    if prefixed is not None and prefixed[2][:1] in (b" ", b"*") and prefixed[2][1:]:
        return "XXH3", prefixed[2][1:], prefixed[1]
    raise _Malformed('is not written like "digest  name" or "SHA256 (name) = digest"')


def _tagged(tag: str, text: bytes) -> Digest:
    little_endian = tag.upper().startswith("XXH") and tag.upper().endswith("_LE")
    kind = kind_named(tag[:-3] if little_endian else tag)
    if kind is None:
        raise _Malformed(f"{tag} is a digest kind that is not read here")
    value = _hex_of(text, digits_of(kind))
    if value is None:
        raise _Malformed(f"the digest is not written in {digits_of(kind)} hex digits, as {tag} is")
    return Digest(kind, bytes.fromhex(value)[::-1].hex() if little_endian else value)


def _hex_of(text: bytes, digits: int) -> str | None:
    try:
        # cksum --base64 writes the other form; it is taken only with its exact padding.
        raw = bytes.fromhex(text.decode("ascii")) if len(text) == digits else base64.b64decode(text, validate=True)
    except ValueError:
        return None
    return raw.hex() if len(raw) * 2 == digits else None


def _unescape(name: bytes) -> bytes:
    if _ESCAPED.fullmatch(name) is None:
        raise _Malformed("an escape in the name is none of \\\\, \\n and \\r", "write the list again")
    return re.sub(rb"\\(.)", lambda found: _ESCAPES[found[1]], name)


def read_list(file: IO[bytes], *, where: str, role: Role, into: Gathering) -> None:
    """Read one checksum list, line by line in bounded memory, into a gathering.

    `where` is the list's path as the user knows it; its last part may say the digest kind. Errors: OSError only.
    """
    state = _List(kind_of_file_name(re.split(r"[/\\]", where)[-1]))
    complaints = Complaints(where)
    base = into.open_list(where)
    names = 0
    for number, raw in enumerate(_lines(file), 1):
        try:
            line = _checked(raw, first=number == 1)
            entry = state.entry(line) if line else None
            if entry is not None:
                names += 1
                _take(entry, place=base + number, role=role, into=into)
        except _Malformed as fault:
            complaints.add(f"line {number}", *fault.args)
        if number == 1 and raw and raw[:2] in _UTF16:
            break
        if not state.formed and complaints.count > _MOST_MISTAKES:
            complaints = Complaints(where)
            complaints.add("line 1", f"none of the first {number} lines is a checksum line", "is this the right file?")
            break
        if names > MOST_NAMES:
            complaints.add(f"line {number}", f"more than {MOST_NAMES:,} names in one list", "split the list")
            break
    if not names and not complaints.count:
        complaints.add("", "lists nothing", "write the list again, or leave it out")
    into.mistakes.extend(complaints.all())


def _checked(line: bytes | None, *, first: bool) -> bytes | None:
    """Return the line without its surroundings, or None where it holds no entry."""
    if line is None:
        raise _Malformed(f"is longer than {LONGEST_LINE // 1024} KiB", "write the list again")
    if first:
        if line[:2] in _UTF16:
            raise _Malformed("the list is written in UTF-16", "save it as UTF-8")
        line = line.removeprefix(b"\xef\xbb\xbf")
    line = line.lstrip(b" \t")
    if not line or line[:1] == b"#":
        return None
    if b"\0" in line:
        raise _Malformed("has a NUL byte", "the list may be damaged: write it again")
    return line


def _take(entry: tuple[Digest, bytes], *, place: int, role: Role, into: Gathering) -> None:
    digest, name = entry
    path = fold(name.decode("utf-8", "surrogateescape"))
    fault = unsafe(path) if role == "promise" else None
    if fault is not None:
        raise _Malformed(f"the name {shown(path)} {fault}", "promised names are relative to the shoot's folder")
    earlier = into.add(path, digest, place)
    if earlier is not None:
        raise _Malformed(f"{shown(path)} has another {digest.kind} on {earlier}", "keep the line that is right")


def _escape(name: bytes) -> bytes:
    return name.replace(b"\\", b"\\\\").replace(b"\n", b"\\n").replace(b"\r", b"\\r")


def format_list(items: Iterable[tuple[Digest, str]]) -> bytes:
    """Write digests and names as a checksum list that coreutils and xxhsum accept, one line each, in order.

    `xxh3` and short BLAKE2b are tagged lines, all others GNU lines. Undecodable names become their bytes again.
    """
    return b"".join(_line(digest, name) for digest, name in items)


def _line(digest: Digest, text: str) -> bytes:
    name = text.encode("utf-8", "surrogateescape")
    mark = b""
    # xxhsum 0.8.1 knows no escapes; for it they stand only where the line would break in two without.
    breaks = b"\n" in name or name.endswith(b"\r")
    if breaks or (not digest.kind.startswith("xxh") and (b"\\" in name or b"\r" in name)):
        mark, name = b"\\", _escape(name)
    if digest.kind == "xxh3":
        return b"%sXXH3 (%s) = %s\n" % (mark, name, digest.hex.encode("ascii"))
    if digest.kind.startswith("blake2b-"):
        return b"%sBLAKE2b-%s (%s) = %s\n" % (mark, digest.kind[8:].encode("ascii"), name, digest.hex.encode("ascii"))
    return b"%s%s  %s\n" % (mark, digest.hex.encode("ascii"), name)


def write_list(path: Path, items: Iterable[tuple[Digest, str]]) -> None:
    """Write a checksum list to a file, swapped in whole. Errors: OSError; the old file then stays as it was."""
    aside = path.with_name(f"{path.name}.part")
    try:
        with aside.open("wb") as file:
            for digest, name in items:
                file.write(_line(digest, name))
            file.flush()
            os.fsync(file.fileno())
        aside.replace(path)
    except BaseException:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
        raise
