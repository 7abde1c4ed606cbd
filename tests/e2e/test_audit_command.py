"""`drill audit` as a user starts it: options, exit codes, what it remembers, what it refuses."""

import json
import os
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from census import census
from dated import dated
from described import Medium, Studio
from hand import FILES, A, B, C, D, copy, held, media, picture, shoot
from runner import NOW, Outcome, start
from studios import Built, build

pytestmark = pytest.mark.deep  # many starts of the program; its rooms, and test_audits_agree.py, are quick

LATER = "2026-11-26T20:00:00Z"


def audited(built: Built, *more: str | Path, now: str = NOW) -> Outcome:
    return start("audit", built.file, "--now", now, *more, cwd=built.file.parent)


def two_shoots(folder: Path, **more: Any) -> Built:
    """Two shoots on a drive with a list and a tablet without one."""
    other = (("raw/KKKK0001.dng", D), ("raw/KKKK0002.dng", picture(9)))
    studio = Studio(
        media=media("drive", "tablet"),
        shoots=(shoot(*FILES), shoot(*other, id="kiln")),
        copies=(
            copy("drive", *FILES, *other, says=True, **more),
            copy("tablet", holds=held(*FILES, *other, ("note.txt", b"note"))),
        ),
    )
    return build(folder, studio)


def counts(outcome: Outcome, name: str = "drive") -> dict[str, int]:
    row = next(row for row in outcome.record["copies"] if row["copy"] == name)
    return {outcome: number for outcome, number in row["counts"].items() if number}


