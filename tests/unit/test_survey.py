"""The survey's rooms over real folders, archives and lists: what is there, said, missing, alone, and worth a word."""

import os
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from described import Copy, Medium, Place, Studio
from hand import FILES, A, B, C, copy, held, media, shoot
from studios import build

from drill.copies import folder_store
from drill.errors import Mistakes
from drill.inventory import CopyStock, ShootStock, Survey, to_json
from drill.model import Digest, Entry, Listed, Promised
from drill.places import find_places
from drill.report.survey_text import survey_text
from drill.studio import load_studio
from drill.survey import survey
from drill.survey.match import GONE, NONE, OTHER, THERE, Wanted, hold
from drill.survey.notices import colliding, unpaired

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)
CLASSES = (("originals", ("*.dng",)), ("edits", ("*.xmp",)), ("deliverables", ("deliver/**",)))


def take(folder: Path, *, more: str = "", asked: tuple[str, ...] = (), **parts: Any) -> Survey:
    """Build a studio and survey it; `more` is added to the studio file."""
    built = build(folder, Studio(**parts))
    with built.file.open("a", encoding="utf-8") as file:
        file.write(more)
    return survey(load_studio(built.file), now=NOW, shoots=asked)


def one(found: Survey) -> tuple[ShootStock, CopyStock]:
    return found.shoots[0], found.copies[0]


# --- what is there -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["folder", ".zip", ".7z", ".tar", ".tar.gz"])
@pytest.mark.parametrize("says", [True, None])
def test_a_whole_copy(tmp_path: Path, form: str, says: bool | None) -> None:
    found = take(
        tmp_path / "s",
        media=media("x"),
        shoots=(shoot(*FILES),),
        copies=(copy("x", *FILES, form=form, says=says),),
        classes=CLASSES,
    )
    terns, x = one(found)
    assert (terns.there, terns.on_paper, terns.on_no_copy, x.there, x.missing, x.other_size) == (3, 0, (), 3, (), ())
    assert terns.promised.bytes == 15000 and terns.promised.unknown_files == 0
    assert {name: tally.files for name, tally in terns.by_class.items()} == {"originals": 2, "deliverables": 1}
    assert [lone.copy for lone in terns.on_one_copy] == ["x"] * 3
    assert x.last_verified is None
    assert not found.falls_short


def test_what_a_list_names_and_is_not_there(tmp_path: Path) -> None:
    there = held(FILES[0], ("else/AAAA0002.dng", B), ("more.txt", b"more"), (".DS_Store", b"dropping"))
    found = take(
        tmp_path / "s",
        media=media("x", "y"),
        shoots=(shoot(*FILES),),
        copies=(copy("x", *FILES, says=True, holds=there), copy("y", FILES[0], FILES[2])),
    )
    terns, x = one(found)
    assert [(m.path, m.elsewhere) for m in x.missing] == [
        ("raw/AAAA0002.dng", "else/AAAA0002.dng"),
        ("deliver/one.jpg", None),
    ]
    assert (x.promised, x.there, x.listed, x.found) == (3, 1, 3, 4)
    assert x.extra == ("else/AAAA0002.dng", "more.txt")
    assert terns.on_no_copy == ("raw/AAAA0002.dng",)
    assert [(lone.path, lone.copy) for lone in terns.on_one_copy] == [("deliver/one.jpg", "y")]
    assert found.falls_short


def test_sizes_by_majority_and_without_one(tmp_path: Path) -> None:
    def cut(*files: tuple[str, bytes]) -> dict[str, Any]:
        return {"holds": held(*files), "says": FILES}

    found = take(
        tmp_path / "s",
        media=media("x", "y", "z"),
        shoots=(shoot(*FILES),),
        copies=(
            copy("x", *FILES, says=True),
            copy("y", **cut(FILES[0], ("raw/AAAA0002.dng", B[:10]), FILES[2])),
            copy("z", **cut(FILES[0], FILES[1])),
        ),
    )
    terns, _ = one(found)
    assert [(o.path, o.expected, o.found) for o in found.copies[1].other_size] == [("raw/AAAA0002.dng", 5000, 10)]
    assert found.copies[1].there == 2
    assert terns.sizes_disagree == ()
    assert terns.copies == {"x": 3, "y": 2, "z": 2}
    unclear = take(
        tmp_path / "t",
        media=media("x", "y"),
        shoots=(shoot(*FILES),),
        copies=(copy("x", *FILES), copy("y", **cut(("raw/AAAA0001.dng", A[:7]), *FILES[1:]))),
    )
    (disagreement,) = unclear.shoots[0].sizes_disagree
    assert (disagreement.path, dict(disagreement.sizes)) == ("raw/AAAA0001.dng", {"x": 5000, "y": 7})
    assert unclear.shoots[0].promised.unknown_files == 1
    assert unclear.falls_short


