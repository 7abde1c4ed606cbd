"""What the demo lays out is true: lists, promises and archives say what is there; only planted damage differs."""

import hashlib
import io
import re
import tarfile
import tomllib
import unicodedata
import zipfile
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from urllib.parse import urlsplit

import bagit
import py7zr
import pytest
import xxhash
from asking import ask, below
from PIL import Image

from drill.demo import DemoLayout, LinkServer, lay_out, served_folder
from drill.demo.studio import draw_shoots
from drill.errors import Mistakes, Unfinished
from drill.manifests import read_manifest
from drill.studio import load_studio

NOW = datetime.now(UTC).replace(microsecond=0)
HASHES = {"sha256": hashlib.sha256, "sha1": hashlib.sha1, "md5": hashlib.md5}
HASHES |= {"xxh64": xxhash.xxh64, "xxh128": xxhash.xxh3_128}

# Where each list's names lie; None: on a disk that is not here.
LISTED_AT = {
    "archive-a.xxh64": "media/archive-a",
    "archive-b.sha256": "media/archive-b",
    "computer.md5": "media/computer",
    "field-ssd.xxh128": "media/field-ssd",
    "cloud.sha256": "media/cloud/uploads",
    "gallery.sha256": "media/gallery/glassworks",
    "attic-disk.sha256": None,
    "archive-old.sha1": None,
}
PROMISES = {"ropewalk-wedding.sha256", "lighthouse-stair.sha256", "glassworks.sha256", "marsh-ponies.xxh128"}
PROMISES |= {"night-ferry.sha256"}

# The keys of the contract's studio file, by table.
KEYS = {
    "": {"studio", "targets", "classes", "weights", "places", "media", "buses", "shoots", "copies"}
    | {"scheme", "steps", "costs"},
    "studio": {"name", "scratch", "ledger", "reports"},
    "targets": {"restore_within", "lose_at_most", "further_failures", "verified_within"},
    "places": {"id", "carried", "offsite"},
    "media": {"id", "kind", "place", "account", "attached", "needs", "mirrors", "keeps_versions", "reads_at"}
    | {"per_file", "in_hand_after", "fails_per_year", "bus", "recognised_by"},
    "buses": {"id", "carries"},
    "shoots": {"id", "date", "client", "manifest", "targets"},
    "copies": {"id", "on", "at", "manifest", "made", "password_env"},
}
KINDS = {"card", "tablet", "phone", "computer", "ssd", "hard-disk", "network-storage", "optical", "tape", "cloud"}


@pytest.fixture(scope="module")
def laid_out(tmp_path_factory) -> Iterator[tuple[DemoLayout, LinkServer]]:
    folder = tmp_path_factory.mktemp("demo") / "new" / "studio"
    with LinkServer(served_folder(folder)) as server:
        yield lay_out(folder, link_base=server.base, now=NOW), server


@pytest.fixture(scope="module")
def layout(laid_out) -> DemoLayout:
    return laid_out[0]


