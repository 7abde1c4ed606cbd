"""The seal's lists of SHA-256 digests: written in one way only, and read back only when written in that way.

Flows in: names with digests, or a list's bytes. Flows out: the list's bytes, or names with digests. Must not know:
files, keys. The lists that people bring are `drill.manifests`' to read, which forgives much; here nothing is forgiven,
so that what a program checks and what a reader sees cannot differ. What a name may be is the same in both.

The form is that of GNU sha256sum, with care for shasum, which checks the same lists: a backslash first where the name
has a line feed or a backslash. A carriage return stands as it is, since shasum 6.02 knows no escape for it, save at the
end of a name, where sha256sum 9.1 would drop it (both seen; no name that both can check ends in one).
"""

import re
from collections.abc import Iterable

from drill.manifests import unsafe

MOST_BYTES = 64 * 1024 * 1024
"""The longest list: half a million pictures. A bound on what a check holds in memory."""

_LINE = re.compile(rb"(\\?)([0-9a-f]{64})  ([^\n]+)\n", re.DOTALL)
_ESCAPED = re.compile(rb"\\(.)", re.DOTALL)
_ESCAPES = {b"\\": b"\\", b"n": b"\n", b"r": b"\r"}

Named = tuple[str, str]  # a name with `/` between its parts, and the SHA-256 of the file's bytes in 64 hex digits


def list_lines(named: Iterable[Named]) -> list[bytes]:
    """Write the lines of a list, without their ends, sorted by the names' bytes.

    Errors: ValueError for a name or a digest that no list can hold, and for a name with two digests.
    """
    digests: dict[bytes, bytes] = {}
    for name, digest in named:
        raw, text = name.encode("utf-8", "surrogateescape"), digest.encode("ascii", "replace")
        if fault := unsafe(name):
            raise ValueError(f"the name {name!r} {fault}")
        if not re.fullmatch(rb"[0-9a-f]{64}", text):
            raise ValueError(f"{digest!r} is no SHA-256 in 64 hex digits")
        if digests.setdefault(raw, text) != text:
            raise ValueError(f"{name!r} has two digests")
    return [_line(raw, digests[raw]) for raw in sorted(digests)]


def joined(lines: Iterable[bytes]) -> bytes:
    """Return a list's bytes: each line, and its end."""
    return b"".join(line + b"\n" for line in lines)


def read_lines(content: bytes) -> list[Named]:
    """Read a list that `list_lines` wrote. Errors: ValueError, one line that says where it is not so."""
    found: list[Named] = []
    before = b""
    at = 0
    while at < len(content):
        number = len(found) + 1
        match = _LINE.match(content, at)
        if match is None:
            raise ValueError(f"line {number} is not a checksum line")
        raw = _unescaped(match[3]) if match[1] else match[3]
        if raw is None or _line(raw, match[2]) != match[0][:-1]:
            raise ValueError(f"line {number} is not written as sha256sum writes it")
        if raw <= before:
            raise ValueError(f"line {number} is out of order, or names a file twice")
        name = raw.decode("utf-8", "surrogateescape")
        if fault := unsafe(name):
            raise ValueError(f"line {number} names a file that {fault}")
        found.append((name, match[2].decode("ascii")))
        before, at = raw, match.end()
    return found


def _line(name: bytes, digest: bytes) -> bytes:
    ends = name.endswith(b"\r")
    if not ends and b"\\" not in name and b"\n" not in name:
        return digest + b"  " + name
    escaped = name.replace(b"\\", b"\\\\").replace(b"\n", b"\\n")
    return b"\\" + digest + b"  " + (escaped[:-1] + b"\\r" if ends else escaped)


def _unescaped(name: bytes) -> bytes | None:
    try:
        return _ESCAPED.sub(lambda found: _ESCAPES[found[1]], name)
    except KeyError:
        return None