def test_on_paper_and_without_a_list(tmp_path: Path) -> None:
    found = take(
        tmp_path / "s",
        media=media("x", "y", "z"),
        shoots=(shoot(*FILES),),
        copies=(
            copy("x", *FILES, says=True, out_of_reach="no at"),
            copy("y", *FILES, out_of_reach="missing"),
            copy("z", FILES[0]),
        ),
    )
    terns, x = one(found)
    assert (terns.there, terns.on_paper, terns.on_no_copy) == (1, 2, ())
    assert (x.state, x.found, x.promised, x.there) == ("away", None, 3, 0)
    assert (found.copies[1].state, found.copies[1].promised) == ("away", 0)
    assert [lone.on_paper for lone in terns.on_one_copy] == [True, True]
    assert not found.falls_short


def test_an_archive_that_is_none_holds_nothing(tmp_path: Path) -> None:
    studio = Studio(media=media("x"), shoots=(shoot(*FILES),), copies=(copy("x", *FILES, form=".zip", says=True),))
    built = build(tmp_path / "s", studio)
    (tmp_path / "s/media/x/pictures.zip").write_bytes(b"no archive")
    found = survey(load_studio(built.file), now=NOW)
    terns, x = one(found)
    assert (x.state, x.promised, terns.there, len(terns.on_no_copy)) == ("refuses", 3, 0, 3)
    assert found.falls_short


def test_two_copies_on_one_medium_count_once(tmp_path: Path) -> None:
    found = take(
        tmp_path / "s",
        media=media("x"),
        shoots=(shoot(*FILES),),
        copies=(copy("x", *FILES), copy("x-2", *FILES, on="x")),
    )
    assert len(found.shoots[0].on_one_copy) == 3


def test_one_shoot_alone(tmp_path: Path) -> None:
    parts: dict[str, Any] = {
        "media": media("x"),
        "shoots": (shoot(FILES[0]), shoot(FILES[1], id="gulls")),
        "copies": (copy("x", FILES[0], says=FILES[:2]),),
    }
    terns = take(tmp_path / "s", asked=("terns",), **parts)
    assert [shoot.shoot for shoot in terns.shoots] == ["terns"]
    assert (terns.copies[0].missing, terns.copies[0].promised, terns.falls_short) == ((), 1, False)
    gulls = take(tmp_path / "t", asked=("gulls",), **parts)
    assert (len(gulls.copies[0].missing), gulls.falls_short) == (1, True)
    with pytest.raises(Mistakes, match="no shoot has this id"):
        take(tmp_path / "u", asked=("nobody",), **parts)


# --- which file is which -----------------------------------------------------------------------------------------


def promised(*paths: str, size: int | None = None, of: str = "") -> tuple[Promised, ...]:
    """Promise files, each of other content; `of` makes other contents of the same paths."""
    return tuple(Promised(path, (Digest("sha256", f"{of}{path}".encode().hex()),), size, "other") for path in paths)


def test_camera_names_used_twice_are_counted_once() -> None:
    wanted = Wanted([("ridge", promised("DSC_0001.NEF")), ("marsh", promised("DSC_0001.NEF", of="marsh"))])
    alone = hold(wanted, listed=None, entries=[Entry("marsh/DSC_0001.NEF", 5)], root="disk")
    assert list(alone.state) == [NONE, THERE]  # the folder named after the shoot tells
    both = hold(wanted, listed=None, entries=[Entry("a/DSC_0001.NEF", 5), Entry("b/DSC_0001.NEF", 6)], root="disk")
    assert list(both.state) == [THERE, THERE] and sorted(both.size) == [5, 6]
    flat = hold(wanted, listed=None, entries=[Entry("DSC_0001.NEF", 5)], root="marsh")
    assert list(flat.state) == [NONE, THERE]


