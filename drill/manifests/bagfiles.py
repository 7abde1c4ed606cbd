"""A bag's own text files, line by line: bagit.txt, and the lines of manifests and fetch.txt.

Flows in: a bag's folder. Flows out: a `Bag` with its version and encoding, its lines, and the mistakes in them.
Must not know: what the lines of one file mean for another (that is `bags`). Nothing outside the bag is opened,
whatever its files say and wherever links lead.
Facts: RFC 8493, section numbers beside the checks.
"""

import io
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from drill.manifests.gathering import Gathering
from drill.manifests.lists import LONGEST_LINE, Complaints, Role, digits_of, fold, shown, unsafe
from drill.model import Digest

_VERSION = re.compile(r"BagIt-Version:([ \t]*)([0-9]{1,4})\.([0-9]{1,4})([ \t]*)", re.IGNORECASE)
_ENCODING = re.compile(r"Tag-File-Character-Encoding:[ \t]*([!-~]{1,60})[ \t]*", re.IGNORECASE)
_LINE = re.compile(r"(\\?)([0-9A-Fa-f]+)[ \t]+(.+)", re.DOTALL)


class Unsound(Exception):
    """What is wrong with one line of a bag's file, and the next step."""


@dataclass(slots=True)
class Bag:
    """One bag being read: what is known of it so far, and what is wrong with it."""

    folder: Path
    where: str
    role: Role
    into: Gathering
    version: tuple[int, int] = (1, 0)
    encoding: str = "utf-8"
    masks: dict[str, int] = field(default_factory=dict)  # "data/…" → one bit for each payload manifest that lists it
    manifests: list[str] = field(default_factory=list)
    complaints: dict[str, Complaints] = field(default_factory=dict)
    broken: bool = False  # a payload manifest has a mistake: what it should list is not known

    def wrong(self, name: str, at: str, what: str, advice: str = "") -> None:
        """Note a mistake in one of the bag's files (or, without a name, in the bag)."""
        where = f"{self.where}/{name}" if name else self.where
        self.complaints.setdefault(name, Complaints(where)).add(at, what, advice)

    def defect(self, name: str, at: str, what: str, advice: str = "") -> None:
        """Note what makes a promised bag invalid; what a copy is said to hold can be read all the same."""
        if self.role == "promise":
            self.wrong(name, at, what, advice)
        else:
            self.warn(name, f"{at}: {what}" if at else what)

    def warn(self, name: str, what: str) -> None:
        """Say something about one of the bag's files (or, without a name, the bag) that stops nothing."""
        self.into.warnings.append(f"{self.where}/{name}: {what}" if name else f"{self.where}: {what}")

    @property
    def strict(self) -> bool:
        """From version 1.0 every manifest must list every file, and more."""
        return self.version >= (1, 0)

    @property
    def every(self) -> int:
        """The mask of a name that every payload manifest lists."""
        return (1 << len(self.manifests)) - 1


# --- the bag's own text files -----------------------------------------------------------------------------------------


def inside(bag: Bag, name: str) -> Path | None:
    """Return the path of a bag's file, or None where it or a link on the way leads out of the bag."""
    real = os.path.realpath(bag.folder)
    target = os.path.realpath(os.path.join(real, *name.split("/")))  # noqa: PTH118  (as realpath: text in, text out)
    return Path(target) if target.startswith(real.rstrip(os.sep) + os.sep) else None


def tag_lines(bag: Bag, name: str) -> Iterator[tuple[int, str]]:
    """Give the lines of one text file in bounded memory (LF, CR and CRLF end one: 2.3); note what cannot be read."""
    path = inside(bag, name)
    if path is None or not path.is_file():
        bag.wrong(name, "", "is no file inside the bag" if path else "is a link that leads out of the bag")
        return
    errors = "surrogateescape" if bag.encoding == "utf-8" else "strict"
    number = 0
    try:
        with path.open("rb") as raw, io.TextIOWrapper(raw, encoding=bag.encoding, errors=errors) as text:
            while line := text.readline(LONGEST_LINE + 1):
                number += 1
                if not line.endswith("\n") and len(line) > LONGEST_LINE:
                    bag.wrong(name, f"line {number}", f"is longer than {LONGEST_LINE // 1024} KiB", "write it again")
                    while (rest := text.readline(LONGEST_LINE)) and not rest.endswith("\n"):
                        pass
                    continue
                if number == 1 and line.startswith("\ufeff"):
                    bag.defect(name, "line 1", "begins with a byte order mark", "save it as UTF-8 without one")
                    line = line[1:]
                yield number, line.removesuffix("\n")
    except UnicodeError:
        bag.wrong(name, f"line {number + 1}", f"is not text in {bag.encoding}, as bagit.txt says")
    except OSError as error:
        bag.wrong(name, "", f"cannot be read ({error.strerror or error})")


