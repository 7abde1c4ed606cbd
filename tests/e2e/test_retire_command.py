"""`drill retire` as a user starts it: each single doubt makes a no, what is proven makes a yes, and nothing is changed.

The studios are described by hand; every expectation is worked out from the bytes that are really there.
"""

import json
import shutil
import signal
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from census import census
from dated import dated
from described import Medium, Place, Studio, Targets
from hand import FILES, A, B, D, copy, held, picture, shoot
from runner import Outcome, begin, start
from studios import SECRET, Built, build, link_server

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

CARD = Medium(id="card", kind="card", place="bag")
MEDIA = (CARD, Medium(id="x", place="bag"), Medium(id="y", place="home"))


def lay(folder: Path, *, media: tuple[Medium, ...] = MEDIA, base: str | None = None, **parts: Any) -> Built:
    """A card, and two drives that have all of it."""
    parts.setdefault("shoots", (shoot(*FILES),))
    parts.setdefault("copies", (copy("card", *FILES), copy("x", *FILES), copy("y", *FILES)))
    return build(folder, Studio(media=media, **parts), base=base)


def ask(built: Built, *more: str | Path, medium: str = "card", code: int, why: tuple[str, ...] = ()) -> dict[str, Any]:
    """Ask: the answer in both forms, the reasons, and that no source changed."""
    before = census(*built.sources)
    target = built.file.parent / "answer.json"
    text = start("retire", built.file, medium, *more, "--json", target, cwd=built.file.parent)
    assert census(*built.sources) == before
    assert text.code == code, text.said
    first = text.out.splitlines()[0]
    assert first.startswith(("Yes: ", "Yes, but ") if code == 0 else f"No: {medium} must be kept: "), first
    assert max(map(len, text.out.splitlines())) <= 80
    value: dict[str, Any] = json.loads(target.read_text(encoding="utf-8"))
    assert value["schema"] == "restore-retire/1" and value["answer"] == ("yes" if code == 0 else "no")
    assert tuple(reason["why"] for reason in value["reasons"]) == why, text.said
    return value


def named(value: dict[str, Any], why: str) -> list[str]:
    """The files of one kind of reason."""
    return [file["path"] for reason in value["reasons"] if reason["why"] == why for file in reason["files"]]


def set_target(built: Built, line: str) -> None:
    """Give the first shoot's studio a target."""
    text = built.file.read_text(encoding="utf-8")
    built.file.write_text(f"{text}\n[targets]\n{line}\n", encoding="utf-8")


# --- yes ---------------------------------------------------------------------------------------------------------