@pytest.mark.parametrize(
    ("folder", "whose"),
    [
        ("2026-09-16 kiln", "kiln"),
        ("kiln_2026", "kiln"),
        ("Heron at the ridge", "heron"),
        ("2026 heron-ridge at dawn", "heron-ridge"),  # the longer id wins
        ("somewhere", "heron"),  # nothing tells: the first that is promised, as ever
    ],
)
def test_of_equal_endings_the_shoot_comes_first_that_a_folder_speaks_of(folder: str, whose: str) -> None:
    ids = ("heron", "heron-ridge", "kiln")
    wanted = Wanted([(id_, promised("raw/AB01.DNG", of=id_)) for id_ in ids])
    alone = hold(wanted, listed=None, entries=[Entry(f"{folder}/raw/AB01.DNG", 5)], root="disk")
    assert [ids[n] for n, state in enumerate(alone.state) if state == THERE] == [whose]
    longer = hold(wanted, listed=None, entries=[Entry(f"{folder}/heron-ridge/raw/AB01.DNG", 5)], root="disk")
    assert [ids[n] for n, state in enumerate(longer.state) if state == THERE] == ["heron-ridge"]


def test_a_folder_that_speaks_of_a_shoot_takes_nothing_from_another() -> None:
    wanted = Wanted([(id_, promised("raw/AB01.DNG", of=id_)) for id_ in ("heron", "kiln")])
    entries = [Entry("2025 kiln/raw/AB01.DNG", 5), Entry("2026 kiln/raw/AB01.DNG", 6)]
    assert list(hold(wanted, listed=None, entries=entries, root="disk").state) == [THERE, THERE]


def test_one_content_promised_twice_needs_one_file() -> None:
    (first,) = promised("a/one.jpg")
    wanted = Wanted([("s", (first, Promised("b/two.jpg", first.digests, None, "other")))])
    assert list(hold(wanted, listed=None, entries=[Entry("one.jpg", 5)], root="x").state) == [THERE, THERE]


def test_another_size_in_the_same_folder_and_in_another() -> None:
    wanted = Wanted([("s", promised("a/one.jpg", size=5))])
    same = hold(wanted, listed=None, entries=[Entry("top/a/one.jpg", 6)], root="x")
    assert (list(same.state), same.extra) == ([OTHER], [])
    other = hold(wanted, listed=None, entries=[Entry("b/one.jpg", 6)], root="x")
    assert (list(other.state), other.extra) == ([NONE], ["b/one.jpg"])


@pytest.mark.parametrize(
    ("listed", "there", "state"),
    [
        ("a/Caf\u00e9.jpg", "a/Cafe\u0301.JPG", THERE),  # another Unicode form and case
        ("/media/x/top/a/one.jpg", "a/one.jpg", THERE),  # absolute, as find writes it
        ("top/a/one.jpg", "a/one.jpg", THERE),  # listed from one folder further up
        ("a/one.jpg", "b/one.jpg", GONE),
        ("one.jpg", "b/one.jpg", GONE),
        ("terns/raw/one.jpg", "2026/Terns/RAW/one.jpg", THERE),  # below a new folder
        ("2026/terns/raw/one.jpg", "terns/raw/one.jpg", THERE),  # without its first folder
        ("terns\\raw\\one.jpg", "terns/raw/one.jpg", THERE),  # as another system writes it
        ("raw\\one.jpg", "raw/one.jpg", THERE),
        ("terns/raw/one.jpg", "gulls/raw/one.jpg", GONE),
        ("terns/bw/one.jpg", "gulls/bw/one.jpg", GONE),  # a name of a part that no table knows
        ("terns/raw/one.jpg", "raw/one.jpg", GONE),
        ("raw/one.jpg", "gulls/raw/one.jpg", GONE),
        ("DCIM/100ABCDE/one.jpg", "old/DCIM/100ABCDE/one.jpg", GONE),
        ("Photos/one.jpg", "2026/Photos/one.jpg", GONE),
        ("/media/x/DCIM/100ABCDE/one.jpg", "DCIM/100ABCDE/one.jpg", THERE),  # another mount point
        ("C:\\Pictures\\raw\\one.jpg", "raw/one.jpg", THERE),
        ("/media/x/terns/raw/one.jpg", "2026/terns/raw/one.jpg", THERE),
        ("/media/x/terns/raw/one.jpg", "2026/raw/one.jpg", GONE),
        ("/media/x/one.jpg", "2026/one.jpg", GONE),
    ],
)
def test_what_a_listed_name_means(listed: str, there: str, state: int) -> None:
    (file,) = promised("x")
    wanted = Wanted([("s", (file,))])
    found = hold(wanted, listed=[Listed(listed, file.digests)], entries=[Entry(there, 5)], root="top")
    assert list(found.state) == [state]


