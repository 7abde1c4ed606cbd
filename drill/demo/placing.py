"""Put the demo's files on its media, write their lists and archives, then plant the damage and the gaps.

Flows in: the drawn shoots, the folder. Flows out: files below the folder, and notes in plain words on what was
planted where. Must not know: how the studio file reads (example), the link server. Facts: the BagIt layout from RFC
8493; DCF folder names are three digits and five characters (JEITA CP-3461). Copies are made whole and damaged last,
as it happens in life.
"""

import gzip
import io
import os
import tarfile
import unicodedata
import zipfile
from collections.abc import Mapping
from pathlib import Path

import py7zr

from drill.demo.studio import STUDIO_NAME, Drawn, Made
from drill.digests import Digester
from drill.manifests import format_list
from drill.model import Digest

Tree = dict[str, Made]

# The copies that are folders: where below media/, and the kind of the list that says what is there.
LISTS: Mapping[str, str] = {
    "archive-a": "xxh64",
    "archive-b": "sha256",
    "computer": "md5",
    "field-ssd": "xxh128",
    "cloud": "sha256",
    "gallery": "sha256",
    "attic-disk": "sha256",
    "archive-old": "sha1",
}
PROMISES: Mapping[str, str] = {
    "ropewalk-wedding": "sha256",
    "lighthouse-stair": "sha256",
    "glassworks": "sha256",
    "marsh-ponies": "xxh128",
    "night-ferry": "sha256",
}
BAGGED = "fen-harvest"  # this promise is a bag without its payload

_FOLDERS = {"cloud": "cloud/uploads", "gallery": "gallery/glassworks"}  # else named like the medium
_ONLY_LISTED = ("attic-disk", "archive-old")  # a disk that is elsewhere, and one that is not plugged in
_RECOGNISED_BY = {"archive-a": "ARCHIVE-A.txt", "archive-b": "ARCHIVE-B.txt"}

_EDIT_ON_TABLET = "originals/QLLN2221.xmp"  # of marsh-ponies
_ONLY_IN_CLOUD = "deliver/ropewalk-14.jpg"  # of ropewalk-wedding
_ROTTEN = "originals/QLLN2213.TIF"  # of marsh-ponies; a TIFF keeps no check value, so no program notices
_ROTTEN_BIT = (200_000, 0b0000_0100)
_COPIED_WHOLE = 40  # files of glassworks that reached the field drive before its cable came loose
_COPIED_SHARE = 0.6  # of the one that was on its way


def place(folder: Path, shoots: Mapping[str, Drawn]) -> tuple[str, ...]:
    """Write all media, archives, lists and promises below `folder`; return what was planted. Errors: OSError."""
    media, lists = folder / "media", folder / "manifests"
    lists.mkdir(parents=True)
    trees = _trees(shoots)
    for copy, tree in trees.items():
        if copy not in _ONLY_LISTED:
            _put(media / _FOLDERS.get(copy, copy), tree)
        if copy in LISTS:
            _write_list(lists / f"{copy}.{LISTS[copy]}", tree)
    (media / "archive-old").mkdir()  # where the old drive appears when it is plugged in
    for copy, name in _RECOGNISED_BY.items():
        (media / copy / name).write_text(f"{STUDIO_NAME}: archive drive {copy[-1].upper()}\n", encoding="utf-8")
    _pack(media, shoots)
    for shoot, kind in PROMISES.items():
        _write_list(lists / f"{shoot}.{kind}", dict(shoots[shoot].files))
    _write_bag(lists / f"{BAGGED}-bag", shoots[BAGGED])
    return _damage(media, shoots, trees)


# --- what each copy holds ----------------------------------------------------------------------------------------


def _trees(shoots: Mapping[str, Drawn]) -> dict[str, Tree]:
    """Return what each folder copy is said to hold, by its own paths there."""
    fen, rope, stair = shoots["fen-harvest"], shoots["ropewalk-wedding"], shoots["lighthouse-stair"]
    glass, ponies, ferry = shoots["glassworks"], shoots["marsh-ponies"], shoots["night-ferry"]
    kept = _without(ponies.files, _EDIT_ON_TABLET)
    computer = _below(f"Pictures/{fen.id}", fen.files)
    computer |= _below(f"Pictures/{rope.id}", _without(rope.files, _ONLY_IN_CLOUD))
    uploaded = {_ONLY_IN_CLOUD: rope.files[_ONLY_IN_CLOUD]}
    return {
        "card": _flat_card(ferry),
        "tablet": _on_tablet(ferry, ponies),
        "field-ssd": _below(f"{ferry.date} night ferry", ferry.files) | _glass_in_field(glass),
        "computer": computer,
        "mirror": dict(computer),
        "archive-a": _below(f"{fen.date.year}/{fen.id}", fen.files) | _below(f"{ponies.date.year}/{ponies.id}", kept),
        "archive-b": _below(f"{fen.date.year}/{fen.id}", fen.files),
        "cloud": _below(fen.id, fen.files) | _below(rope.id, uploaded),
        "gallery": {path.partition("/")[2]: made for path, made in glass.files.items() if path.startswith("deliver/")},
        "attic-disk": _below(fen.id, fen.files) | _below(stair.id, stair.files),
        "archive-old": _below(f"{stair.date.year}/{stair.id}", stair.files),
    }