def read_declaration(bag: Bag) -> None:
    """Read bagit.txt (2.1.1): two lines, in UTF-8 without a byte order mark."""
    lines = [line for _, line in zip(range(100), (text for _, text in tag_lines(bag, "bagit.txt")), strict=False)]
    version = _VERSION.fullmatch(lines[0]) if lines else None
    encoding = _ENCODING.fullmatch(lines[1]) if len(lines) > 1 else None
    if version is None or encoding is None or len(lines) != 2:
        advice = 'write "BagIt-Version: 1.0" and "Tag-File-Character-Encoding: UTF-8", a line each'
        bag.defect("bagit.txt", "", "is not the two lines that make a bag", advice)
    if version is not None:
        bag.version = (int(version[2]), int(version[3]))
        if bag.strict and (version[1] not in (" ", "\t") or version[4]):
            bag.defect("bagit.txt", "line 1", "there must be one space after the colon and none at the end")
    if bag.version >= (2, 0):
        bag.defect("bagit.txt", "line 1", f"version {bag.version[0]}.{bag.version[1]} is not known here")
    if encoding is not None:
        _set_encoding(bag, encoding[1])


def _set_encoding(bag: Bag, name: str) -> None:
    try:
        wrapped = io.TextIOWrapper(io.BytesIO(b""), encoding=name)
        bag.encoding = "utf-8" if wrapped.encoding.lower().replace("_", "-") in ("utf-8", "utf8") else wrapped.encoding
        wrapped.read()
    except (LookupError, ValueError):
        bag.defect("bagit.txt", "line 2", f"{name} is no character encoding known here", "use UTF-8")


# --- payload manifests ------------------------------------------------------------------------------------------------


def bag_path(bag: Bag, text: str, *, escaped: bool, quirks: set[str]) -> str:
    """Read a file path as manifests and fetch.txt write it (2.1.3); odd forms that are taken are noted in `quirks`."""
    if escaped:  # 6.1.3: md5sum marks the line, and may double the backslashes
        quirks.add("a backslash before the digest")
        text = re.sub(r"\\([\\nr])", lambda found: {"\\": "\\", "n": "\n", "r": "\r"}[found[1]], text)
    if text.startswith("*"):  # 6.1.3: md5sum in binary mode
        quirks.add("an asterisk before the name")
        text = text[1:]
    # 2.1.3: these characters and only these; before 1.0 the percent sign itself was not among them.
    codes = "0[AD]|25" if bag.strict else "0[AD]"
    name = re.sub(f"%({codes})", lambda found: chr(int(found[1], 16)), text, flags=re.IGNORECASE)
    folded = fold(name)
    if folded != name:
        quirks.add("./ or // in a name")
    return folded


def payload_name(path: str) -> str:
    """Return a payload path without `data/`. Errors: Unsound where it is outside the payload (2.1.3, 5.1)."""
    if not path.startswith("data/"):
        raise Unsound(f"{shown(path)} is outside the payload folder data/")
    fault = unsafe(path[5:])
    if fault is not None:
        raise Unsound(f"the name {shown(path)} {fault}")
    return path[5:]


def digest_of(kind: str | None, text: str) -> Digest | None:
    """Return the digest that a line gives, None where its kind is not known. Errors: Unsound on another length."""
    if kind is not None and len(text) != digits_of(kind):
        raise Unsound(
            f"the digest has {len(text)} hex digits; a {kind}, as the file's name says, has {digits_of(kind)}"
        )
    return None if kind is None else Digest(kind, text.lower())


def manifest_lines(bag: Bag, name: str) -> Iterator[tuple[int, str, str]]:
    """Give (line number, hex digits, path) for each line of a payload or tag manifest."""
    quirks: set[str] = set()
    for number, line in tag_lines(bag, name):
        found = _LINE.fullmatch(line)
        if found is not None:
            yield number, found[2], bag_path(bag, found[3], escaped=bool(found[1]), quirks=quirks)
        elif line:
            bag.wrong(name, f"line {number}", 'is not written like "digest  data/name"')
    if quirks:
        bag.warn(name, f"would not pass strict validation: {', '.join(sorted(quirks))}")