def test_two_listed_names_never_mean_one_file() -> None:
    files = promised("a/one.jpg", "b/one.jpg")
    listed = [Listed(f"/old/{file.path}", file.digests) for file in files]
    found = hold(Wanted([("s", files)]), listed=listed, entries=[Entry("b/one.jpg", 5)], root="x")
    assert list(found.state) == [GONE, THERE]


def test_a_weak_digest_alone_is_no_identity() -> None:
    weak = (Digest("xxh32", "0a0b0c0d"),)
    wanted = Wanted([("s", (Promised("a/one.jpg", weak, None, "other"),))])
    assert list(hold(wanted, listed=[Listed("b/two.jpg", weak)], entries=None, root="").state) == [NONE]
    assert list(hold(wanted, listed=[Listed("b/one.jpg", weak)], entries=None, root="").state) != [NONE]


def test_thousands_of_one_name_are_matched_in_reasonable_time() -> None:
    files = promised(*(f"{n}/thumb.jpg" for n in range(20_000)))
    entries = [Entry(f"old/{n}/thumb.jpg", 1) for n in range(20_000)]
    found = hold(Wanted([("s", files)]), listed=None, entries=entries, root="x")
    assert found.state.count(THERE) == 20_000 and not found.extra


# --- rules and notices -------------------------------------------------------------------------------------------


def drives(*specs: str) -> tuple[Medium, ...]:
    """Read "id kind place"."""
    return tuple(Medium(id=id_, kind=kind, place=place) for id_, kind, place in (spec.split() for spec in specs))


def everywhere(names: str) -> tuple[Copy, ...]:
    return tuple(copy(name, *FILES) for name in names.split())


def test_the_rule_is_counted_file_by_file(tmp_path: Path) -> None:
    found = take(
        tmp_path / "s",
        media=drives("x hard-disk home", "y ssd home", "z ssd bank"),
        places=(Place(id="bank", offsite=True),),
        shoots=(shoot(*FILES),),
        copies=(copy("x", *FILES), copy("y", *FILES), copy("z", *FILES[:2])),
    )
    rule = found.shoots[0].rule_3_2_1
    assert (rule.met, rule.files_short, rule.lack_copies, rule.lack_kinds, rule.lack_offsite) == (False, 1, 1, 0, 1)
    assert (found.shoots[0].exposure.one_place, found.shoots[0].exposure.none_offsite) == (1, 1)
    assert found.shoots[0].ndsa_storage_level == 0
    assert not found.falls_short


def test_card_and_tablet_alone_are_not_enough(tmp_path: Path) -> None:
    """Common practice, no source."""
    found = take(
        tmp_path / "s",
        media=drives("card card bag", "tablet tablet bag", "ssd ssd bag"),
        shoots=(shoot(*FILES),),
        copies=(copy("card", *FILES), copy("tablet", *FILES), copy("ssd", FILES[0])),
    )
    practice = found.shoots[0].practice
    assert (practice.met, practice.files_short, practice.card_and_tablet_only) == (False, 2, 2)
    assert "not enough to leave the field" in " ".join(survey_text(found).split())


@pytest.mark.parametrize(("versions", "alone"), [(None, 3), ("30 days", 0)])
def test_a_mirror_is_no_second_copy_against_deletion(tmp_path: Path, versions: str | None, alone: int) -> None:
    found = take(
        tmp_path / "s",
        media=(Medium(id="x"), Medium(id="y", mirrors="x", keeps_versions=versions)),
        shoots=(shoot(*FILES),),
        copies=everywhere("x y"),
    )
    assert found.shoots[0].exposure.only_mirrors == alone
    assert [(m.medium, m.mirrors) for m in found.mirrors] == ([("y", "x")] if alone else [])


