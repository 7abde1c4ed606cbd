"""A studio to try things on: real small files on copies in a temporary folder, and the studio file that names them.

Flows in: a few words. Flows out: a StudioFolder, gone with all its files when its `with` block ends. The studio file is
written anew with each thing that is added. Must not know: drills, what goes wrong.

Below the folder: `studio.toml`; `manifests/`, the lists; `media/<copy>/`, each copy in a folder of its own with a file
`here.txt` that it is recognised by; `scratch/`. What behind links is served from `media/` by the demo's link server.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

from drill import clock
from drill.demo.links import LinkServer, link
from drill.digests import Digester, is_kind
from drill.errors import Mistake, Mistakes
from drill.globs import matcher
from drill.manifests import suffix, unsafe, write_list
from drill.model import Digest, Studio
from drill.studio import KINDS, load_studio
from drill.tables import ID_WORDS, is_id
from drill.testing import made
from drill.testing.asked import a, by_name, file_bytes, texts
from drill.testing.packing import ARCHIVES, lay_folder, pack
from drill.testing.writing import table

HERE = "here.txt"
DAY = date(2026, 9, 12)
MEDIA: Mapping[str, str] = {"tablet": "tablet in bag", "drive": "hard-disk in house"}
SHOOTS: Mapping[str, int] = {"heron": 4}
CLASSES: Mapping[str, Sequence[str]] = {
    "originals": ["*.dng", "*.nef", "*.cr3"],
    "edits": ["*.xmp"],
    "deliverables": ["deliver/**"],
}
_MEDIA_LIKE, _SHOOTS_LIKE, _COPIES_LIKE = '{"tablet": "tablet in bag"}', '{"heron": 4}', '{"tablet": "heron"}'
_LINKS_LAST = timedelta(days=1)
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class ShootFiles:
    """A shoot of a studio to try things on: what it promises, as bytes by promised path."""

    id: str
    date: date
    files: Mapping[str, bytes] = field(repr=False)


@dataclass(frozen=True, slots=True)
class CopyFolder:
    """A copy of a studio to try things on: its medium, its own folder in `media/`, its form, and the bytes that were
    written, by their paths on the copy. In `root` lie these files, or the one archive."""

    id: str
    on: str
    root: Path
    form: str
    holds: Mapping[str, bytes] = field(repr=False)
    archive: Path | None = None


class StudioFolder:
    """A studio to try things on, as `studio_folder` makes it; nobody else can. `file` is its studio file."""

    def __init__(self, folder: Path, kept: ExitStack) -> None:
        made.check_made(folder)
        self.folder, self.file = folder, folder / "studio.toml"
        self.past_end: set[str] = set()  # copies whose link has ended
        self.whole: dict[str, Path] = {}  # of copies that were really damaged, where their files are set aside
        self._kept = kept
        self._targets: dict[str, Any] = {}
        self._tables: dict[str, list[dict[str, Any]]] = {"places": [], "media": [], "shoots": [], "copies": []}
        self._shoots: dict[str, ShootFiles] = {}
        self._copies: dict[str, CopyFolder] = {}
        for name in ("manifests", "media"):
            (folder / name).mkdir()
        self._write()

    def __repr__(self) -> str:
        return f"<studio to try things on: {', '.join(self._shoots)} on {', '.join(self._copies)}, {self.file}>"

    # --- asking ------------------------------------------------------------------------------------------------------

    def load(self) -> Studio:
        """Read the studio file as every command does. Errors: Mistakes."""
        return load_studio(self.file)

    def shoot(self, id_: str) -> ShootFiles:
        """Return a shoot and the bytes it promises. Errors: Mistakes for an unknown id."""
        return self._known(self._shoots, id_, "shoot")

    def copy(self, id_: str) -> CopyFolder:
        """Return a copy: where it lies, what was written. Errors: Mistakes for an unknown id."""
        return self._known(self._copies, id_, "copy")

    def _known(self, known: Mapping[str, T], id_: str, word: str) -> T:
        if id_ not in known:
            raise self._mistake(f"{word} {id_}", f"no {word} of this studio has this id", f"ids: {', '.join(known)}")
        return known[id_]

    # --- adding ------------------------------------------------------------------------------------------------------

    def set_targets(self, **targets: Any) -> None:
        """Set the studio's targets by the keys of the studio file, such as `further_failures=1`."""
        self._targets = targets
        self._write()

    def add_place(self, id_: str, **keys: Any) -> None:
        """Add a place; `keys` as in the studio file: carried, offsite."""
        self._add("places", id_, keys)

    def add_medium(self, id_: str, kind: str = "hard-disk", place: str = "house", **keys: Any) -> None:
        """Add a medium; `keys` as in the studio file: account, needs, mirrors, keeps_versions, attached …"""
        if kind not in KINDS:
            raise self._mistake(f"media[{id_}].kind", f"{kind!r} is no kind of medium", f"kinds: {', '.join(KINDS)}")
        self._add("media", id_, {"kind": kind, "place": place, "recognised_by": HERE} | keys)

    def add_shoot(
        self, id_: str, files: int | Mapping[str, bytes] = 4, *, on: date = DAY, digest: str = "sha256", **keys: Any
    ) -> ShootFiles:
        """Add a shoot that promises `files`: so many pictures of a few kilobytes, or bytes by promised path.

        `keys` as in the studio file: client, targets (a mapping). No copy holds it yet. Errors: Mistakes.
        """
        self._check_new("shoots", id_)
        advice = 'give a number of pictures, or bytes by path, such as {"raw/A0001.dng": b"…"}'
        given = a((int, Mapping), files, function="add_shoot", word=f"files of {id_}", advice=advice)
        promised = dict(pictures(id_, given) if isinstance(given, int) else file_bytes(given, "add_shoot", id_))
        self._check_paths(f"shoots[{id_}]", promised)
        if not promised or not is_kind(digest):
            raise self._mistake(f"shoots[{id_}]", "promises nothing, or by no digest", "sha256 will do")
        name = f"manifests/{id_}{suffix(digest)}"
        self._add("shoots", id_, {"date": on, "manifest": name} | keys, listing=(name, promised, digest))
        self._shoots[id_] = ShootFiles(id_, on, promised)
        return self._shoots[id_]

    def add_copy(
        self,
        on: str,
        of: str | Sequence[str] | None = None,
        *,
        id_: str | None = None,
        files: str | Sequence[str] = "**",
        form: str = "folder",
        holds: Mapping[str, bytes] | None = None,
        says: Mapping[str, bytes] | bool = False,
        digest: str = "md5",
        **keys: Any,
    ) -> CopyFolder:
        """Add a copy on a medium: of some shoots (default: all), or only those of their `files` that match.

        `form` is "folder", an archive's ending (.7z .zip .tar .tar.gz .tar.xz) or "link" (a base address that this
        computer serves). `holds` are the bytes to write instead, by paths on the copy. `says` is the copy's list: True
        for one of what it holds, or the bytes whose digests are listed. Of several shoots, each lies in a folder named
        like it. `keys` as in the studio file: made. Errors: Mistakes.
        """
        known = [row["id"] for row in self._tables["media"]]
        if on not in known:
            raise self._mistake("copies", f"no medium has the id {on!r}", f"media: {', '.join(known) or 'none yet'}")
        if form not in ("folder", "link", *ARCHIVES):
            raise self._mistake("copies", f"{form!r} is no form", f"forms: folder, link, {', '.join(ARCHIVES)}")
        id_ = id_ or self._free_id(on)
        stored = dict(self._chosen(of, files) if holds is None else file_bytes(holds, "add_copy", "holds"))
        self._check_paths(f"copies[{id_}]", stored)
        told = says if isinstance(says, bool) else file_bytes(says, "add_copy", "says")
        listed = stored if told is True or (form == "link" and told is False) else told or None
        root = self.folder / "media" / id_
        name = f"manifests/copy-{id_}{suffix(digest)}"
        row: dict[str, Any] = {"on": on, "at": f"media/{id_}", "manifest": name if listed else None} | keys
        archive = root / f"{id_}{form}" if form in ARCHIVES else None
        if archive is not None:
            row["at"] = f"media/{id_}/{archive.name}"
        self._check_new("copies", id_)
        made.check_inside(self.folder, root)
        lay_folder(root, {HERE: b"this one is here\n"} | (stored if archive is None else {}))
        if archive is not None:
            pack(archive, form, stored)
        if form == "link":
            row["at"] = self._serve(id_)
        self._copies[id_] = CopyFolder(id_, on, root, form, stored, archive)
        self._add("copies", id_, row, listing=(name, listed, digest) if listed else None)
        return self._copies[id_]

    # --- inside ------------------------------------------------------------------------------------------------------

    def _chosen(self, of: str | Sequence[str] | None, files: str | Sequence[str]) -> Iterator[tuple[str, bytes]]:
        shoots = tuple(self._shoots) if of is None else texts(of, function="add_copy", word="of")
        wanted = matcher(texts(files, function="add_copy", word="files"))
        for id_ in shoots:
            for path, data in self.shoot(id_).files.items():
                if wanted(path):
                    yield (f"{id_}/{path}" if len(shoots) > 1 else path), data

    def _serve(self, id_: str) -> str:
        """Serve a copy on this computer; return its address."""

        def now() -> datetime:
            return clock.now() + (2 * _LINKS_LAST if id_ in self.past_end else timedelta())

        server = self._kept.enter_context(LinkServer(self.folder, clock=now))
        return link(server.base, f"media/{id_}", clock.now() + _LINKS_LAST)

    def _free_id(self, on: str) -> str:
        number, id_ = 1, on
        while id_ in self._copies:
            number += 1
            id_ = f"{on}-{number}"
        return id_

    def _check_paths(self, at: str, files: Mapping[str, bytes]) -> None:
        for path in files:
            why = unsafe(path) or ("has a backslash" if "\\" in path else None)
            if why:
                raise self._mistake(at, f"the name {path!r} {why}", "name it relative to the shoot or copy, with /")

    def _check_new(self, what: str, id_: str) -> None:
        a(str, id_, function=f"add to {what}", word="id", advice="give it as a text")
        if not is_id(id_):
            raise self._mistake(f"{what}[{id_}]", f"{id_!r} is no id", ID_WORDS)
        if any(row["id"].casefold() == id_.casefold() for row in self._tables[what]):
            raise self._mistake(f"{what}[{id_}]", "is there already", "choose another id")

    def _add(
        self,
        what: str,
        id_: str,
        keys: Mapping[str, Any],
        *,
        listing: tuple[str, Mapping[str, bytes], str] | None = None,
    ) -> None:
        self._check_new(what, id_)
        if listing is not None:
            name, files, kind = listing
            write_list(self.folder / name, [(digest_of(data, kind), path) for path, data in files.items()])
        self._tables[what].append({"id": id_} | dict(keys))
        self._write()

    def _write(self) -> None:
        made.check_made(self.folder)
        head = {"name": "Reed and Heron", "scratch": "scratch"}
        text = "" if self._tables["shoots"] else "shoots = []\n"
        text += table("[studio]", head) + table("[classes]", CLASSES)
        text += table("[targets]", self._targets)
        for what, rows in self._tables.items():
            text += "".join(table(f"[[{what}]]", row) for row in rows)
        self.file.write_text(text, encoding="utf-8")

    def _mistake(self, at: str, what: str, advice: str) -> Mistakes:
        return Mistakes([Mistake(str(self.file), at, what, advice)])


