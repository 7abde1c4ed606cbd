"""Names that would do something to a terminal, a page or a list, and a small studio in which everything bears one.

Flows in: an empty folder, names. Flows out: files, and the commands that tell of them. The studio: a tablet, a drive
with a wrong, a missing and an unlisted file of each name, a zip; a scenario with such a name and title.
"""

import io
import os
import sys
import zipfile
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

from PIL import Image

FORGED = "FORGED LINE"
NAMES = (
    "\x1b[31mred\x1b]0;title\x07",  # colours, the window's title
    "\x9b2J\x85\x8d",  # C1: a control sequence, a line break, a line up
    "\u202etxt.gnp\u2066\u2069",  # bidi override and isolates
    f"line\n{FORGED}\r{FORGED}\x0b\x0c\u2028{FORGED}\u2029",
    "zero\u200bwidth\ufeff\u00ad\u3164",
    "<script>alert(1)</script>&\"'>]]>",
    "\u0301marks" + "e" + "\u0300" * 40,
    "\u6f22\u5b57\u5bec\u3044" * 6,  # two columns each
    "\U000e0041\U000e0101\ufe0f",  # tags and variation selectors
    "\u05e9\u05dc\u05d5\u05dd 12",  # right to left by itself
    "back\\slash %s {} $HOME `x`",
    "\x00".replace("\x00", "\x08\x08\x7f"),
    "raw\udcff\udc80\udc9b",  # bytes that are no UTF-8, as Python names them
)


def usable(name: str) -> str:
    """Return as much of a name as this system lets a file have."""
    name = name.replace("/", "_").replace("\0", "_")
    if sys.platform != "linux":  # no such bytes; Windows has no controls and no < > " | ? * either
        name = "".join("_" if ord(char) < 32 or char in '<>:"|?*\\' else char for char in name)
        name = name.encode("utf-8", "replace").decode().rstrip(" .") or "_"
    while len(os.fsencode(name)) > 120:
        name = name[:-1]
    return "_" if name in ("", ".", "..") else name


def quoted(text: str) -> str:
    """Write any text as a TOML string; what is no Unicode is left out."""
    return '"' + "".join(f"\\U{ord(char):08X}" for char in text if not 0xD800 <= ord(char) < 0xE000) + '"'


def listed(files: Sequence[tuple[str, bytes]]) -> bytes:
    """Write a list as sha256sum does, its escapes included."""
    lines = b""
    for name, content in files:
        plain = name.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
        mark = "\\" if plain != name else ""
        lines += os.fsencode(f"{mark}{sha256(content).hexdigest()}  {plain}\n")
    return lines


def lay_out(folder: Path, names: Sequence[str], *, differing: bool = False) -> list[list[str]]:
    """Lay the studio out; return the words of the commands that tell of it, in their order.

    `differing`: the zip has wrong bytes too, and others, where the drive has wrong ones; putting them together from
    both is tried then, which takes a drill long.
    """
    names = list(dict.fromkeys(usable(name) for name in names))
    odd = names[0]
    home = folder / f"studio {odd}"
    drive, tablet = home / f"drive {odd}", home / f"tablet {odd}"
    promised, zipped = [], io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as archive:
        for number, name in enumerate(names):
            for kind in ("right", "wrong", "missing"):
                path, content = f"{kind} {number} {name}/{name}.jpg", _picture(number, kind)
                promised.append((path, content))
                if kind != "missing":
                    _put(drive / path, content if kind == "right" else content[:-40] + b"changed" * 6)
                if kind == "right":
                    _put(tablet / path, content)
                if kind != "missing" and all(not 0xD800 <= ord(char) < 0xE000 for char in path):
                    archive.writestr(path, content + b"x" if kind == "wrong" and differing else content)
            _put(drive / f"extra {number} {name}.jpg", _picture(number, "extra"))
    _put(home / f"pack {odd}.zip", zipped.getvalue())
    _put(home / "promise.sha256", listed(promised))
    _put(home / "studio.toml", _studio(odd, drive, tablet).encode())
    scenario = home / "gone.toml"  # its name is an id, and refused where it is none
    _put(scenario, f'title = {quoted(odd)}\nstory = {quoted(odd)}\n[[hazards]]\neffect = "gone"\n'.encode())
    with scenario.open("a", encoding="utf-8") as file:
        file.write('hits = { kind = "tablet" }\n')
    return _commands(home, scenario, odd, drive, tablet)