def test_media_that_mirror_each_other_in_a_ring_are_one(tmp_path: Path) -> None:
    found = take(
        tmp_path / "s",
        media=(Medium(id="x", mirrors="y"), Medium(id="y", mirrors="z"), Medium(id="z", mirrors="y")),
        shoots=(shoot(*FILES),),
        copies=everywhere("x y z"),
    )
    assert found.shoots[0].exposure.only_mirrors == 3


def test_a_target_for_proofs_is_missed_and_said(tmp_path: Path) -> None:
    found = take(
        tmp_path / "s",
        more='\n[targets]\nverified_within = "100 days"\n',
        media=media("x"),
        shoots=(shoot(*FILES),),
        copies=everywhere("x"),
    )
    checked = found.shoots[0].verified
    assert (checked.target_seconds, checked.last_verified, checked.met) == (8640000.0, None, False)
    assert found.falls_short and "never verified" in survey_text(found)


def test_originals_without_edits_or_deliverables(tmp_path: Path) -> None:
    parts: dict[str, Any] = {"media": media("x"), "shoots": (shoot(*FILES),), "copies": everywhere("x")}
    found = take(tmp_path / "s", classes=CLASSES, **parts)
    assert found.shoots[0].lacks_classes == ("edits",)
    assert "on no copy: export them" in " ".join(survey_text(found).split())
    assert take(tmp_path / "t", classes=CLASSES[:1], **parts).shoots[0].lacks_classes == ()


def test_companions_that_most_have() -> None:
    paths = [f"raw/A{n}.{tail}" for n in range(4) for tail in ("dng", "jpg", "xmp")]
    paths.remove("raw/A2.jpg")
    paths.remove("raw/A3.xmp")
    files = promised(*paths, "deliver/A2.jpg", "deliver/best.jpg")
    assert [(item.path, item.lacks) for item in unpaired(files)] == [
        ("raw/A2.dng", "jpeg"),
        ("raw/A3.dng", "sidecar"),
    ]
    few = promised("A1.dng", "A2.dng", "A3.dng", "A1.xmp", "A1.jpg")
    assert unpaired(few) == []
    elsewhere = promised("raw/A1.dng", "raw/A2.dng", "raw/A3.dng", "edits/A1.xmp", "edits/A2.dng.xmp")
    assert [item.path for item in unpaired(elsewhere)] == ["raw/A3.dng"]


def test_names_that_collide_where_case_and_form_do_not_count() -> None:
    files = promised("a/One.jpg", "A/one.JPG", "b.jpg", "caf\u00e9.jpg", "cafe\u0301.jpg")
    assert colliding(files) == [("a/One.jpg", "A/one.JPG"), ("caf\u00e9.jpg", "cafe\u0301.jpg")]


def test_a_list_that_lies_beside_its_files(tmp_path: Path) -> None:
    studio = Studio(media=media("x", "y"), shoots=(shoot(*FILES),), copies=everywhere("x y"))
    built = build(tmp_path / "s", studio)
    listing = tmp_path / "s/manifests/promise-terns.sha256"
    (tmp_path / "s/media/x/terns.sha256").write_bytes(listing.read_bytes())
    text = built.file.read_text(encoding="utf-8")
    apart = survey(load_studio(built.file), now=NOW)
    assert apart.lists_beside == () and apart.copies[0].extra == ("terns.sha256",)
    built.file.write_text(text.replace("manifests/promise-terns", "media/x/terns"), encoding="utf-8")
    beside = survey(load_studio(built.file), now=NOW)
    assert [(b.list, b.copy, b.medium) for b in beside.lists_beside] == [("terns.sha256", "x", "x")]
    assert beside.copies[0].extra == ()
    assert not beside.falls_short


def test_the_tables_fit_80_columns_and_names_cannot_move_the_cursor(tmp_path: Path) -> None:
    files = (("raw/\x1b[2Jwide \u5199\u771f.dng", A), *FILES)
    found = take(
        tmp_path / "s",
        media=drives("a-rather-long-name-for-a-drive network-storage the-house-of-my-sister", "y ssd bag"),
        shoots=(shoot(*files, id="a-shoot-with-quite-a-long-name-2026"),),
        copies=(copy("y", FILES[0], says=files), copy("far", *FILES, on="a-rather-long-name-for-a-drive")),
        classes=CLASSES,
    )
    text = survey_text(found, width=80)
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text and "\\x1b" in text