def _below(folder: str, files: Mapping[str, Made]) -> Tree:
    return {f"{folder}/{path}": made for path, made in files.items()}


def _without(files: Mapping[str, Made], path: str) -> Tree:
    return {name: made for name, made in files.items() if name != path}


def _flat_card(ferry: Drawn) -> Tree:
    """Lay originals out as the camera does: one numbered folder a day, nothing below, no edits."""
    folders = {"day-1": "DCIM/100ORREL", "day-2": "DCIM/101ORREL"}
    tree: Tree = {}
    for path, made in ferry.files.items():
        day, _, name = path.rpartition("/")
        if day in folders and not name.endswith(".xmp"):
            tree[f"{folders[day]}/{name}"] = made
    return tree


def _on_tablet(ferry: Drawn, ponies: Drawn) -> Tree:
    """Lay out what the tablet's gallery made of it: its own folder names, every name in decomposed Unicode (NFD)."""
    tree = _below(f"Import {ferry.date} Nachtfähre", ferry.files)
    edits = {path: made for path, made in ponies.files.items() if path.endswith(".xmp")}
    tree |= {f"Edits/Marsh ponies/{path.rpartition('/')[2]}": made for path, made in edits.items()}
    return {unicodedata.normalize("NFD", path): made for path, made in tree.items()}


def _glass_in_field(glass: Drawn) -> Tree:
    return _below(f"{glass.date} glassworks", glass.files)


# --- writing -----------------------------------------------------------------------------------------------------


def _put(folder: Path, tree: Mapping[str, Made]) -> None:
    for path, made in tree.items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(made.data)
        _keep_time(target, made)


def _keep_time(path: Path, made: Made) -> None:
    stamp = int(made.modified.timestamp())
    os.utime(path, (stamp, stamp))


def _digest(data: bytes, kind: str) -> Digest:
    digester = Digester((kind,))
    digester.update(data)
    return digester.digests()[0]


def _write_list(path: Path, tree: Mapping[str, Made]) -> None:
    kind = path.suffix[1:]
    path.write_bytes(format_list((_digest(made.data, kind), name) for name, made in sorted(tree.items())))


def _write_bag(bag: Path, shoot: Drawn) -> None:
    """Write a bag whose payload is not in it: its manifest alone promises what must be recoverable."""
    (bag / "data").mkdir(parents=True)
    octets = sum(len(made.data) for made in shoot.files.values())
    tags = {
        "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "bag-info.txt": (
            f"Source-Organization: {STUDIO_NAME}\nExternal-Identifier: {shoot.id}\n"
            f"Bagging-Date: {shoot.at(2).date()}\nPayload-Oxum: {octets}.{len(shoot.files)}\n"
        ).encode(),
        "manifest-sha256.txt": format_list(
            (_digest(made.data, "sha256"), f"data/{name}") for name, made in sorted(shoot.files.items())
        ),
    }
    for name, data in tags.items():
        (bag / name).write_bytes(data)
    listed = ((_digest(data, "sha256"), name) for name, data in sorted(tags.items()))
    (bag / "tagmanifest-sha256.txt").write_bytes(format_list(listed))


def _pack(media: Path, shoots: Mapping[str, Drawn]) -> None:
    ponies, glass = shoots["marsh-ponies"], shoots["glassworks"]
    packed = _below(ponies.id, _without(ponies.files, _EDIT_ON_TABLET))
    _write_7z(media / "archive-b" / "marsh-ponies.7z", packed, media / "archive-a" / str(ponies.date.year))
    zipped = _zip_bytes(packed)
    for medium in ("computer", "mirror"):
        (media / medium / "marsh-ponies.zip").write_bytes(zipped)
        _keep_time(media / medium / "marsh-ponies.zip", Made(b"", ponies.at(6)))
    online = media / "cloud" / "archives"
    online.mkdir()
    (online / "marsh-ponies.tar.gz").write_bytes(_tar_gz_bytes(packed))
    (online / "glassworks.zip").write_bytes(_zip_bytes(_below(glass.id, glass.files)))


def _write_7z(path: Path, tree: Mapping[str, Made], source: Path) -> None:
    """Pack the files of `tree`, which lie below `source`, into one solid block, the small edits last."""
    fast = [{"id": py7zr.FILTER_LZMA2, "preset": 1}]  # pictures hardly shrink
    with py7zr.SevenZipFile(path, "w", filters=fast) as archive:
        for name in sorted(tree, key=lambda name: (name.endswith(".xmp"), name)):
            archive.write(source / name, name)