def pictures(shoot: str, count: int) -> Mapping[str, bytes]:
    """Return so many invented pictures by path; their bytes follow from the shoot and the number alone."""
    stem = (shoot.upper().replace("-", "") + "____")[:4]
    names = {n: f"raw/{stem}{n:04d}.dng" for n in range(1, count + 1)}
    return {name: content(f"{shoot} {n}", 3000 + 500 * (n % 7)) for n, name in names.items()}


def content(name: str, size: int) -> bytes:
    """Return `size` bytes that follow from a name and are like no other name's."""
    words = f"picture {name} ".encode()
    return (words * (size // len(words) + 1))[:size]


def digest_of(data: bytes, kind: str) -> Digest:
    """Return one digest of some bytes."""
    digester = Digester([kind])
    digester.update(data)
    return digester.digests()[0]


@contextmanager
def studio_folder(
    under: Path | None = None,
    *,
    media: Mapping[str, str] = MEDIA,
    shoots: Mapping[str, int | Mapping[str, bytes]] = SHOOTS,
    copies: Mapping[str, str | Sequence[str]] | None = None,
) -> Iterator[StudioFolder]:
    """Lay out a studio in a fresh folder inside `under` (default: the system's temporary folder), removed at the end.

    `media` are written as "KIND in PLACE" by id; a bag is carried. `shoots` are counts of pictures, or bytes by path.
    `copies` are the shoots that each medium holds; default: every medium holds all. Errors: Mistakes, OSError.
    """
    _check_names(media=(media, _MEDIA_LIKE), shoots=(shoots, _SHOOTS_LIKE), copies=(copies or {}, _COPIES_LIKE))
    folder = made.fresh(under)
    with ExitStack() as kept:
        kept.callback(made.remove, folder)
        studio = StudioFolder(folder, kept)
        for id_, given in media.items():
            advice = f"write it like {_MEDIA_LIKE}"
            words = a(str, given, function="studio_folder", word=f"media, {id_}", advice=advice)
            kind, _, place = words.partition(" in ")
            if place == "bag" and not any(row["id"] == "bag" for row in studio._tables["places"]):
                studio.add_place("bag", carried=True)
            studio.add_medium(id_, kind, place or "house")
        for id_, files in shoots.items():
            studio.add_shoot(id_, files)
        for on in media if copies is None else copies:
            studio.add_copy(on, None if copies is None else copies[on])
        yield studio


def _check_names(**words: tuple[object, str]) -> None:
    """Refuse what gives nothing by name, each beside an example of how it is written. Errors: Mistakes."""
    for word, (given, like) in words.items():
        by_name(given, function="studio_folder", word=word, advice=f"write it like {like}")