def test_an_archive_that_is_none_gives_nothing_and_unknown_files_are_said_to_be_that(tmp_path: Path) -> None:
    copies = (copy("x", *FILES[:1], form=".zip"), copy("y", *FILES[:2]))
    built = build(tmp_path / "s", Studio(media=media("x", "y"), shoots=(shoot(*FILES[:1]),), copies=copies))
    text = " ".join(survey_text(survey(load_studio(built.file), now=NOW)).split())
    assert "each of them on a copy, none on one copy only" in text
    assert "1 file that no list or promise names" in text and "ives nothing" not in text
    (tmp_path / "s/media/x/pictures.zip").write_bytes(b"no archive")
    text = " ".join(survey_text(survey(load_studio(built.file), now=NOW)).split())
    assert "gives nothing" in text and "Gives nothing: it answers" in text and "refuses" not in text


def test_five_names_are_shown_and_the_rest_counted(tmp_path: Path) -> None:
    many = tuple((f"raw/A{n:03}.dng", A) for n in range(12))
    found = take(
        tmp_path / "s", media=media("x"), shoots=(shoot(*many),), copies=(copy("x", ("other.txt", C), says=many),)
    )
    text = " ".join(survey_text(found).split())
    assert "raw/A004.dng and 7 more" in text and "raw/A005.dng" not in text
    assert len(found.shoots[0].on_no_copy) == 12