def _zip_bytes(tree: Mapping[str, Made]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, made in sorted(tree.items()):
            # A zip keeps local time without saying whose (APPNOTE 4.4.6).
            about = zipfile.ZipInfo(name, made.modified.astimezone().timetuple()[:6])
            about.external_attr = 0o644 << 16
            archive.writestr(about, made.data)
    return out.getvalue()


def _tar_gz_bytes(tree: Mapping[str, Made]) -> bytes:
    out = io.BytesIO()
    with (
        gzip.GzipFile(fileobj=out, mode="wb", compresslevel=1, mtime=0) as packed,
        tarfile.open(fileobj=packed, mode="w") as archive,
    ):
        for name, made in sorted(tree.items()):
            about = tarfile.TarInfo(name)
            about.size, about.mtime, about.mode = len(made.data), int(made.modified.timestamp()), 0o644
            archive.addfile(about, io.BytesIO(made.data))
    return out.getvalue()


# --- damage and gaps ---------------------------------------------------------------------------------------------


def _damage(media: Path, shoots: Mapping[str, Drawn], trees: Mapping[str, Tree]) -> tuple[str, ...]:
    """Spoil what has been written, and say so together with the gaps that are there by design."""
    ponies, glass, ferry = shoots["marsh-ponies"], shoots["glassworks"], shoots["night-ferry"]
    rotten = f"archive-a/{ponies.date.year}/{ponies.id}/{_ROTTEN}"
    _flip(media / rotten, ponies.files[_ROTTEN])
    cut, missing = _interrupt(media / "field-ssd", _glass_in_field(glass))
    twice = sorted(_names(ferry, "day-1/") & _names(ferry, "day-2/"))
    again = sorted(_names(glass, "originals/") & _names(shoots["fen-harvest"], "originals/"))
    tablet = next(path for path in trees["tablet"] if path.endswith("/" + _EDIT_ON_TABLET.rpartition("/")[2]))
    decomposed = next(path for path in trees["tablet"] if "/deliver/" in path)
    return (
        f"media/{rotten}: one bit has flipped; it still opens and nothing complains, and it is the first copy a hand "
        "would take",
        f"media/field-ssd/{cut}: the end is missing; the copy was interrupted here",
        f"media/field-ssd/{glass.date} glassworks: the {missing} files after that one never arrived, though the list "
        "made beforehand names them",
        f"media/tablet/{tablet}: this edit was never copied off the tablet",
        f"media/cloud/uploads/ropewalk-wedding/{_ONLY_IN_CLOUD}: this finished picture is on no other copy",
        f"media/card/DCIM: flat camera folders, no edits; {len(twice)} camera names ({twice[0]} …) are there twice "
        "with different pictures, because the counter was set back between the days",
        f"media/field-ssd/{glass.date} glassworks/originals: the camera's numbers rolled over; {len(again)} names "
        f"({again[0]} …) are also those of other pictures in fen-harvest",
        f"media/tablet/{decomposed}: names on the tablet are in decomposed Unicode (NFD), promised ones composed",
        "media/archive-old: an empty folder where the old archive drive would appear; lighthouse-stair is only there "
        "and on the disk at the sister's house",
        "media/mirror: kept in step with the computer; what is deleted or encrypted there is so here",
        "media/cloud/archives/glassworks.zip: the link to it expired 20 days ago and answers 403",
        "media/gallery/glassworks: the client's gallery has closed; its links answer with a web page, as if all "
        "were well",
    )


def _names(shoot: Drawn, folder: str) -> set[str]:
    return {path.rpartition("/")[2].partition(".")[0] for path in shoot.files if path.startswith(folder)}


def _flip(path: Path, made: Made) -> None:
    at, bit = _ROTTEN_BIT
    spoilt = bytearray(made.data)
    spoilt[at] ^= bit
    path.write_bytes(spoilt)
    _keep_time(path, made)  # rot leaves the date alone


def _interrupt(folder: Path, tree: Tree) -> tuple[str, int]:
    """Cut the copy of `tree` short; return the path that ends too soon and how many after it are missing."""
    paths = list(tree)
    cut, never = paths[_COPIED_WHOLE], paths[_COPIED_WHOLE + 1 :]
    whole = tree[cut].data
    (folder / cut).write_bytes(whole[: int(len(whole) * _COPIED_SHARE)])
    _keep_time(folder / cut, tree[cut])
    for path in never:
        (folder / path).unlink()
    for parent in {(folder / path).parent for path in never}:
        if not any(parent.iterdir()):
            parent.rmdir()
    return cut, len(never)
