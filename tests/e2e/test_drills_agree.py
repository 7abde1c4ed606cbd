"""`drill run` as a user starts it, on hand-made studios: every record agrees with the independent judge.

Each case states in words, and in numbers worked out by hand, what must come of it; the judge then checks the rest.
Every case counts all sources before and after: nothing may be touched.
"""

import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cases import (
    byte_effects,
    camera_names_twice,
    classes_and_weights,
    every_form,
    many_weakest,
    mirrors,
    moved_and_absolute,
    other_kinds,
    renamed_without_a_list,
    rotten,
    selectors,
    several_shoots,
    shared_kinds,
    stale,
    two_of_three,
    two_on_one,
)
from cases_away import needs, needs_by_mirror, no_list_out_of_reach, out_of_reach
from census import census
from described import Hazard, Held, Medium, Studio
from hand import FILES, SLOW, A, B, C, Case, D, agree, copy, gone, good, held, hold, media, only, picture, shoot
from runner import CHECKOUT, NOW, run_drills, start
from studios import KINDS, build, list_text, pack, write_file

PLAIN = {
    make.__name__: make
    for make in (
        two_of_three, every_form, mirrors, needs, needs_by_mirror, out_of_reach,
        no_list_out_of_reach, camera_names_twice,
        renamed_without_a_list, moved_and_absolute, byte_effects,
        stale, selectors, two_on_one, classes_and_weights, rotten,
        several_shoots, many_weakest,
    )
}  # fmt: skip


@pytest.mark.parametrize("name", PLAIN)
def test_hand_made(name: str, tmp_path: Path) -> None:
    case = PLAIN[name]()
    if name == "no_list_out_of_reach":
        # An archive that is missing from a folder with other things is reached and holds nothing.
        case = case._replace(scenarios=(SLOW,), by_hand={("slow", None): (2, 0, 1)})
        built = build(tmp_path / "studio", case.studio, case.scenarios)
        (tmp_path / "studio" / "media" / "z" / "pictures.tar").unlink()
        empty_z = tuple(replace(c, holds=()) if c.id == "z" else c for c in case.studio.copies)
        hold(
            built, run_drills(built.file, *built.scenarios), case._replace(studio=replace(case.studio, copies=empty_z))
        )
    else:
        agree(tmp_path / "studio", case)


@pytest.mark.parametrize("kind", KINDS)
def test_every_digest_kind(kind: str, tmp_path: Path) -> None:
    agree(tmp_path / "shared", shared_kinds(kind))
    if kind in ("md5", "xxh128", "xxh3"):
        agree(tmp_path / "other", other_kinds(kind))


def test_the_judge_s_own_weights_give_the_score_by_hand(tmp_path: Path) -> None:
    record = agree(tmp_path / "studio", classes_and_weights())
    # (2/3 × 1 + 0 × 2.5 + 1 × 1) / 4.5 = 0.37037…
    assert record["drills"][0]["score"] == 37.0
    assert record["drills"][0]["by_class"]["other"] == {"promised": 1, "verified": 1, "on_paper": 0, "lost": 0}


def test_by_hand_a_rotten_first_copy_is_believed(tmp_path: Path) -> None:
    record = agree(tmp_path / "studio", rotten())
    slow, alone = record["drills"]
    assert slow["unchecked"] == {"right": 1, "silently_wrong": 2, "failed": 0}
    assert (slow["verdict"], alone["verdict"]) == ("restored", "partial")


def _aside(record: dict[str, Any]) -> dict[str, Any]:
    """Put aside what may differ: when it started and how long it took."""
    drills = [d | {"seconds": {k: v for k, v in d["seconds"].items() if k != "measured"}} for d in record["drills"]]
    return {key: value for key, value in record.items() if key != "started"} | {"drills": drills}


