"""Random piles: shoots as people copy, rename, lose and damage them over cards, drives and archives; and what is known.

Flows in: draws. Flows out: a Pile (pictures shot, and every file that lies on a medium, with what was done to it), and
its files on disk. It imports nothing of the program: the judge of a pile (in the law) knows only what was done here.

JPEGs are drawn once by number with Pillow (noise, so that no two share anything but their tables), and their Exif is
put in before the rest; raws are a tiny TIFF directory before random bytes; films are random bytes.
"""

import hashlib
import io
import random
import struct
import tarfile
import unicodedata
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from PIL import Image

KINDS = ("card", "ssd", "hard-disk", "computer")
SHOOTS = ("heron ridge", "kiln yard", "Café Möwe", "alder works")
CAMERAS = (("REED", "Reed One"), ("REED", "Reed Two"), ("KILN", "Kiln Ä"))
ACCENTED = "é"
DROPPINGS = (
    ".DS_Store",
    "Thumbs.db",
    "._REED0001.JPG",
    "System Volume Information/IndexerVolumeGuid",
    ".Trashes/a.JPG",
)
UNTOUCHED = ("whole", "twice", "again-renamed")
DAMAGE = ("cut", "zeros", "garbage", "flip")
HOLLOW = ("empty", "blank")


@dataclass(frozen=True)
class Picture:
    """One file that was made: a picture, a film, or what was delivered to the client."""

    number: int
    shoot: int
    camera: int
    name: str
    pair: int
    when: datetime | None
    content: bytes = field(repr=False)
    delivery: bool = False

    @property
    def digest(self) -> str:
        return sha(self.content)


@dataclass(frozen=True)
class Lying:
    """One file on a copy: whose it is, what was done to it, what its bytes are now (None: they are gone)."""

    copy: str
    medium: str
    path: str
    picture: Picture
    fate: str
    content: bytes | None


@dataclass(repr=False)
class Pile:
    """All there is: `copies` maps a copy (a medium's folder, or an archive in it) to its form."""

    pictures: list[Picture] = field(default_factory=list)
    lying: list[Lying] = field(default_factory=list)
    kinds: dict[str, str] = field(default_factory=dict)  # medium → kind
    forms: dict[str, str] = field(default_factory=dict)  # copy → "", ".zip", ".tar", …
    others: list[tuple[str, str, bytes]] = field(default_factory=list)  # copy, path, content: sidecars
    droppings: list[tuple[str, str]] = field(default_factory=list)
    lists: dict[str, dict[str, str]] = field(default_factory=dict)  # medium → path → sha256 that its list states

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text(repr(self))

    def __repr__(self) -> str:
        lines = [f"media {self.kinds}, copies {self.forms}"]
        for one in self.pictures:
            what = "delivered" if one.delivery else f"camera {one.camera}"
            size = f"{len(one.content)} B, {one.digest[:8]}"
            lines.append(f"shot {one.number}: {one.name}, {what}, shoot {one.shoot}, {one.when}, {size}")
        for lie in self.lying:
            digest = "" if lie.content is None else sha(lie.content)[:8]
            lines.append(f"lies on {lie.copy}: {lie.path}: {lie.picture.number} {lie.fate} {digest}")
        lines += [f"beside on {copy}: {path}" for copy, path, _ in self.others]
        lines += [f"list on {medium}: {list(paths)}" for medium, paths in self.lists.items()]
        return "\n".join(lines)