def test_a_card_after_its_import_to_two_others_may_be_formatted(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    value = ask(built, "--no-ledger", code=0)
    (left,) = value["shoots"]
    assert left["files"] == {"at_stake": 3, "verified": 3, "read_now": 3}
    assert left["bytes"] == 15_000 and value["contents"]["promised"] == 3
    # The card is read to know what is on it, and one other copy to know that it is there: no more.
    assert value["read"]["files"] == 6 and value["read"]["bytes"] == 30_000
    assert not (tmp_path / "s/ledger.sqlite").exists()


def test_what_a_run_has_proven_is_not_read_again_unless_asked_for(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    first = start("retire", built.file, "card", "--json", "-", cwd=tmp_path)
    again = start("retire", built.file, "card", "--json", "-", cwd=tmp_path)
    forced = start("retire", built.file, "card", "--read", "--json", "-", cwd=tmp_path)
    assert [o.record["read"]["files"] for o in (first, again, forced)] == [6, 0, 6]
    assert {o.code for o in (first, again, forced)} == {0}
    assert again.record["shoots"][0]["files"]["read_now"] == 0


def test_a_renamed_import_is_found_by_content(tmp_path: Path) -> None:
    renamed = tuple((f"terns/2026-{number}.dng", data) for number, (_, data) in enumerate(FILES))
    built = lay(tmp_path / "s", copies=(copy("card", *FILES), copy("x", holds=held(*renamed))), media=MEDIA[:2])
    assert ask(built, "--no-ledger", code=0)["shoots"][0]["sources"] == {"x": 3}


@pytest.mark.parametrize("form", [".zip", *(pytest.param(form, marks=pytest.mark.deep) for form in (".7z", ".tar.gz"))])
def test_an_archive_is_another_copy_and_may_go_too(tmp_path: Path, form: str) -> None:
    built = lay(tmp_path / "s", copies=(copy("card", *FILES), copy("x", *FILES, form=form)), media=MEDIA[:2])
    ask(built, "--no-ledger", code=0)
    ask(built, "--no-ledger", medium="x", code=0)


def test_what_systems_cameras_and_lists_leave_there_is_nothing_to_lose(tmp_path: Path) -> None:
    mess = held(
        ("DCIM/.DS_Store", b"mac"),
        ("DCIM/._AAAA0001.dng", b"mac"),
        ("AVF_INFO/AVIN0001.BNP", b"camera"),
        ("SHA256SUMS", b"a list\n"),
        ("System Volume Information/IndexerVolumeGuid", b"windows"),
        ("raw/AAAA0009.dng.part", b""),
    )
    media = (Medium(id="card", kind="card", place="bag", recognised_by="CARD-7.txt"), *MEDIA[1:])
    built = lay(
        tmp_path / "s", media=media, copies=(copy("card", holds=held(*FILES) + mess), copy("x", *FILES), copy("y"))
    )
    value = ask(built, "--no-ledger", code=0)
    assert value["contents"] | {"bytes": 0} == {
        "files": 10,
        "bytes": 0,
        "promised": 3,
        "own": 7,
        "extra": 0,
        "unreadable": 0,
    }


# --- each doubt alone is a no ------------------------------------------------------------------------------------


def test_one_file_missing_elsewhere(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", copies=(copy("card", *FILES), copy("x", *FILES[:2]), copy("y", FILES[0])))
    value = ask(built, "--no-ledger", code=1, why=("not_verified",))
    assert named(value, "not_verified") == ["deliver/one.jpg"]
    assert value["reasons"][0]["files"][0]["detail"] == "on no other copy that counts"


def test_one_byte_altered_elsewhere(tmp_path: Path) -> None:
    wrong = ((FILES[0][0], A[:-1] + bytes([A[-1] ^ 1])), *FILES[1:])
    built = lay(tmp_path / "s", copies=(copy("card", *FILES), copy("x", holds=held(*wrong))), media=MEDIA[:2])
    value = ask(built, "--no-ledger", code=1, why=("not_verified",))
    assert "on x has other bytes" in value["reasons"][0]["files"][0]["detail"]
    assert value["shoots"][0]["further_failures"]["survivable"] == -1


def test_the_second_copy_is_asked_where_the_first_is_wrong(tmp_path: Path) -> None:
    wrong = held((FILES[0][0], B), *FILES[1:])
    built = lay(tmp_path / "s", copies=(copy("card", *FILES), copy("x", holds=wrong), copy("y", *FILES)))
    value = ask(built, "--no-ledger", code=0)
    assert value["shoots"][0]["sources"] == {"x": 2, "y": 1}


@pytest.mark.parametrize("data", [D, B + b"x", b""])
def test_a_late_picture_that_no_promise_knows(tmp_path: Path, data: bytes) -> None:
    late = held(*FILES, ("DCIM/100REED_/AAAA0044.DNG", data))
    built = lay(tmp_path / "s", copies=(copy("card", holds=late), copy("x", *FILES), copy("y", *FILES)))
    value = ask(built, "--no-ledger", code=1, why=("extra",))
    assert named(value, "extra") == ["DCIM/100REED_/AAAA0044.DNG"]
    shown = start("retire", built.file, "card", "--no-ledger", cwd=tmp_path)
    assert "AAAA0044.DNG" in shown.out


def test_a_camera_that_uses_a_listed_name_again(tmp_path: Path) -> None:
    # The card's own list still says the old bytes, and name and size are right: only reading tells.
    again = held((FILES[0][0], D), *FILES[1:])
    built = lay(
        tmp_path / "s",
        copies=(copy("card", holds=again, says=FILES), copy("x", *FILES, says=True), copy("y", *FILES)),
    )
    value = ask(built, "--no-ledger", code=1, why=("extra",))
    assert named(value, "extra") == ["raw/AAAA0001.dng"]
    assert "named like terns: raw/AAAA0001.dng" in value["reasons"][0]["files"][0]["detail"]


@pytest.mark.parametrize(
    "path", ["FOUND.000/FILE0000.CHK", "LOST.DIR/12.NEF", ".Trashes/501/thrown.dng", "raw/AAAA0009.dng.part"]
)
def test_what_was_rescued_thrown_away_or_half_written_may_be_the_only_one_left(tmp_path: Path, path: str) -> None:
    built = lay(
        tmp_path / "s", copies=(copy("card", holds=held(*FILES, (path, D))), copy("x", *FILES)), media=MEDIA[:2]
    )
    assert named(ask(built, "--no-ledger", code=1, why=("extra",)), "extra") == [path]


def test_two_media_in_one_folder_are_one_copy(tmp_path: Path) -> None:
    """Two drives that take turns at one place, of which one is plugged in, are not both there."""
    built = lay(
        tmp_path / "s",
        media=(CARD, Medium(id="x", place="home"), Medium(id="y", place="far")),
        shoots=(shoot(*FILES, targets=Targets(further_failures=1)),),
        copies=(copy("card", *FILES), copy("x", *FILES), copy("y", *FILES)),
    )
    ask(built, "--no-ledger", code=0)
    text = built.file.read_text(encoding="utf-8")
    built.file.write_text(text.replace("media/y", "media/x"), encoding="utf-8")
    ask(built, "--no-ledger", code=1, why=("too_few",))


def test_what_its_list_names_counts_also_when_it_is_gone_from_the_card(tmp_path: Path) -> None:
    built = lay(
        tmp_path / "s",
        copies=(copy("card", *FILES, holds=held(*FILES[:2]), says=FILES), copy("x", *FILES[:2])),
        media=MEDIA[:2],
    )
    assert named(ask(built, "--no-ledger", code=1, why=("not_verified",)), "not_verified") == ["deliver/one.jpg"]


def test_what_was_thrown_away_elsewhere_is_no_copy(tmp_path: Path) -> None:
    thrown = tuple((f".Trashes/501/{path}", data) for path, data in FILES)
    built = lay(tmp_path / "s", media=MEDIA[:2], copies=(copy("card", *FILES), copy("x", holds=held(*thrown))))
    assert len(named(ask(built, "--no-ledger", code=1, why=("not_verified",)), "not_verified")) == 3


def test_a_promised_file_with_the_name_of_a_list_or_a_leftover_is_at_stake(tmp_path: Path) -> None:
    odd = (("deliver/SHA256SUMS", A), ("raw/desktop.ini", D))
    built = lay(
        tmp_path / "s", shoots=(shoot(*odd),), copies=(copy("card", *odd), copy("x", FILES[1]), copy("y", *odd))
    )
    assert ask(built, "--no-ledger", code=0)["contents"]["own"] == 0
    shutil.rmtree(tmp_path / "s/media/y")
    value = ask(built, "--no-ledger", code=1, why=("not_verified",))
    assert named(value, "not_verified") == ["deliver/SHA256SUMS", "raw/desktop.ini"]


@pytest.mark.parametrize("versions", [None, "30 days"])
def test_a_mirror_is_no_other_copy(tmp_path: Path, versions: str | None) -> None:
    mirror = Medium(id="x", place="home", mirrors="card", keeps_versions=versions)
    second = Medium(id="y", place="home", mirrors="x")
    built = lay(tmp_path / "s", media=(CARD, mirror, second))
    value = ask(built, "--no-ledger", code=1, why=("not_verified",))
    assert {each["medium"] for each in value["not_counted"]} == {"x", "y"}
    # The other way round the card keeps what it has.
    assert ask(built, "--no-ledger", medium="y", code=0)["not_counted"] == []


def test_what_needs_the_medium_goes_with_it(tmp_path: Path) -> None:
    needing = Medium(id="x", place="home", needs=("card",))
    built = lay(tmp_path / "s", media=(CARD, needing), copies=(copy("card", *FILES[:1]), copy("x", *FILES)))
    value = ask(built, "--no-ledger", code=1, why=("not_verified",))
    assert value["with_it"] == ["x"] and len(named(value, "not_verified")) == 3


def test_a_copy_in_the_same_folder_is_no_other_copy(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", media=MEDIA[:2], copies=(copy("card", *FILES), copy("x", *FILES)))
    text = built.file.read_text(encoding="utf-8")
    built.file.write_text(text.replace('at = "media/x"', 'at = "media/card/../card"'), encoding="utf-8")
    value = ask(built, "--no-ledger", code=1, why=("not_verified",))
    assert any("the same files" in caution for caution in value["cautions"])


def link_files(built: Built, id_: str, *, of: str = "card", renamed: bool = False) -> None:
    """Make a copy anew out of second names of another copy's files."""
    media = built.file.parent / "media"
    shutil.rmtree(media / id_)
    for number, (path, _) in enumerate(FILES):
        target = media / id_ / (f"terns/{number}.dng" if renamed else path)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.hardlink_to(media / of / path)


@pytest.mark.parametrize("renamed", [False, True])
@pytest.mark.parametrize("says", [False, True])
def test_second_names_of_the_same_files_are_no_other_copy(tmp_path: Path, *, renamed: bool, says: bool) -> None:
    built = lay(tmp_path / "s", media=MEDIA[:2], copies=(copy("card", *FILES), copy("x", *FILES, says=says or None)))
    ask(built, code=0)  # also what was proven before does not count
    link_files(built, "x", renamed=renamed)
    value = ask(built, code=1, why=("not_verified",))
    assert len(named(value, "not_verified")) == 3
    assert any("on x 3 files are the very files that would go" in caution for caution in value["cautions"])
    detail = value["reasons"][0]["files"][0]["detail"]
    assert renamed or "is the very file that goes" in detail, detail
    # A real copy beside them is one.
    shutil.copytree(tmp_path / "s/media/card", tmp_path / "s/media/x/again")
    ask(built, code=0)


def test_a_second_name_of_the_same_archive_is_no_other_copy(tmp_path: Path) -> None:
    packed = (copy("card", *FILES, form=".zip"), copy("x", *FILES, form=".zip"))
    built = lay(tmp_path / "s", media=MEDIA[:2], copies=packed)
    ask(built, "--no-ledger", code=0)
    one, other = sorted((tmp_path / "s/media").rglob("*.zip"))
    other.unlink()
    other.hardlink_to(one)
    assert len(named(ask(built, "--no-ledger", code=1, why=("not_verified",)), "not_verified")) == 3


@pytest.mark.skipif(sys.platform == "win32", reason="making a link needs a right there")
def test_a_link_inside_a_copy_to_the_same_file_is_no_other_copy(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", media=MEDIA[:2], copies=(copy("card", *FILES), copy("x", *FILES)))
    first, kept = tmp_path / "s/media/x" / FILES[0][0], tmp_path / "s/media/x/.Trashes/501/a.dng"
    first.unlink()
    kept.parent.mkdir(parents=True)
    kept.hardlink_to(tmp_path / "s/media/card" / FILES[0][0])
    first.symlink_to(kept)
    assert named(ask(built, "--no-ledger", code=1, why=("not_verified",)), "not_verified") == [FILES[0][0]]


@pytest.mark.parametrize(
    ("places", "expected"),
    [
        (("far", "home", "web"), ()),
        (("home", "home", "home"), ("in one place only", "nowhere off-site")),
        (("bag", "bag", "bag"), ("in one place only", "only on what you carry", "nowhere off-site")),
        (("bag", "home", "bag"), ("nowhere off-site",)),
        (("far", "home"), ("on fewer than 3 media",)),
    ],
)
def test_a_yes_says_first_where_what_is_left_lies(
    tmp_path: Path, places: tuple[str, ...], expected: tuple[str, ...]
) -> None:
    kept = tuple(Medium(id=f"d{n}", place=place) for n, place in enumerate(places))
    built = lay(
        tmp_path / "s",
        media=(CARD, *kept),
        places=(Place(id="bag", carried=True), Place(id="far", offsite=True), Place(id="web", offsite=True)),
        copies=(copy("card", *FILES), *(copy(medium.id, *FILES) for medium in kept)),
    )
    value = ask(built, "--no-ledger", code=0)
    assert value["but"] == [f"files of terns are then {words}" for words in expected]
    first = start("retire", built.file, "card", "--no-ledger", cwd=tmp_path).out.splitlines()[0]
    assert first.startswith(f"Yes, but {value['but'][0]}:"[:79] if expected else "Yes: ")


def test_damage_elsewhere_is_named_where_it_leaves_too_few_places(tmp_path: Path) -> None:
    media = (CARD, Medium(id="x", place="home"), Medium(id="y", place="far"))
    built = lay(
        tmp_path / "s",
        media=media,
        shoots=(shoot(*FILES, targets=Targets(further_failures=1)),),
        copies=(copy("card", *FILES), copy("x", holds=held((FILES[0][0], D), *FILES[1:])), copy("y", *FILES)),
    )
    value = ask(built, "--no-ledger", code=1, why=("too_few",))
    assert [(each["where"], each["path"]) for each in value["damaged"]] == [("x", FILES[0][0])]
    assert value["mendable"] == ["terns"]
    shown = " ".join(start("retire", built.file, "card", "--no-ledger", cwd=tmp_path).out.split())
    assert "put the old file aside" in shown
    assert f"repair or replace {FILES[0][0]} on x, and ask again" in shown and "one more copy" not in shown


def test_another_picture_under_a_name_used_again_is_not_called_wrong(tmp_path: Path) -> None:
    other = held(*FILES[1:], ("DCIM/101REED_/AAAA0001.dng", picture(77, 4000)))
    built = lay(tmp_path / "s", copies=(copy("card", *FILES), copy("x", holds=other), copy("y", *FILES)))
    assert ask(built, "--no-ledger", code=0)["damaged"] == []


def test_a_copy_that_is_away_proves_nothing(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", media=MEDIA[:2], copies=(copy("card", *FILES), copy("x", *FILES, says=True)))
    ask(built, code=0)  # the ledger has fresh proofs of x
    (tmp_path / "s/media/x").rename(tmp_path / "s/elsewhere")
    value = ask(built, code=1, why=("not_verified",))
    assert value["would_help"] == {"x": 3}
    assert "held it when last read" in value["reasons"][0]["files"][0]["detail"]
    shown = start("retire", built.file, "card", cwd=tmp_path)
    assert "plug in or log in to x" in shown.out


def test_a_medium_that_is_away_cannot_be_judged_and_nothing_is_read(tmp_path: Path) -> None:
    built = lay(
        tmp_path / "s",
        copies=(copy("card", *FILES, says=True, out_of_reach="missing"), copy("x", *FILES), copy("y", *FILES)),
    )
    value = ask(built, "--no-ledger", code=1, why=("not_known", "not_verified"))
    assert value["read"]["files"] == 0


def test_a_medium_without_a_copy_in_the_studio_file(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", copies=(copy("x", *FILES), copy("y", *FILES)))
    ask(built, "--no-ledger", code=1, why=("not_known",))


def test_the_studio_file_on_the_medium_itself(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    text = built.file.read_text(encoding="utf-8").replace("manifests/promise", "media/card/promise")
    built.file.write_text(text, encoding="utf-8")
    shutil.copy(tmp_path / "s/manifests/promise-terns.sha256", tmp_path / "s/media/card/promise-terns.sha256")
    value = ask(built, "--no-ledger", code=1, why=("needed",))
    assert named(value, "needed") == ["promise-terns.sha256"]


def test_a_list_that_proves_too_little(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", shoots=(shoot(*FILES, promised_in=("xxh32",)),))
    assert len(named(ask(built, "--no-ledger", code=1, why=("weak",)), "weak")) == 3


@pytest.mark.skipif(sys.platform == "win32", reason="making a link needs a right there")
def test_a_file_on_it_that_cannot_be_read(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    (tmp_path / "s/media/card/raw/AAAA0009.dng").symlink_to("nothing.dng")  # what it was nobody can say
    assert named(ask(built, "--no-ledger", code=1, why=("unreadable",)), "unreadable") == ["raw/AAAA0009.dng"]


# --- targets -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("target", "places", "code"), [(1, ("home", "far"), 0), (1, ("home", "home"), 1), (2, "xy", 1)]
)
def test_enough_places_for_further_failures(tmp_path: Path, target: int, places: tuple[str, ...], code: int) -> None:
    media = (CARD, Medium(id="x", place=places[0]), Medium(id="y", place=places[1]))
    built = lay(tmp_path / "s", media=media, shoots=(shoot(*FILES, targets=Targets(further_failures=target)),))
    value = ask(built, "--no-ledger", code=code, why=() if code == 0 else ("too_few",))
    left = value["shoots"][0]
    assert left["further_failures"]["target"] == target
    if code == 0:
        assert left["sources"] == {"x": 3, "y": 3} and left["further_failures"]["survivable"] == 1


def test_a_restore_that_would_take_too_long(tmp_path: Path) -> None:
    slow = Medium(id="x", place="home", more={"reads_at": "1 kB/s"})
    built = lay(
        tmp_path / "s",
        media=(CARD, slow),
        copies=(copy("card", *FILES), copy("x", *FILES)),
        shoots=(shoot(*FILES, targets=Targets(restore_within="10 s")),),
    )
    value = ask(built, "--no-ledger", code=1, why=("too_slow",))
    assert value["shoots"][0]["seconds"]["projected"] == pytest.approx(15.0, abs=0.1)  # 15,000 bytes at 1 kB/s


def test_a_proof_ages_and_ends_when_the_file_changes(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", media=MEDIA[:2], copies=(copy("card", *FILES), copy("x", *FILES)))
    set_target(built, 'verified_within = "10 days"')
    read = lambda *more: start("retire", built.file, "card", *more, "--json", "-", cwd=tmp_path).record  # noqa: E731
    assert read("--now", "2026-01-01T00:00:00Z")["read"]["files"] == 6
    dated(built.file.parent / "ledger.sqlite", "2026-01-01T00:00:00Z")
    fresh = read("--now", "2026-01-10T00:00:00Z")
    assert fresh["read"]["files"] == 0 and fresh["shoots"][0]["oldest_proof"][:10] == "2026-01-01"
    # The card's own files are still what they were; of the drive the proofs are too old by now.
    assert read("--now", "2026-01-12T00:00:00Z")["read"]["files"] == 3
    # Damaged under the same size, and with another time: no proof any more, and refuted.
    target = tmp_path / "s/media/x/raw/AAAA0001.dng"
    target.write_bytes(bytes(len(A)))
    changed = start("retire", built.file, "card", "--now", "2026-01-13T00:00:00Z", "--json", "-", cwd=tmp_path)
    assert changed.code == 1 and named(changed.record, "not_verified") == ["raw/AAAA0001.dng"], changed.said


def test_proofs_that_were_made_by_a_drill_count(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    drilled = start("run", built.file, "--scenario", "dead-card", "--no-reports", cwd=tmp_path)
    assert drilled.code in (0, 1), drilled.said
    value = start("retire", built.file, "card", "--json", "-", cwd=tmp_path)
    assert value.code == 0 and value.record["shoots"][0]["files"]["read_now"] == 0, value.said


# --- clouds ------------------------------------------------------------------------------------------------------

CLOUD = Medium(id="cloud", kind="cloud", place="web", account="login")


@pytest.mark.parametrize("form", ["link", pytest.param("link.zip", marks=pytest.mark.deep)])
def test_a_cloud_may_be_cancelled_by_its_list(tmp_path: Path, form: str) -> None:
    with link_server(tmp_path / "s/cloud") as (base, served):
        cloud = copy("cloud", *FILES, form=form, says=True)
        built = lay(tmp_path / "s", media=(CLOUD, MEDIA[1]), copies=(cloud, copy("x", *FILES)), base=base)
        value = ask(built, "--no-ledger", medium="cloud", code=0)
        assert served.requests == []  # its list says what is there
    assert any("by its list alone" in caution for caution in value["cautions"])


@pytest.mark.parametrize("form", ["link", pytest.param("link.zip", marks=pytest.mark.deep)])
def test_a_cloud_is_another_copy_when_it_is_read(tmp_path: Path, form: str) -> None:
    with link_server(tmp_path / "s/cloud") as (base, _):
        cloud = copy("cloud", *FILES, form=form, says=True)
        built = lay(tmp_path / "s", media=(CARD, CLOUD), copies=(copy("card", *FILES), cloud), base=base)
        value = ask(built, "--no-ledger", code=0)
        text = start("retire", built.file, "card", "--no-ledger", cwd=tmp_path)
    assert value["shoots"][0]["sources"] == {"cloud": 3}
    assert SECRET not in text.said and SECRET not in json.dumps(value)
    assert not list((tmp_path / "s").glob("scratch/*"))


def test_a_cloud_that_lists_what_no_promise_knows(tmp_path: Path) -> None:
    with link_server(tmp_path / "s/cloud") as (base, _):
        cloud = copy("cloud", *FILES, ("late.dng", D), form="link", says=True)
        built = lay(tmp_path / "s", media=(CLOUD, MEDIA[1]), copies=(cloud, copy("x", *FILES)), base=base)
        assert named(ask(built, "--no-ledger", medium="cloud", code=1, why=("extra",)), "extra") == ["late.dng"]


def test_a_second_cloud_of_the_same_login_does_not_count(tmp_path: Path) -> None:
    other = Medium(id="x", kind="cloud", place="web-2", account="login")
    built = lay(tmp_path / "s", media=(CLOUD, other), copies=(copy("cloud", *FILES), copy("x", *FILES)))
    value = ask(built, "--no-ledger", medium="cloud", code=1, why=("not_verified",))
    assert value["not_counted"][0]["medium"] == "x"


# --- mistakes, interruptions, the ledger -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("nobody",), "media: card, x, y"),
        (("card-a",), "that copy is on card"),
        (("card", "--json", "media/x/out.json"), "falls inside the copy x"),
        (("card", "--json", "ledger.sqlite"), "is where the ledger is kept"),
        (("card", "--now", "soon"), "is no time"),
    ],
)
def test_mistakes_exit_2_and_write_nothing(tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    built = lay(tmp_path / "s", copies=(copy("card-a", *FILES, on="card"), copy("x", *FILES), copy("y", *FILES)))
    before = census(tmp_path / "s")
    outcome = start("retire", built.file, *arguments, cwd=tmp_path / "s")
    assert outcome.code == 2 and words in outcome.err, outcome.said
    assert census(tmp_path / "s") == before


def big(folder: Path) -> Built:
    """A card of 100 pictures and one other copy."""
    files = tuple((f"DCIM/100REED_/R{number:04d}.DNG", picture(number, 400_000)) for number in range(100))
    return lay(folder, media=MEDIA[:2], shoots=(shoot(*files),), copies=(copy("card", *files), copy("x", *files)))


@pytest.mark.skipif(sys.platform == "win32", reason="a console's Ctrl-C cannot be sent to one process there")
def test_ctrl_c_ends_with_3_keeps_the_proofs_and_goes_on(tmp_path: Path) -> None:
    built = big(tmp_path / "s")
    seen = 0
    for wait_s in (1.2, 0.9, 0.7, 0.6, 0.5, 0.4):
        shutil.rmtree(tmp_path / "s/ledger.sqlite", ignore_errors=True)
        with begin("retire", built.file, "card", "--json", "-", cwd=tmp_path) as running:
            ledger, until = tmp_path / "s/ledger.sqlite", time.monotonic() + 30
            while not ledger.exists() and time.monotonic() < until:
                time.sleep(0.005)
            time.sleep(wait_s / 10)
            running.send_signal(signal.SIGINT)
            out, err = running.communicate(timeout=60)
        if running.returncode == 3 and out:
            value = json.loads(out)
            assert value["answer"] is None and value["complete"] is False, value
            assert "interrupted" in value["unfinished"] and "interrupted" in err
            assert "unreadable" not in [reason["why"] for reason in value["reasons"]], value["reasons"]
            seen = value["read"]["files"]
            break
        for name in tmp_path.glob("s/ledger.sqlite*"):
            name.unlink()
    else:
        pytest.fail("no run could be interrupted while it was reading")
    rest = start("retire", built.file, "card", "--json", "-", cwd=tmp_path)
    assert rest.code == 0 and rest.record["read"]["files"] <= 200 - seen, rest.said


def test_the_ledger_remembers_the_question_and_its_readings(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    assert start("retire", built.file, "card", cwd=tmp_path).code == 0
    surveyed = start("survey", built.file, "--json", "-", cwd=tmp_path)
    never = {row["copy"]: row["never_verified"] for row in surveyed.record["copies"]}
    assert never == {"card": 0, "x": 0, "y": 3}, surveyed.said


def test_a_locked_or_foreign_ledger_is_said(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    (tmp_path / "s/ledger.sqlite").write_bytes(b"a letter to a friend, no ledger at all\n" * 200)
    outcome = start("retire", built.file, "card", cwd=tmp_path)
    assert outcome.code == 2 and "--no-ledger" not in outcome.out, outcome.said
    assert start("retire", built.file, "card", "--no-ledger", cwd=tmp_path).code == 0


def test_help_says_what_it_never_does(tmp_path: Path) -> None:
    outcome: Outcome = start("retire", "--help", cwd=tmp_path)
    assert outcome.code == 0 and "Nothing is ever deleted" in outcome.out and "MEDIUM" in outcome.out