@pytest.fixture(scope="module")
def studio(layout):
    return tomllib.loads(layout.studio_file.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def shoots():
    return draw_shoots(NOW)


def digest(data: bytes, kind: str) -> str:
    return HASHES[kind](data).hexdigest()


def lines_of(path: Path) -> dict[str, str]:
    """Read a plain list of ours: name → digest (own reader: nothing of drill's)."""
    pairs = (line.split("  ", 1) for line in path.read_text(encoding="utf-8").splitlines())
    return {name: value for value, name in pairs}


def files_below(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def everything(folder: Path) -> dict[str, bytes]:
    """Return every file on the media, archives opened: where → bytes."""
    found = files_below(folder / "media")
    for name, data in list(found.items()):
        if name.endswith(".zip"):
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                assert archive.testzip() is None
                found |= {f"{name}!{member}": archive.read(member) for member in archive.namelist()}
        elif name.endswith(".tar.gz"):
            with tarfile.open(fileobj=io.BytesIO(data)) as archive:
                for member in archive:
                    file = archive.extractfile(member)
                    assert file is not None
                    found[f"{name}!{member.name}"] = file.read()
        elif name.endswith(".7z"):
            found |= {f"{name}!{member}": body for member, body in unpacked_7z(data).items()}
    return found


def unpacked_7z(data: bytes) -> dict[str, bytes]:
    with py7zr.SevenZipFile(io.BytesIO(data)) as archive:
        factory = py7zr.io.BytesIOFactory(10**8)
        archive.extractall(factory=factory)
        return {name: product.read() for name, product in factory.products.items()}


# --- the lists, the promises, the damage --------------------------------------------------------------------------


def test_every_list_is_either_a_promise_or_of_a_copy(layout):
    assert {path.name for path in (layout.folder / "manifests").iterdir()} == set(LISTED_AT) | PROMISES | {
        "fen-harvest-bag"
    }


def test_lists_differ_from_the_bytes_in_the_planted_damage_and_nowhere_else(layout):
    altered, missing, right = [], [], 0
    for name, at in LISTED_AT.items():
        if at is None:
            continue
        for listed, value in lines_of(layout.folder / "manifests" / name).items():
            path = layout.folder / at / listed
            where = f"{at}/{listed}"
            if not path.is_file():
                missing.append(where)
            elif digest(path.read_bytes(), Path(name).suffix[1:]) != value:
                altered.append(where)
            else:
                right += 1
    rotten, cut = sorted(altered)
    assert rotten.startswith("media/archive-a/") and rotten.endswith(".TIF")
    assert cut.startswith("media/field-ssd/") and cut.endswith(".JPG")
    assert [note for note in layout.notes if note.startswith(f"{rotten}: one bit has flipped")]
    assert [note for note in layout.notes if note.startswith(f"{cut}: the end is missing")]
    assert len(missing) == 43
    assert all(where.startswith(cut.partition("/originals/")[0]) for where in missing)
    assert [note for note in layout.notes if f"the {len(missing)} files after that one never arrived" in note]
    assert right > 500


def test_what_lies_in_a_listed_folder_is_listed_but_for_recognition_files_and_archives(layout):
    for name, at in LISTED_AT.items():
        if at is not None:
            listed = set(lines_of(layout.folder / "manifests" / name))
            extra = {path for path in files_below(layout.folder / at) if path not in listed}
            assert {
                path for path in extra if not re.fullmatch(r"ARCHIVE-[AB]\.txt|marsh-ponies\.(7z|zip)", path)
            } == set()


def test_promises_are_the_digests_of_what_was_drawn(layout, shoots):
    for name in PROMISES:
        shoot, _, kind = name.partition(".")
        promised = lines_of(layout.folder / "manifests" / name)
        assert promised == {path: digest(made.data, kind) for path, made in shoots[shoot].files.items()}
    bag = layout.folder / "manifests" / "fen-harvest-bag"
    drawn = {f"data/{path}": digest(made.data, "sha256") for path, made in shoots["fen-harvest"].files.items()}
    assert lines_of(bag / "manifest-sha256.txt") == drawn
    assert list((bag / "data").iterdir()) == []


def test_the_bag_is_valid_once_its_payload_is_in_it(layout, shoots, tmp_path):
    # Held against the Library of Congress's `bagit` (RFC 8493 validation, tag manifests and Payload-Oxum included).
    for path, data in files_below(layout.folder / "manifests" / "fen-harvest-bag").items():
        (tmp_path / path).write_bytes(data)
    for path, made in shoots["fen-harvest"].files.items():
        (tmp_path / "data" / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "data" / path).write_bytes(made.data)
    assert bagit.Bag(str(tmp_path)).validate()


def test_each_shoot_survives_exactly_where_its_story_says(layout, shoots):
    held: dict[bytes, set[str]] = {}
    for where, data in everything(layout.folder).items():
        held.setdefault(data, set()).add(where.partition("/")[0])
    media = {
        shoot.id: {path: frozenset(held.get(made.data, ())) for path, made in shoot.files.items()}
        for shoot in shoots.values()
    }
    assert set(media["fen-harvest"].values()) == {
        frozenset({"archive-a", "archive-b", "computer", "mirror", "cloud"}),
    }
    rope = media["ropewalk-wedding"]
    assert rope.pop("deliver/ropewalk-14.jpg") == {"cloud"}
    assert set(rope.values()) == {frozenset({"computer", "mirror"})}
    assert set(media["lighthouse-stair"].values()) == {frozenset()}
    glass = media["glassworks"]
    assert {path for path, on in glass.items() if "field-ssd" in on} == set(list(glass)[:40])
    assert all(on - {"field-ssd"} <= {"cloud", "gallery"} for on in glass.values())
    ponies = media["marsh-ponies"]
    assert ponies["originals/QLLN2221.xmp"] == {"tablet"}
    assert ponies["originals/QLLN2213.TIF"] == {"archive-b", "computer", "mirror", "cloud"}
    sources = {"archive-a", "archive-b", "computer", "mirror", "cloud"}
    assert all(on >= sources for path, on in ponies.items() if path[-12:] not in {"QLLN2221.xmp", "QLLN2213.TIF"})
    for path, on in media["night-ferry"].items():
        originals = path.endswith((".JPG", ".TIF"))
        assert on == ({"card", "tablet", "field-ssd"} if originals else {"tablet", "field-ssd"}), path


def test_the_rot_is_one_bit_that_no_decoder_notices(layout, shoots):
    (note,) = (note for note in layout.notes if "one bit has flipped" in note)
    path = layout.folder / note.partition(": ")[0]
    right, found = shoots["marsh-ponies"].files["originals/QLLN2213.TIF"], path.read_bytes()
    assert sum((a ^ b).bit_count() for a, b in zip(right.data, found, strict=True)) == 1
    assert path.stat().st_mtime == right.modified.timestamp()
    with Image.open(path) as image:
        image.load()
        assert image.size == (400, 300)


def test_the_interrupted_file_is_the_beginning_of_the_right_one(layout, shoots):
    (note,) = (note for note in layout.notes if "the end is missing" in note)
    path = layout.folder / note.partition(": ")[0]
    right, found = shoots["glassworks"].files[f"originals/{path.name}"].data, path.read_bytes()
    assert right.startswith(found)
    assert 0 < len(found) < len(right)


def test_notes_name_what_is_there(layout):
    assert len(layout.notes) >= 10
    for note in layout.notes:
        where, _, words = note.partition(": ")
        assert (layout.folder / where).exists(), note
        assert words


def test_the_card_has_camera_names_twice_with_different_pictures(layout):
    by_name: dict[str, list[bytes]] = {}
    for path, data in files_below(layout.folder / "media" / "card").items():
        # DCF (references.md section 13): DCIM, then three digits and five characters, then the file.
        assert re.fullmatch(r"DCIM/[1-9]\d{2}[0-9A-Z_]{5}/[0-9A-Z_]{4}(?!0000)\d{4}\.[A-Z0-9]{3}", path)
        by_name.setdefault(path.rpartition("/")[2].partition(".")[0], []).append(data)
    twice = {name: found for name, found in by_name.items() if len(found) > 1}
    assert set(twice) == {f"ORRL{number:04}" for number in range(113, 119)}
    assert all(first != second for first, second in twice.values())


def test_names_rolled_over_between_two_shoots(shoots):
    glass, fen = shoots["glassworks"].files, shoots["fen-harvest"].files
    same = {path for path in glass if path in fen}
    assert len(same) >= 15
    assert all(glass[path].data != fen[path].data for path in same)


def test_names_on_the_tablet_are_decomposed_and_promised_ones_composed(layout, shoots):
    named = [name for name in files_below(layout.folder / "media" / "tablet") if "deliver/" in name]
    assert len(named) == 16
    assert all(name == unicodedata.normalize("NFD", name) != unicodedata.normalize("NFC", name) for name in named)
    promised = {path for path in shoots["night-ferry"].files if path.startswith("deliver/")}
    assert {unicodedata.normalize("NFC", name).partition("deliver/")[2] for name in named} == {
        path.partition("/")[2] for path in promised
    }
    assert all(path == unicodedata.normalize("NFC", path) for path in promised)


def test_the_mirror_is_the_computer_again(layout):
    media = layout.folder / "media"
    assert files_below(media / "mirror") == files_below(media / "computer") != {}


def test_the_7z_is_one_solid_block(layout):
    with py7zr.SevenZipFile(layout.folder / "media" / "archive-b" / "marsh-ponies.7z") as archive:
        info = archive.archiveinfo()
        assert (info.solid, info.blocks) == (True, 1)
        assert len(archive.getnames()) == 83


# --- size, sameness, refusals -------------------------------------------------------------------------------------


def test_it_is_small(layout):
    sizes = [path.stat().st_size for path in layout.folder.rglob("*") if path.is_file()]
    assert sum(sizes) < 150_000_000
    assert 800 < len(sizes) < 1200


@pytest.mark.deep
def test_the_same_input_lays_out_the_same_bytes_and_times(layout, laid_out, tmp_path):
    again = lay_out(tmp_path, link_base=laid_out[1].base, now=NOW)  # an empty folder is as good as a new one
    assert files_below(again.folder) == files_below(layout.folder)
    assert again.notes == layout.notes
    for path in (again.folder / "media" / "tablet").rglob("*.xmp"):
        same = layout.folder / path.relative_to(again.folder)
        assert path.stat().st_mtime == same.stat().st_mtime < NOW.timestamp()


def test_a_folder_that_holds_something_is_refused_and_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(Mistakes, match="holds something already; name a new or an empty folder"):
        lay_out(tmp_path, link_base="http://127.0.0.1:1", now=NOW)
    with pytest.raises(Mistakes, match="is not a folder"):
        lay_out(tmp_path / "mine.txt", link_base="http://127.0.0.1:1", now=NOW)
    assert files_below(tmp_path) == {"mine.txt": b"mine"}


def test_a_place_that_cannot_be_written_is_said(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(Unfinished, match="could not be laid out"):
        lay_out(tmp_path / "file" / "demo", link_base="http://127.0.0.1:1", now=NOW)


# --- the studio file ----------------------------------------------------------------------------------------------


def test_the_studio_file_uses_the_contracts_keys_and_no_others(studio):
    assert set(studio) == KEYS[""]
    assert set(studio["studio"]) <= KEYS["studio"]
    assert set(studio["targets"]) == KEYS["targets"]
    for table in ("places", "media", "buses", "shoots", "copies"):
        for item in studio[table]:
            assert set(item) <= KEYS[table], item
            assert set(item.get("targets", ())) <= KEYS["targets"]
    assert set(studio["weights"]) == set(studio["classes"]) == {"originals", "edits", "deliverables"}
    assert next(iter(studio["classes"])) == "deliverables"  # before *.jpg can claim them


def test_what_the_studio_file_names_is_there(layout, studio):
    media = {medium["id"]: medium for medium in studio["media"]}
    assert len(media) == len(studio["media"])
    assert {medium["kind"] for medium in media.values()} <= KINDS
    assert all("reads_at" in medium for medium in media.values())
    named = {medium.get("bus") for medium in media.values()} - {None}
    assert named == {bus["id"] for bus in studio["buses"]}
    for medium in media.values():
        assert set(medium.get("needs", ())) | ({medium["mirrors"]} if "mirrors" in medium else set()) <= set(media)
    ids = [copy.get("id", copy["on"]) for copy in studio["copies"]]
    assert len(set(ids)) == len(ids)
    for copy in studio["copies"]:
        assert copy["on"] in media
        assert copy["made"] < NOW
        if "manifest" in copy:
            assert (layout.folder / copy["manifest"]).is_file()
        if "at" in copy and "://" not in copy["at"]:
            at = layout.folder / copy["at"]
            assert at.exists()
            root, mark = (at if at.is_dir() else at.parent), media[copy["on"]].get("recognised_by")
            assert mark is None or (root / mark).is_file() or copy["on"] == "archive-old"
    for shoot in studio["shoots"]:
        assert (layout.folder / shoot["manifest"]).exists()
        assert type(shoot["date"]) is date


def test_one_copy_has_no_place_and_one_mount_point_is_empty(layout, studio):
    by_medium = {copy["on"]: copy for copy in studio["copies"]}
    assert "at" not in by_medium["attic-disk"]
    assert list((layout.folder / by_medium["archive-old"]["at"]).iterdir()) == []


def test_drill_reads_it_without_a_mistake_or_a_warning(layout):
    read = load_studio(layout.studio_file)
    assert [len(shoot.promise) for shoot in read.shoots] == [84] * 6
    assert {promised.kind for shoot in read.shoots for promised in shoot.promise} == {
        "originals",
        "edits",
        "deliverables",
    }
    assert [copy.form for copy in read.copies].count("link") == 4
    assert read.warnings == ()


def test_the_bag_is_read_as_a_promise_without_a_warning(layout):
    found = read_manifest("manifests/fen-harvest-bag", base=layout.folder, where="studio.toml", key="x", role="promise")
    assert (len(found.listed), found.mistakes, found.warnings) == (84, (), ())


# --- links --------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def links(studio):
    return {copy.get("id", copy["on"]): copy["at"] for copy in studio["copies"] if "://" in copy.get("at", "")}


def test_the_base_link_serves_every_name_of_its_list(laid_out, links):
    layout = laid_out[0]
    listed = lines_of(layout.folder / "manifests" / "cloud.sha256")
    assert len(listed) == 85
    assert any(" " in name for name in listed)
    for name, value in listed.items():
        status, headers, body = ask(below(links["cloud"], name))
        assert (status, digest(body, "sha256")) == (200, value)
        assert headers["Content-Length"] == str(len(body))
    assert ask(links["cloud"])[0] == 404  # the base itself does not answer
    assert ask(below(links["cloud"], "fen-harvest/none.jpg"))[0] == 404


def test_the_archive_link_serves_the_archive(laid_out, links):
    status, _, body = ask(links["cloud-ponies"])
    assert status == 200
    with tarfile.open(fileobj=io.BytesIO(body)) as archive:
        assert len(archive.getnames()) == 83


def test_the_expired_links_refuse_or_answer_with_a_page(laid_out, links):
    layout = laid_out[0]
    status, _, body = ask(links["cloud-glassworks"])
    assert (status, b"expired" in body) == (403, True)
    listed = lines_of(layout.folder / "manifests" / "gallery.sha256")
    assert len(listed) == 16
    for name, value in listed.items():
        status, headers, body = ask(below(links["gallery"], name))
        assert (status, headers.get_content_type(), body[:9]) == (200, "text/html", b"<!doctype")
        assert digest(body, "sha256") != value


def test_links_say_themselves_until_when_they_are_good(links):
    until = {
        copy: int(re.fullmatch(r"token=[0-9a-f]{32}&Expires=(\d+)", urlsplit(url).query)[1])
        for copy, url in links.items()
    }
    days = {copy: (moment - NOW.timestamp()) / 86400 for copy, moment in until.items()}
    assert days == {"cloud": 6, "cloud-ponies": 6, "cloud-glassworks": -20, "gallery": -20}