def test_tables_and_record_are_the_same_audit(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    tables, record = audited(built, "--json", "out.json"), audited(built, "--json", "-")
    assert (tables.code, record.code) == (0, 0), tables.said
    value = json.loads((tmp_path / "s/out.json").read_text(encoding="utf-8"))
    assert value["schema"] == "restore-audit/1" and value["studio"] == "Oystercatcher Pictures"
    assert set(value) == set(record.record)
    assert "10 files verified on 2 copies, none found damaged" in " ".join(tables.out.split())
    assert max(map(len, tables.out.splitlines())) <= 80
    assert "seed: " in tables.err


def test_only_a_copy_only_a_shoot(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    one = audited(built, "--copy", "drive", "--json", "-")
    assert [row["copy"] for row in one.record["copies"]] == ["drive"]
    kiln = audited(built, "--shoot", "kiln", "--json", "-")
    assert counts(kiln) == counts(kiln, "tablet") == {"verified": 2}, kiln.said
    both = audited(built, "--shoot", "kiln", "--shoot", "terns", "--copy", "tablet", "--json", "-")
    assert counts(both, "tablet") == {"verified": 5}


def test_a_budget_reads_another_part_each_time(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    seen: set[str] = set()
    for number, left in enumerate((3, 3, 3)):
        outcome = audited(built, "--copy", "drive", "--budget", "10 kB", "--json", "-", now=f"2026-11-2{5 + number}")
        assert counts(outcome) == {"verified": 2, "not_read": left}, outcome.said
        assert outcome.code == 0 and outcome.record["complete"] is True
        unread = {file["path"] for file in outcome.record["copies"][0]["files"]}
        seen |= {"raw/KKKK0001.dng", "raw/KKKK0002.dng", *(path for path, _ in FILES)} - unread
    assert len(seen) == 5, "what was never verified comes first"


def test_the_same_seed_reads_the_same(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    spot = ("--no-ledger", "--confidence", "90%", "--at-most", "30%", "--json", "-", "--seed")
    first, again, other = (audited(built, *spot, seed).record for seed in ("7", "7", "8"))
    for record in (first, again, other):
        record["started"] = ""
        for row in record["copies"]:
            row["seconds"] = 0
    assert first == again and first["copies"][0]["files"] != other["copies"][0]["files"]


def test_a_spot_check_says_what_it_shows(tmp_path: Path) -> None:
    files = tuple((f"raw/F{number:04}.dng", picture(number, 50)) for number in range(120))
    bad = dict(files) | {f"raw/F{number:04}.dng": b"rotten" for number in range(60)}
    studio = Studio(
        media=media("good", "bad"),
        shoots=(shoot(*files),),
        copies=(copy("good", *files, says=True), copy("bad", *files, holds=held(*bad.items()), says=True)),
    )
    built = build(tmp_path / "s", studio)
    spot = ("--confidence", "95%", "--at-most", "5%", "--seed", "3")
    outcome, record = audited(built, *spot), audited(built, *spot, "--json", "-").record
    text = " ".join(outcome.out.split())
    sample = record["copies"][0]["sample"]
    assert sample["files"] == 120 and sample["bad"] == 0 and sample["bad_at_most"] <= 6
    said = f"{sample['sampled']} of 120 files read, none of them bad: at 95 % confidence, at most"
    assert said in text and f"{sample['bad_at_most']} of 120 files are bad" in text, outcome.said
    assert "about" in text and "between" in text
    row = record["copies"][1]
    assert row["sample"]["low"] <= 60 <= row["sample"]["high"]
    assert row["counts"]["not_read"] == 120 - row["sample"]["sampled"]
    assert outcome.code == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--budget", "2 h", "--confidence", "95%"), "--confidence: cannot be had together with --budget"),
        (("--at-most", "1%"), "--at-most: says nothing without --confidence"),
        (("--budget", "plenty"), "is no budget"),
        (("--confidence", "0%"), "shows nothing"),
        (("--copy", "nobody", "--shoot", "none"), "--shoot none: no shoot has this id"),
        (("--copy", "nobody"), "--copy nobody: no copy has this id"),
        (("--json", "media/drive/out.json"), "falls inside the copy drive"),
        (("--json", "nowhere/out.json"), "its folder is not there"),
        (("--json", "ledger.sqlite"), "is where the ledger is kept"),
    ],
)
def test_mistakes_exit_2_and_nothing_is_written(arguments: tuple[str, ...], words: str, tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    before = census(tmp_path / "s")
    outcome = audited(built, *arguments)
    assert outcome.code == 2 and words in " ".join(outcome.err.split()), outcome.said
    assert census(tmp_path / "s") == before


def test_the_ledger_is_not_written_over_through_a_link(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    assert audited(built).code == 0
    (tmp_path / "s" / "out.json").symlink_to(tmp_path / "s" / "ledger.sqlite")
    outcome = audited(built, "--json", "out.json")
    assert outcome.code == 2 and "is where the ledger is kept" in " ".join(outcome.err.split()), outcome.said
    assert audited(built).code == 0, "the ledger is as it was"


def test_a_ledger_inside_a_copy_is_refused(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    text = built.file.read_text(encoding="utf-8")
    built.file.write_text(text.replace("[studio]\n", '[studio]\nledger = "media/drive/l.sqlite"\n'), encoding="utf-8")
    before = census(tmp_path / "s")
    outcome = audited(built)
    assert outcome.code == 2 and "[studio] ledger" in outcome.err, outcome.said
    assert census(tmp_path / "s") == before
    assert audited(built, "--no-ledger").code == 0
    assert census(*built.sources) == {key: value for key, value in before.items() if key in census(*built.sources)}


def test_without_a_ledger_none_is_made_and_none_is_used(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    before = census(tmp_path / "s")
    assert audited(built, "--no-ledger").code == 0
    assert census(tmp_path / "s") == before


def test_what_it_found_is_in_the_ledger(tmp_path: Path) -> None:
    built = two_shoots(
        tmp_path / "s", holds=held(*FILES[:2], ("raw/KKKK0001.dng", B), ("raw/KKKK0002.dng", picture(9)))
    )
    outcome = audited(built, "--json", "-")
    assert outcome.code == 1
    with sqlite3.connect(built.file.parent / "ledger.sqlite") as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert db.execute("SELECT kind, complete FROM runs").fetchall() == [("audit", 1)]
        rows = db.execute(
            "SELECT copy, reached, verified, altered, missing, extra FROM audits ORDER BY copy"
        ).fetchall()
        assert rows == [("drive", 1, 3, 1, 1, 0), ("tablet", 1, 5, 0, 0, 1)]
        assert db.execute("SELECT count(*) FROM readings").fetchone() == (4 + 6,)
        assert {row[0] for row in db.execute("SELECT medium FROM rates")} == {"drive", "tablet"}
    db.close()


def test_what_no_promise_has_is_read_once_and_damage_again_each_time(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    first, second = (audited(built, "--copy", "tablet", "--json", "-").record["copies"][0] for _ in range(2))
    assert first["bytes_read"] - second["bytes_read"] == len(b"note")
    assert first["counts"] == second["counts"] and second["counts"]["extra"] == 1
    note = tmp_path / "s/media/tablet/note.txt"
    note.write_bytes(A)
    changed = audited(built, "--copy", "tablet", "--json", "-").record["copies"][0]
    assert changed["counts"]["verified"] == 6 and changed["counts"]["extra"] == 0


def test_damage_is_told_with_where_it_is_whole_and_since_when(tmp_path: Path) -> None:
    built = two_shoots(
        tmp_path / "s", holds=held(*FILES[:2], ("raw/KKKK0001.dng", B), ("raw/KKKK0002.dng", picture(9)))
    )
    assert audited(built, "--copy", "tablet").code == 0
    dated(built.file.parent / "ledger.sqlite", NOW)
    outcome = audited(built, "--copy", "drive", now=LATER)
    text = " ".join(outcome.out.split())
    assert "deliver/one.jpg on drive is missing; tablet holds it, verified 2 days ago: bring it back" in text, (
        outcome.said
    )
    assert "raw/KKKK0001.dng on drive has other bytes than its list says" in text, outcome.said
    assert "tablet holds the listed one, verified 2 days ago: look at both before anything is copied over it" in text


def test_a_card_that_uses_names_again_is_not_to_be_copied_over(tmp_path: Path) -> None:
    new = tuple((path, picture(20 + number)) for number, (path, _) in enumerate(FILES))
    studio = Studio(
        media=media("card", "old"),
        shoots=(shoot(*FILES),),
        copies=(copy("card", *FILES, holds=held(*new), says=True), copy("old", *FILES, says=True)),
    )
    outcome = audited(build(tmp_path / "s", studio))
    text = " ".join(outcome.out.split())
    assert outcome.code == 1 and "bring" not in text, outcome.said
    assert "have other bytes than its list says: damaged, or other pictures of those names" in text, outcome.said
    assert "old holds the listed ones, verified in this audit: look at both before anything is copied over them" in text


def test_a_list_with_other_bytes_than_promised_is_told(tmp_path: Path) -> None:
    wrong = (*FILES[:1], (FILES[1][0], picture(30)), *FILES[2:])
    two = (copy("good", *FILES, says=True), copy("old", *wrong, says=True))
    built = build(tmp_path / "s", Studio(media=media("good", "old"), shoots=(shoot(*FILES),), copies=two))
    outcome, record = audited(built), audited(built, "--json", "-").record
    assert outcome.code == 0 and "Not what was promised, by the copy's own list" in outcome.out, outcome.said
    assert [row["counts"]["verified"] for row in record["copies"]] == [3, 3]
    path = FILES[1][0]
    assert [row["other_bytes"] for row in record["copies"]] == [[], [{"path": path, "promised": path}]]


def test_a_list_of_another_kind_leads_to_the_promise_by_name(tmp_path: Path) -> None:
    rotten = (*FILES[:1], (FILES[1][0], b"rotten"), *FILES[2:])
    two = (
        copy("old", *FILES, holds=held(*rotten), says=True, says_in=("xxh64",)),
        copy("tablet", *FILES),
    )
    built = build(tmp_path / "s", Studio(media=media("old", "tablet"), shoots=(shoot(*FILES),), copies=two))
    (told,) = audited(built, "--json", "-").record["copies"][0]["files"]
    assert told["outcome"] == "altered"
    assert [(one["copy"], one["by_name"]) for one in told["intact"]] == [("tablet", True)]


def test_what_the_studio_file_names_inside_a_copy_is_not_extra(tmp_path: Path) -> None:
    for says in (True, False):
        studio = Studio(
            media=media("old"),
            shoots=(shoot(*FILES),),
            copies=(copy("old", *FILES, says=FILES if says else None), copy("autumn", *FILES, on="old", form=".zip")),
        )
        built = build(tmp_path / str(says), studio)
        home = built.file.parent
        archive = next(home.rglob("*.zip"))
        archive.rename(home / "media/old/2026-autumn.zip")
        text = built.file.read_text(encoding="utf-8")
        name = archive.relative_to(home).as_posix()
        assert name in text
        built.file.write_text(text.replace(name, "media/old/2026-autumn.zip"), encoding="utf-8")
        (home / "media/old/note.txt").write_bytes(b"note")
        row = audited(built, "--json", "-").record["copies"][0]
        assert [file["path"] for file in row["files"]] == ["note.txt"], row
        assert row["bytes_read"] < 16_000, "the archive is read as a copy of its own"


def test_a_damaged_archive_member_and_a_damaged_archive(tmp_path: Path) -> None:
    studio = Studio(media=media("x"), shoots=(shoot(*FILES),), copies=(copy("x", *FILES, form=".zip", says=True),))
    built = build(tmp_path / "s", studio)
    archive = tmp_path / "s/media/x/pictures.zip"
    whole = archive.read_bytes()
    archive.write_bytes(whole.replace(A[2000:2010], bytes(10)))
    member = audited(built, "--json", "-")
    assert member.code == 1
    (told,) = member.record["copies"][0]["files"]
    assert told["path"] == FILES[0][0] and told["outcome"] in ("altered", "unreadable") and told["detail"]
    archive.write_bytes(whole[:-30])
    broken = audited(built, "--json", "-")
    assert broken.code == 1
    row = broken.record["copies"][0]
    assert row["reached"] is True and row["counts"]["unreadable"] == 3 and row["refuses"] is True


def test_an_archive_without_a_list_that_gives_nothing_does_not_exit_0(tmp_path: Path) -> None:
    studio = Studio(media=media("x"), shoots=(shoot(*FILES),), copies=(copy("x", *FILES, form=".zip"),))
    built = build(tmp_path / "s", studio)
    archive = tmp_path / "s/media/x/pictures.zip"
    archive.write_bytes(archive.read_bytes()[:100])
    outcome = audited(built, "--json", "-")
    assert outcome.code == 1 and counts(outcome, "x") == {"unreadable": 1}
    archive.unlink()  # reached, and holds nothing
    outcome = audited(built, "--json", "-")
    assert outcome.code == 1 and counts(outcome, "x") == {}
    assert outcome.record["copies"][0]["reached"] is True
    assert "x was reached and gives nothing" in audited(built).out


def test_a_ledger_that_is_damaged_or_no_ledger_exits_2(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    ledger = built.file.parent / "ledger.sqlite"
    for content in (b"my own notes\n", b"SQLite format 3\0" + bytes(2000)):
        ledger.write_bytes(content)
        outcome = audited(built)
        assert outcome.code == 2 and "ledger.sqlite" in outcome.err, outcome.said
        assert ledger.read_bytes() == content, "what it does not know it leaves alone"
    assert audited(built, "--no-ledger").code == 0


def test_a_ledger_that_cannot_be_written_exits_3_and_says_what_to_do(tmp_path: Path) -> None:
    built = two_shoots(tmp_path / "s")
    text = built.file.read_text(encoding="utf-8")
    (tmp_path / "s/full").write_bytes(b"")
    text = text.replace("[studio]\n", '[studio]\nledger = "full/ledger.sqlite"\n')  # a file is no folder
    built.file.write_text(text, encoding="utf-8")
    outcome = audited(built)
    assert outcome.code == 3 and "--no-ledger" in outcome.err, outcome.said


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_names_that_are_no_unicode(tmp_path: Path) -> None:
    studio = Studio(media=(Medium(id="x"),), shoots=(shoot(*FILES),), copies=(copy("x", *FILES),))
    built = build(tmp_path / "s", studio)
    odd = os.fsencode(tmp_path / "s/media/x") + b"/\xff\x1b[2J.dng"
    Path(os.fsdecode(odd)).write_bytes(C)
    for _ in range(2):
        outcome = audited(built, "--json", "-")
        assert outcome.code == 0 and counts(outcome, "x") == {"verified": 4}, outcome.said


@pytest.mark.parametrize("alone", [True, False])
def test_rot_in_a_copy_without_a_list_is_damage_also_where_neither_size_nor_folder_tells(
    tmp_path: Path, alone: bool
) -> None:
    """The earlier reading tells: what was promised bytes is no stranger's picture when it has others."""
    files = (("raw/AAAA0001.dng", A), ("raw/AAAA0002.dng", B))
    card = copy("drive", holds=held(("DCIM/100REED_/AAAA0001.DNG", A), ("DCIM/100REED_/AAAA0002.DNG", B)))
    copies = (card,) if alone else (card, copy("x", *files))
    built = build(tmp_path / "s", Studio(media=media("drive", "x"), shoots=(shoot(*files),), copies=copies))
    assert counts(audited(built, "--json", "-"))["verified"] == 2
    target = built.file.parent / "media/drive/DCIM/100REED_/AAAA0002.DNG"
    times = target.stat()
    target.write_bytes(B[:-1] + bytes([B[-1] ^ 1]))
    os.utime(target, ns=(times.st_atime_ns, times.st_mtime_ns))
    outcome = audited(built, "--copy", "drive", "--json", "-")
    assert (outcome.code, counts(outcome).get("altered"), counts(outcome).get("verified")) == (1, 1, 1), outcome.said
    surveyed = start("survey", built.file, "--now", NOW, cwd=tmp_path)
    assert surveyed.code == 1 and "wrong when last read" in " ".join(surveyed.out.split()), surveyed.said
    again = audited(built, "--copy", "drive", "--all")
    assert again.code == 1, "the damage is not forgotten at the next reading"