def test_the_same_inputs_give_the_same_record_and_a_seed_is_drawn_and_said(tmp_path: Path) -> None:
    files = (("a.jpg", A), ("b.jpg", B), ("c.jpg", C))
    studio = Studio(media=media(*"xy"), shoots=(shoot(*files),), copies=(copy("x", *files), copy("y", files[0])))
    built = build(tmp_path / "studio", studio)
    once = run_drills(built.file, "silent-rot", "second-drive-falters")
    again = run_drills(built.file, "silent-rot", "second-drive-falters")
    assert _aside(once.record) == _aside(again.record) and once.record["seed"] == 7
    assert once.record["now"] == NOW
    args = ("run", built.file, "--scenario", "silent-rot", "--no-ledger", "--no-reports", "--json", "-")
    drawn = start(*args, cwd=tmp_path)
    seed = drawn.record["seed"]
    assert isinstance(seed, int) and str(seed) in drawn.err
    told = start(*args, "--seed", str(seed), "--now", drawn.record["now"], cwd=tmp_path)
    assert _aside(told.record) == _aside(drawn.record)


def test_the_order_of_copies_changes_no_verdict(tmp_path: Path) -> None:
    case = rotten()
    turned = case._replace(studio=replace(case.studio, copies=case.studio.copies[::-1]))
    one, other = agree(tmp_path / "one", case), agree(tmp_path / "other", turned)
    for a, b in zip(one["drills"], other["drills"], strict=True):
        assert (a["verdict"], a["files"], a["lost_files"]) == (b["verdict"], b["files"], b["lost_files"]) or (
            # why may name the copies in another order
            {r["path"] for r in a["lost_files"]} == {r["path"] for r in b["lost_files"]} and a["files"] == b["files"]
        )


def test_only_the_asked_shoot_is_drilled(tmp_path: Path) -> None:
    case = several_shoots()
    built = build(tmp_path / "studio", case.studio, case.scenarios)
    record = run_drills(built.file, *built.scenarios, more=("--shoot", "old", "--shoot", "plain")).record
    assert {drill["shoot"] for drill in record["drills"]} == {"old", "plain"}