def sha(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


# --- what was shot -----------------------------------------------------------------------------------------------


@lru_cache(maxsize=4096)
def _noise(number: int, width: int) -> bytes:
    """Return a JPEG of noise without its first two bytes (the mark that begins every JPEG)."""
    rng = random.Random(number)
    made = io.BytesIO()
    Image.frombytes("RGB", (width, 48), rng.randbytes(width * 48 * 3)).save(made, "JPEG", quality=88)
    return made.getvalue()[2:]


@lru_cache(maxsize=4096)
def _exif(when: datetime, camera: str) -> bytes:
    exif = Image.Exif()
    exif[0x0110] = camera
    exif.get_ifd(0x8769)[0x9003] = f"{when:%Y:%m:%d %H:%M:%S}"
    return exif.tobytes()


def jpeg(number: int, when: datetime | None, camera: str, *, width: int = 96) -> bytes:
    """Return a JPEG with or without a capture time; one of width 96 has some 6 kB, one of 16 under 4 KiB."""
    block = b"" if when is None else _exif(when, camera)
    head = b"\xff\xd8" + (b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block if block else b"")
    return head + _noise(number, width)


def raw(number: int, when: datetime | None, camera: str) -> bytes:
    """Return a tiny TIFF directory (model, time) before random bytes; without a time only random bytes."""
    rest = random.Random(number).randbytes(5000 + 37 * (number % 60))
    if when is None:
        return rest
    model, date = camera.encode() + b"\0", f"{when:%Y:%m:%d %H:%M:%S}".encode() + b"\0"
    model_at = 8 + 2 + 12 * 2 + 4
    exif_at = model_at + len(model) + len(model) % 2
    first = struct.pack("<HHHII", 2, 0x110, 2, len(model), model_at) + struct.pack("<HHIII", 0x8769, 4, 1, exif_at, 0)
    second = struct.pack("<HHHIII", 1, 0x9003, 2, len(date), exif_at + 18, 0)
    return b"II*\0" + struct.pack("<I", 8) + first + model + b"\0" * (len(model) % 2) + second + date + rest


def film(number: int) -> bytes:
    return random.Random(f"film {number}").randbytes(4200 + 53 * (number % 50))


@st.composite
def _shot(draw: st.DrawFn) -> list[Picture]:
    found: list[Picture] = []
    names: set[tuple[int, str, bool]] = set()
    for shoot in range(draw(st.integers(1, 3))):
        day = datetime(2026, 3, 1, 10) + timedelta(days=9 * shoot)
        for camera in draw(st.lists(st.integers(0, 2), min_size=1, max_size=2, unique=True)):
            first = draw(st.sampled_from([1, 1, 7, 9998]))
            kinds = draw(
                st.lists(
                    st.sampled_from(["jpeg"] * 4 + ["raw", "pair", "film", "untimed", "small", "burst"]),
                    min_size=1,
                    max_size=4,
                )
            )
            for step, kind in enumerate(kinds):
                number = (first + step - 1) % 9999 + 1
                after_s = camera * 1000 + (step // 2 * 2 if kind == "burst" else step * 60 + 1)
                stem = f"{CAMERAS[camera][0]}{number:04d}"
                _take(found, names, _Press(shoot, camera, stem, kind, day + timedelta(seconds=after_s)))
    for picture in list(found):
        if picture.name.endswith(".JPG") and draw(st.integers(0, 4)) == 0:
            same = draw(st.booleans()) and draw(st.booleans())
            export = jpeg(5000 + picture.number, picture.when, CAMERAS[picture.camera][1], width=72)
            content = picture.content if same else export
            found.append(replace(picture, number=5000 + picture.number, content=content, delivery=True))
    return found


@dataclass(frozen=True)
class _Press:
    """One press of the button."""

    shoot: int
    camera: int
    stem: str
    kind: str
    when: datetime


def _take(found: list[Picture], names: set[tuple[int, str, bool]], press: _Press) -> None:
    """Add what one press of the button makes. What has no time has a name of its own within its shoot: two such files
    of one name in one shoot are more than anybody could tell apart where each lies on another medium."""
    number, model, stem, when = len(found), CAMERAS[press.camera][1], press.stem, press.when
    made: list[tuple[str, datetime | None, bytes]] = []
    if press.kind in ("jpeg", "burst", "pair"):
        made.append((f"{stem}.JPG", when, jpeg(number, when, model)))
    if press.kind in ("raw", "pair"):
        made.append((f"{stem}.DNG", when, raw(number, when, model)))
    if press.kind == "film":
        made.append((f"{stem}.MOV", None, film(number)))
    if press.kind == "untimed":
        made.append((f"{stem}.JPG", None, jpeg(number, None, model)))
    if press.kind == "small":
        made.append((f"{stem}.JPG", when, jpeg(number, when, model, width=16)))
    for name, taken, content in made:
        known = {timed for shoot, other, timed in names if (shoot, other) == (press.shoot, name)}
        if known and (taken is None or False in known):
            continue
        names.add((press.shoot, name, taken is not None))
        found.append(Picture(len(found), press.shoot, press.camera, name, number, taken, content))


# --- where it lies -----------------------------------------------------------------------------------------------


def damaged(content: bytes, fate: str, where: int) -> bytes | None:
    """Return what is left of a file; None where it is gone. `where` is a number from 0 to 15."""
    at = len(content) * where // 16
    end = min(len(content), at + 300)
    left: dict[str, bytes | None] = {
        "gone": None,
        "cut": content[: len(content) * (6 + where // 2) // 16],
        "zeros": content[:at] + bytes(end - at) + content[end:],
        "garbage": content[:at] + random.Random(where).randbytes(end - at) + content[end:],
        "flip": content[:at] + bytes([content[at] ^ 1 << where % 8]) + content[at + 1 :],
        "empty": b"",
        "blank": bytes(max(4096, len(content))),
    }
    return left.get(fate, content)


@dataclass
class _Naming:
    """How one copy names things."""

    layout: str
    style: str
    form: str

    def folder(self, shoot: int) -> str:
        """Return the shoot's folder, in the accents' form that this file system keeps."""
        day = datetime(2026, 3, 1) + timedelta(days=9 * shoot)
        name = unicodedata.normalize(self.form, SHOOTS[shoot])
        match self.layout:
            case "dated":
                return f"2026/{day:%Y-%m-%d} {name}"
            case "named":
                return f"work/{name}"
            case "upper":
                return f"WORK/{name.upper()}"
        return "Pictures/old"

    def file(self, picture: Picture) -> str:
        """Return the file's own name on this copy."""
        ending = picture.name[-4:]
        match self.style:
            case "lower":
                return picture.name.lower()
            case "renamed":
                stem = f"{SHOOTS[picture.shoot]} {ACCENTED}{picture.pair:03d}{ending}"
                return unicodedata.normalize(self.form, stem)
        return picture.name

    def path(self, picture: Picture, taken: set[str], *, again: str = "") -> str:
        """Return a path nobody has: below DCIM by camera, else below the shoot's folder."""
        for turn in range(40):
            if self.layout == "card":
                number = 100 + turn + (1 if picture.name[4:8] < "5000" else 0)
                path = f"DCIM/{number}{CAMERAS[picture.camera][0]}_/{picture.name}"
            else:
                part = "deliver/" if picture.delivery else "raw/" if self.layout == "dated" else ""
                extra = (
                    f"{turn}/"
                    if turn and self.layout in ("vague", "named", "upper")
                    else ""
                    if not turn
                    else f"cam {turn}/"
                )
                path = f"{again}{self.folder(picture.shoot)}/{part}{extra}{self.file(picture)}"
            if path.casefold() not in taken:
                taken.add(path.casefold())
                return path
        raise AssertionError(path)


LAYOUTS = ("card", "dated", "named", "upper", "vague")
ARCHIVES = (".zip", ".tar", ".tar.gz")
FATES = ("whole",) * 9 + ("gone", "gone", "cut", "zeros", "garbage", "flip", "twice", "again-renamed", *HOLLOW)


@st.composite
def piles(draw: st.DrawFn) -> Pile:
    """Draw a pile of one to four media with at least one picture on it."""
    pile = Pile(pictures=draw(_shot()))
    for number in range(draw(st.integers(1, 4))):
        layout = draw(st.sampled_from(LAYOUTS))
        packed = "" if layout == "card" else draw(st.sampled_from(["", "", "", *ARCHIVES]))
        medium = f"m{number}"
        pile.kinds[medium] = "card" if layout == "card" else draw(st.sampled_from(KINDS[1:]))
        _copy(draw, pile, layout, medium=medium, packed=packed)
        if not packed and draw(st.integers(0, 4)) == 0:  # and an archive of some of it beside it, on the same medium
            _copy(draw, pile, draw(st.sampled_from(LAYOUTS[1:])), medium=medium, packed=draw(st.sampled_from(ARCHIVES)))
        for dropping in draw(st.lists(st.sampled_from(DROPPINGS), max_size=2, unique=True)):
            pile.droppings.append((medium, dropping))
        pile.droppings.append((medium, ".DS_Store"))
    return pile


def _copy(draw: st.DrawFn, pile: Pile, layout: str, *, medium: str, packed: str) -> None:
    style = "camera" if layout == "card" else draw(st.sampled_from(["camera", "camera", "lower", "renamed"]))
    how = _Naming(layout, style, draw(st.sampled_from(["NFC", "NFD"])))
    copy = f"{medium}/years/box{packed}" if packed else medium
    pile.forms[copy] = packed
    _fill(draw, pile, how, medium=medium, copy=copy)


def _fill(draw: st.DrawFn, pile: Pile, how: _Naming, *, medium: str, copy: str) -> None:
    taken: set[str] = set()
    shoots = draw(st.frozensets(st.integers(0, 2), min_size=1))
    listing = draw(st.sampled_from(["", "", "", "right", "late"])) if copy == medium else ""
    stated: dict[str, str] = {}
    others = draw(st.sampled_from(["", "beside", "tree"])) if how.layout != "card" else ""
    for picture in pile.pictures:
        if picture.shoot not in shoots or (picture.delivery and how.layout in ("card", "vague")):
            continue
        fate, where = draw(st.sampled_from(FATES)), draw(st.integers(0, 15))
        path = how.path(picture, taken)
        content = damaged(picture.content, fate, where)
        pile.lying.append(Lying(copy, medium, path, picture, fate, content))
        if listing == "right" or content is not None:
            stated[path] = sha(picture.content if listing == "right" else content or b"")
        if fate in ("twice", "again-renamed") and how.layout not in ("card", "vague"):
            other = replace_style(how, "camera" if fate == "twice" else "renamed")
            path = other.path(picture, taken, again="again/")
            fate = draw(st.sampled_from(["whole", *DAMAGE]))
            pile.lying.append(Lying(copy, medium, path, picture, fate, damaged(picture.content, fate, where)))
        if others and not picture.delivery and picture.name.endswith("DNG"):
            _sidecar(pile, picture, how, path=path, copy=copy, tree=others == "tree", equal=draw(st.booleans()))
    if listing and stated:
        pile.lists[medium] = stated


def replace_style(how: _Naming, style: str) -> _Naming:
    return _Naming(how.layout, style, how.form)


def _sidecar(pile: Pile, picture: Picture, how: _Naming, *, path: str, copy: str, tree: bool, equal: bool) -> None:
    folder, _, name = path.rpartition("/")
    where = f"edits/{how.folder(picture.shoot)}" if tree else folder
    content = b"<x:xmpmeta/>" if equal else b"<x:xmpmeta/><!-- %d -->" % picture.number
    target = f"{where}/{name[:-4]}.xmp"
    if all((c, p.casefold()) != (copy, target.casefold()) for c, p, _ in pile.others):
        pile.others.append((copy, target, content))


# --- on disk -----------------------------------------------------------------------------------------------------


def lay_out(pile: Pile, folder: Path) -> list[str]:
    """Write a pile below a folder; return the --medium arguments for what has something on it."""
    for medium in pile.kinds:
        _put(folder / medium / "README.txt", b"this drive is plugged in")
    for copy, form in pile.forms.items():
        files = [(one.path, one.content) for one in pile.lying if one.copy == copy and one.content is not None]
        files += [(path, content) for where, path, content in pile.others if where == copy]
        if not form:
            for path, content in files:
                _put(folder / copy / path, content)
        elif files:
            (folder / copy).parent.mkdir(parents=True, exist_ok=True)
            (_zip if form == ".zip" else _tar)(folder / copy, files, form)
    for medium, path in pile.droppings:
        _put(folder / medium / path, b"left behind")
    for medium, stated in pile.lists.items():
        lines = [f"{digest}  {path}\n" for path, digest in stated.items()]
        _put(folder / medium / "SHA256SUMS", "".join(lines).encode())
    return [f"{kind}={folder / medium}" for medium, kind in pile.kinds.items()]


def _put(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)


def _zip(path: Path, files: Sequence[tuple[str, bytes]], form: str) -> None:
    with zipfile.ZipFile(path, "w") as box:
        for name, content in files:
            box.writestr(name, content)


def _tar(path: Path, files: Sequence[tuple[str, bytes]], form: str) -> None:
    with tarfile.open(path, "w:gz" if form == ".tar.gz" else "w") as box:
        for name, content in files:
            info = tarfile.TarInfo(name)
            info.size = len(content)
            box.addfile(info, io.BytesIO(content))