def _picture(number: int, kind: str) -> bytes:
    """A small JPEG, taken by a camera of an odd name."""
    out, exif = io.BytesIO(), Image.Exif()
    exif[0x0110] = "cam\x1b[31mera"
    exif[0x0132] = f"2026:09:12 10:{number % 60:02d}:00"
    Image.new("RGB", (8, 8), (number, len(kind) * 20, 40)).save(out, "JPEG", exif=exif)
    return out.getvalue() + f"{number} {kind}".encode()


def _put(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)


def _studio(odd: str, drive: Path, tablet: Path) -> str:
    text = f'[studio]\nname = {quoted(odd)}\n[[shoots]]\nid = "reed"\ndate = 2026-09-12\nclient = {quoted(odd)}\n'
    text += 'manifest = "promise.sha256"\n[targets]\nfurther_failures = 1\n'
    for id_, kind in (("tablet", "tablet"), ("drive", "hard-disk"), ("pack", "hard-disk")):
        text += f'[[media]]\nid = "{id_}"\nkind = "{kind}"\nplace = "at-{id_}"\n'
    for id_, at in (("drive", drive.name), ("tablet", tablet.name), ("pack", f"pack {odd}.zip")):
        plain = all(not 0xD800 <= ord(char) < 0xE000 for char in at)
        text += f'[[copies]]\non = "{id_}"\n' + (f"at = {quoted(at)}\n" if plain else "")
        text += 'manifest = "promise.sha256"\n' if id_ == "drive" else ""
    return text


def _commands(home: Path, scenario: Path, odd: str, drive: Path, tablet: Path) -> list[list[str]]:
    written = odd.encode("utf-8", "ignore").decode()  # a folder that is to hold a studio file has a name that is text
    studio, new = str(home / "studio.toml"), str(home.parent / f"new {written}")
    fixed = ["--now", "2026-11-24T20:00:00Z"]
    media = [word for path in (drive, tablet) for word in ("--medium", f"card={path}")]
    broken = home / f"broken {odd}.toml"
    _put(broken, f"[studio]\nname = 1\n{quoted(odd)} = 2\n[[{quoted(odd)}]]\n".encode())
    return [
        ["survey", studio, *fixed],
        ["run", studio, "--scenario", str(scenario), "--scenario", "lost-tablet", "--seed", "1", *fixed],
        ["audit", studio],
        ["history", studio],
        ["survey", studio, "--write-manifests"],
        ["retire", studio, "drive"],
        ["recover", studio, "--lost", "tablet", "--into", str(home.parent / f"back {odd}")],
        ["bad-sector", str(home / f"pack {odd}.zip")],
        ["new", new, *media, "--name", written],
        ["new", new, *media, "--medium", f"ssd={home}"],
        ["forecast", studio],
        ["search", studio],
        ["run", str(broken)],
        ["run", str(scenario), "--scenario", str(broken)],
        ["run", studio, "--scenario", odd, "--shoot", odd, f"--{odd}"],
        ["run", studio, "--now", odd],
        ["audit", str(home / odd)],
        ["audit", studio, "--copy", odd, "--shoot", odd],
        ["run", studio, "--json", str(home / odd / "x" / odd)],
        ["retire", studio, odd],
        ["recover", studio, "--lost", odd, "--into", str(home)],
        ["bad-sector", str(home / "promise.sha256")],
        ["forecast", odd],
        ["search", studio, "--without", odd],
        ["new", str(home / "promise.sha256"), "--medium", odd, "--digest", odd],
        [odd],
    ]