def test_an_archive_that_is_damaged_on_the_drive_falls_back_to_the_next_copy(tmp_path: Path) -> None:
    archives = [copy(f"c{number}", *FILES, form=form) for number, form in enumerate((".zip", ".7z", ".tar.gz"))]
    copies = (*archives, copy("disk", *FILES))
    studio = Studio(media=media("c0", "c1", "c2", "disk"), shoots=(shoot(*FILES),), copies=copies)
    built = build(tmp_path / "studio", studio, (SLOW, gone(medium="disk")))
    for number, ending in enumerate((".zip", ".7z", ".tar.gz")):
        path = tmp_path / f"studio/media/c{number}/pictures{ending}"
        whole = path.read_bytes()
        path.write_bytes(whole[: len(whole) // 2] + bytes(64) + whole[len(whole) // 2 + 64 :])
    before = census(*built.sources)
    outcome = run_drills(built.file, *built.scenarios)
    assert census(*built.sources) == before
    slow, without = outcome.record["drills"]
    assert slow["verdict"] == "restored"
    # Each archive has one hole, in the middle: at the place of the second of three equal pictures.
    assert {row["path"] for row in without["lost_files"]} <= {path for path, _ in FILES}
    assert without["files"]["lost"] in (0, 1)


@pytest.mark.parametrize("form", [".tar", ".zip"])
def test_a_bad_sector_inside_one_member_ends_a_restore_by_hand_and_not_the_drill(form: str, tmp_path: Path) -> None:
    """Members of 12288 bytes that nothing shortens follow each other: sector 4 lies inside the second of three."""
    files = tuple((f"{number}.jpg", picture(number, 12288)) for number in range(3))
    hurt = only("hurt", Hazard(effect="unreadable", sectors=(4,), hits={"form": "archive"}))
    studio = Studio(media=media("x"), shoots=(shoot(*files),), copies=(copy("x", *files, form=form),))
    built = build(tmp_path / "studio", studio, (hurt,))
    outcome = run_drills(built.file, *built.scenarios)
    (drill,) = outcome.record["drills"]
    assert [row["path"] for row in drill["lost_files"]] == ["1.jpg"]
    assert drill["unchecked"] == {"right": 1, "silently_wrong": 0, "failed": 2}
    assert (drill["further_failures"]["survivable"], outcome.code) == (-1, 1)


def test_sizes_come_from_listings_where_no_read_verified_and_are_unknown_elsewhere(tmp_path: Path) -> None:
    files = (*FILES, ("never/copied.jpg", D))
    wipe = only("wipe", Hazard(effect="deleted", files=("*.dng",)))
    away = copy("y", FILES[2], on="y", out_of_reach="no at", says=True)
    studio = Studio(media=media(*"xy"), shoots=(shoot(*files),), copies=(copy("x", *FILES[:2]), away))
    record = agree(tmp_path / "studio", Case(studio, (wipe,), {("wipe", None): (0, 1, 3)}))
    size = len(A) + len(B)
    told = {"promised": size, "verified": 0, "on_paper": 0, "lost": size, "unknown_files": 2}
    assert record["drills"][0]["bytes"] == told


def test_the_projection_is_hand_computed(tmp_path: Path) -> None:
    """In hand after 10 s, 3 files at 1 s, 15000 bytes at 1 MB/s; at half the rate; over a bus at a tenth."""
    rates = {"in_hand_after": "10 s", "per_file": "1 s", "reads_at": "1 MB/s"}
    for name, bus, seconds in (("alone", None, (13.015, 13.03)), ("bus", "100 kB/s", (13.15,))):
        more = rates if bus is None else rates | {"bus": "hub"}
        studio = Studio(
            media=(Medium(id="x", more=more),), shoots=(shoot(*FILES),), copies=(copy("x", *FILES),)
        )  # fmt: skip
        none = only("none", Hazard(effect="deleted", files=("no such file",)))
        built = build(tmp_path / name, studio, (none, SLOW))
        if bus is not None:
            text = built.file.read_text(encoding="utf-8")
            built.file.write_text(f'{text}\n[[buses]]\nid = "hub"\ncarries = "{bus}"\n', encoding="utf-8")
        # How a slowed medium shares a bus that was the narrower anyway is left open: only the first scenario there.
        drills = run_drills(built.file, *built.scenarios[: len(seconds)]).record["drills"]
        assert [drill["seconds"]["projected"] for drill in drills] == pytest.approx(seconds, abs=0.0011)


def test_copies_are_named_after_their_medium_where_they_have_no_id(tmp_path: Path) -> None:
    case = two_on_one()
    built = build(tmp_path / "studio", case.studio, case.scenarios)
    text = built.file.read_text(encoding="utf-8")
    head, *tables = text.split("[[copies]]\n")
    bare = [table.split("\n", 1)[1] for table in tables]
    assert all(table.startswith("id = ") for table in tables) and len(bare) == 3
    built.file.write_text("[[copies]]\n".join([head, *bare]), encoding="utf-8")
    hold(built, run_drills(built.file, *built.scenarios), case)


def test_every_promised_digest_must_agree(tmp_path: Path) -> None:
    """Two promises for each file, in two kinds; for one file the second is of other bytes: nothing can keep it."""
    studio = Studio(
        media=media("x"), shoots=(shoot(*FILES, promised_in=("md5", "sha256")),), copies=(copy("x", *FILES),)
    )  # fmt: skip
    case = Case(studio, (SLOW,), {("slow", None): (3, 0, 0)})
    agree(tmp_path / "both", case)
    built = build(tmp_path / "one", studio, (SLOW,))
    lists = tmp_path / "one/manifests/promise-terns.sha256"
    lists.write_bytes(list_text("sha256", [(FILES[0][0], D), *FILES[1:]]))
    (drill,) = run_drills(built.file, *built.scenarios).record["drills"]
    assert [row["path"] for row in drill["lost_files"]] == [FILES[0][0]]


@pytest.mark.outside
@pytest.mark.parametrize("form", [".zip", ".7z", ".tar", ".tar.gz"])
def test_the_packing_of_this_builder_is_what_another_program_reads(form: str, tmp_path: Path) -> None:
    """The builder itself, against 7-Zip's own reading."""
    program = shutil.which("7zz")
    if program is None:
        pytest.skip("7zz is not on this machine")
    pack(tmp_path / f"a{form}", form, held(*FILES))
    done = subprocess.run([program, "t", f"a{form}"], cwd=tmp_path, capture_output=True, check=False)
    assert done.returncode == 0, done.stdout


def test_help_is_everywhere() -> None:
    for args in (["--help"], ["run", "--help"], ["--version"]):
        env = {**os.environ, "PYTHONPATH": os.fspath(CHECKOUT)}
        done = subprocess.run([sys.executable, "-m", "drill", *args], capture_output=True, env=env, check=False)
        assert done.returncode == 0 and done.stdout and not done.stderr


def test_a_bag_as_promise_and_as_the_list_of_a_copy(tmp_path: Path) -> None:
    """RFC 8493, section 2.1: bagit.txt, manifest-ALGORITHM.txt, the payload below data/."""
    built = good(tmp_path / "studio", SLOW, gone(medium="y"))
    bag = tmp_path / "studio/media/x"
    (bag / "data").mkdir()
    for path, data in FILES:
        (bag / path).unlink()
        write_file(bag / "data", Held(path, data))
    (bag / "bagit.txt").write_text("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", encoding="utf-8")
    payload = [(f"data/{path}", data) for path, data in FILES]
    (bag / "manifest-sha256.txt").write_bytes(list_text("sha256", payload))
    text = built.file.read_text(encoding="utf-8")
    text = text.replace("manifests/promise-terns.sha256", "media/x")
    text = text.replace('at = "media/x"', 'at = "media/x"\nmanifest = "media/x"')
    built.file.write_text(text, encoding="utf-8")
    copies = (copy("x", *payload, says=True), copy("y", *FILES))
    studio = Studio(media=media(*"xy"), shoots=(shoot(*FILES),), copies=copies)
    before = census(*built.sources)
    outcome = run_drills(built.file, *built.scenarios)
    assert census(*built.sources) == before
    hold(built, outcome, Case(studio, (SLOW, gone(medium="y")), {("slow", None): (3, 0, 0), ("gone", None): (3, 0, 0)}))
    (bag / "data/nobody listed me.txt").write_bytes(b"so the bag is not valid")
    refused = run_drills(built.file, *built.scenarios)
    assert refused.code == 2 and "nobody listed me.txt" in refused.err, refused.said


def test_a_link_inside_a_copy_is_followed_while_it_stays_inside(tmp_path: Path) -> None:
    built = good(tmp_path / "studio", gone(medium="y"))
    drive = tmp_path / "studio/media/x"
    for path, _ in FILES:
        (drive / path).unlink()
    write_file(drive / "real", Held("one", A))
    outside = write_file(tmp_path / "elsewhere", Held("AAAA0002.dng", B))
    try:
        (drive / FILES[0][0]).symlink_to("../real/one")
        (drive / FILES[1][0]).symlink_to(outside)
        (drive / "deliver/one.jpg").symlink_to("one.jpg")  # to itself
    except OSError:
        pytest.skip("this system lets no symbolic link be made")
    before = census(*built.sources, tmp_path / "elsewhere")
    outcome = run_drills(built.file, *built.scenarios)
    assert census(*built.sources, tmp_path / "elsewhere") == before
    (drill,) = outcome.record["drills"]
    assert {row["path"] for row in drill["lost_files"]} == {path for path, _ in FILES[1:]}
    assert drill["sources"] == {"x": 1}