def test_a_listing_without_times_is_the_same_otherwise(tmp_path: Path) -> None:
    for name in ("b.jpg", "a/\u00e9.jpg", "a/z.jpg"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    timed, bare = folder_store(tmp_path).files(), folder_store(tmp_path, times=False).files()
    assert [(e.path, e.size) for e in timed] == [(e.path, e.size) for e in bare]
    assert all(e.modified is not None for e in timed) and all(e.modified is None for e in bare)


# --- listed names that stand elsewhere ---------------------------------------------------------------------------


def places(names: str, there: str, *, root: str = "x", size: int | None = None) -> list[str]:
    """Return, of the listed names, those that are taken for a file."""
    listed = [Listed(name, (Digest("md5", f"{number:032}"),), size) for number, name in enumerate(names.split())]
    entries = [Entry(name, 5) for name in there.split()]
    return [item.path for item, at in zip(listed, find_places(listed, entries, root), strict=True) if at >= 0]


def test_a_deleted_name_never_stands_on_another_shoots_picture(tmp_path: Path) -> None:
    files = (("wedding/raw/IMG_0001.JPG", A), ("wedding/raw/IMG_0002.JPG", B))
    found = take(
        tmp_path / "s",
        media=media("x"),
        shoots=(shoot(*files),),
        copies=(copy("x", says=files, holds=held(files[1], ("forest/raw/IMG_0001.JPG", C))),),
    )
    terns, x = one(found)
    assert [(m.path, m.elsewhere) for m in x.missing] == [("wedding/raw/IMG_0001.JPG", "forest/raw/IMG_0001.JPG")]
    assert (terns.there, terns.on_no_copy, found.falls_short) == (1, ("wedding/raw/IMG_0001.JPG",), True)


@pytest.mark.parametrize("top", ["/media/old/", "C:\\old\\", "/"])
def test_the_same_of_absolute_names(top: str) -> None:
    names = f"{top}wedding/raw/1.jpg {top}wedding/raw/2.jpg {top}gulls/raw/1.jpg"
    assert places(names, "forest/raw/1.jpg wedding/raw/2.jpg gulls/raw/1.jpg") == names.split()[1:]
    assert places(names, "a/forest/raw/1.jpg a/wedding/raw/2.jpg a/gulls/raw/1.jpg") == names.split()[1:]
    assert places(names, "forest/raw/1.jpg") == []
    assert places(names, "raw/1.jpg") == []


def test_one_root_holds_for_the_whole_list() -> None:
    """A picture at the top is not the one that was deleted from a folder, where other names say what the root is."""
    assert places("/old/wedding/1.jpg /old/wedding/2.jpg", "wedding/2.jpg 1.jpg") == ["/old/wedding/2.jpg"]
    assert places("/old/wedding/1.jpg /old/wedding/2.jpg", "2.jpg 1.jpg") == [
        "/old/wedding/1.jpg",
        "/old/wedding/2.jpg",
    ]
    assert places("DCIM/100ABCDE/1.jpg DCIM/101ABCDE/1.jpg", "101ABCDE/1.jpg", root="dcim") == ["DCIM/101ABCDE/1.jpg"]
    assert places("DCIM/100ABCDE/1.jpg MISC/2.jpg", "100ABCDE/1.jpg", root="DCIM") == []  # not all of it is below
    assert places("raw/1.jpg raw/2.jpg", "raw/2.jpg 1.jpg", root="raw") == ["raw/2.jpg"]


def test_the_only_one_of_its_name_and_size() -> None:
    assert places("/old/raw/1.jpg", "new/raw/1.jpg", size=5) == ["/old/raw/1.jpg"]
    assert places("/old/raw/1.jpg", "new/raw/1.jpg", size=6) == []
    assert places("/old/raw/1.jpg", "new/raw/1.jpg newer/raw/1.jpg", size=5) == []
    assert places("/old/raw/1.jpg /older/raw/1.jpg", "new/raw/1.jpg", size=5) == []
    assert places("raw/1.jpg", "new/raw/1.jpg", size=5) == []  # a relative name says where it is


def test_a_size_that_no_file_can_have_is_unknown(tmp_path: Path) -> None:
    studio = Studio(media=media("x"), shoots=(shoot(*FILES),), copies=(copy("x", *FILES, form=".zip"),))
    built = build(tmp_path / "s", studio)
    with zipfile.ZipFile(tmp_path / "s/media/x/pictures.zip", "w") as box:
        for path, data in FILES:
            box.writestr(path, data)
        box.getinfo(FILES[0][0]).file_size = 2**63  # what the directory at the end then says
    found = survey(load_studio(built.file), now=NOW)
    assert (found.shoots[0].there, found.shoots[0].promised.unknown_files) == (3, 1)


# --- what cannot be listed, and the order of names ---------------------------------------------------------------


def test_a_folder_that_cannot_be_listed_falls_short(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    studio = Studio(media=media("x"), shoots=(shoot(*FILES),), copies=(copy("x", *FILES),))
    built = build(tmp_path / "s", studio)
    (tmp_path / "s/media/x/more").mkdir()
    honest = os.scandir

    def scan(folder: str) -> Any:
        if Path(folder).name == "more":
            raise PermissionError(13, "Permission denied")
        return honest(folder)

    monkeypatch.setattr("drill.copies.folder._BY_FOLDER", False)
    monkeypatch.setattr(os, "scandir", scan)
    found = survey(load_studio(built.file), now=NOW)
    assert (found.copies[0].unlisted, found.copies[0].missing) == (("more (Permission denied)",), ())
    assert found.shoots[0].there == 3 and found.copies[0].falls_short and found.falls_short
    text = " ".join(survey_text(found).split())
    assert "x: 1 folder could not be listed, so what is in it counts as missing: more (Permission denied)" in text
    assert to_json(found)["copies"][0]["unlisted"] == ("more (Permission denied)",)


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
def test_a_link_to_nothing_is_not_there(tmp_path: Path) -> None:
    studio = Studio(media=media("x"), shoots=(shoot(*FILES),), copies=(copy("x", *FILES, says=True),))
    built = build(tmp_path / "s", studio)
    lost = tmp_path / "s/media/x" / FILES[0][0]
    lost.unlink()
    lost.symlink_to("nowhere.dng")
    found = survey(load_studio(built.file), now=NOW)
    assert [item.path for item in found.copies[0].missing] == [FILES[0][0]] and found.shoots[0].there == 2


def test_names_within_a_line_are_in_their_order(tmp_path: Path) -> None:
    many = tuple((f"raw/A{n:03}.dng", A) for n in range(11, -1, -1))
    found = take(
        tmp_path / "s", media=media("x"), shoots=(shoot(*many),), copies=(copy("x", ("other.txt", C), says=many),)
    )
    text = " ".join(survey_text(found).split())
    assert text.count("raw/A000.dng, raw/A001.dng, raw/A002.dng, raw/A003.dng, raw/A004.dng and 7 more") == 2
