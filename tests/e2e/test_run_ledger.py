"""`drill run` and the ledger: what one run shows, the next one knows; one that cannot be used is refused."""

import json
import os
import shutil
import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from census import census
from dated import dated
from described import Hazard, Scenario, Studio
from hand import FILES, SLOW, A, B, C, copy, gone, held, media, only, shoot
from runner import NOW, Outcome, start
from studios import Built, build, link_server

from drill import clock
from drill.ledger import Ledger

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

OLD = datetime(2026, 9, 20, tzinfo=UTC)


def run(built: Built, *more: str) -> Outcome:
    chosen = [part for name in built.scenarios for part in ("--scenario", os.fspath(name))]
    fixed = ("--no-reports", "--seed", "7", "--now", NOW)
    return start("run", built.file, *chosen, *fixed, *more, cwd=built.file.parent)


def two(folder: Path, *scenarios: Scenario) -> Built:
    """x has no list and holds one file under a misleading name; y has everything under its name."""
    hidden = held(("raw/AAAA0001.dng", A), ("odd/name.bin", B), ("deliver/one.jpg", C))
    copies = (copy("x", *FILES, holds=hidden), copy("y", *FILES))
    return build(folder, Studio(media=media("x", "y"), shoots=(shoot(*FILES),), copies=copies), scenarios or (SLOW,))


def test_what_one_run_read_leads_the_next_one(tmp_path: Path) -> None:
    built = two(tmp_path / "studio", gone(medium="y"))
    before = census(*built.sources)
    first = run(built)
    assert first.code == 0 and census(*built.sources) == before, first.said
    ledger = built.file.parent / "ledger.sqlite"
    assert ledger.is_file()
    assert "How old the proofs are" in first.out
    with Ledger.read(ledger) as known:
        (past,) = known.runs()
        assert (past.kind, past.complete, past.seed) == ("drill", True, 7)
        (drill,) = known.drills_of(past.id)
        assert (drill.scenario, drill.verdict, drill.verified) == ("gone", "restored", 3)
    with sqlite3.connect(ledger) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_the_record_is_the_one_in_the_ledger(tmp_path: Path) -> None:
    built = two(tmp_path / "studio", SLOW, gone(medium="y"))
    record = run(built, "--json", "-").record
    with Ledger.read(built.file.parent / "ledger.sqlite") as known:
        kept = [json.loads(drill.record) for drill in known.drills_of(known.runs()[0].id)]
    assert kept == record["drills"]


def test_a_copy_without_a_list_that_is_away_holds_on_paper_what_was_read_on_it(tmp_path: Path) -> None:
    built = two(tmp_path / "studio", SLOW, only("both", Hazard(effect="gone", hits={"medium": "y"})))
    assert run(built).code == 0
    shutil.move(built.file.parent / "media" / "x", tmp_path / "unplugged")
    drills = {drill["scenario"]: drill for drill in run(built, "--json", "-").record["drills"]}
    assert drills["slow"]["verdict"] == "restored"
    assert drills["both"]["files"] == {"promised": 3, "verified": 0, "on_paper": 3, "lost": 0}
    assert drills["both"]["bytes"]["on_paper"] == len(A) + len(B) + len(C)
    forgetful = run(built, "--json", "-", "--no-ledger").record["drills"]
    assert {d["scenario"]: d["files"]["lost"] for d in forgetful} == {"slow": 0, "both": 3}
    said = " ".join(run(built).out.split())
    assert "it has no list, and what was read on it before stays on paper" in said


@pytest.mark.parametrize("form", [".zip", ".7z", ".tar", "link.zip"])
def test_of_an_archive_without_a_list_that_is_away_every_file_that_was_read_stays_on_paper(
    tmp_path: Path, form: str
) -> None:
    copies = (copy("x", *FILES, form=form), copy("y", *FILES))
    described = Studio(media=media("x", "y"), shoots=(shoot(*FILES),), copies=copies)
    folder = tmp_path / "studio"
    with link_server(folder / "cloud") as (base, _):
        built = build(folder, described, [gone(medium="y")], base=base)
        assert run(built).code == 0
    for place in ("media", "cloud"):
        if (folder / place / "x").exists():
            shutil.move(folder / place / "x", tmp_path / "unplugged")
    (drill,) = run(built, "--json", "-").record["drills"]
    assert drill["files"] == {"promised": 3, "verified": 0, "on_paper": 3, "lost": 0}
    surveyed = start("survey", built.file, "--now", NOW, "--json", "-", cwd=tmp_path).record
    assert {c["copy"]: (c["listed"], c["promised"]) for c in surveyed["copies"]}["x"] == (None, 3)
    said = " ".join(start("survey", built.file, "--now", NOW, cwd=tmp_path).out.split())
    assert "it has no list, and what was read on it before stays on paper" in said
    recovered = start("recover", built.file, "--lost", "x", "--lost", "y", "--into", tmp_path / "back", cwd=tmp_path)
    assert "3 files, last on x (lost)" in " ".join(recovered.said.split()), recovered.said


@pytest.mark.parametrize("form", [".zip", ".7z", ".tar"])
def test_what_kept_headers_name_is_said_of_an_archive_that_was_never_read(tmp_path: Path, form: str) -> None:
    copies = (copy("x", *FILES, form=form), copy("y", *FILES))
    described = Studio(media=media("x", "y"), shoots=(shoot(*FILES),), copies=copies)
    built = build(tmp_path / "studio", described, [gone(medium="y")])
    start("survey", built.file, "--now", NOW, cwd=tmp_path)
    assert list((tmp_path / "studio/ledger.headers").iterdir())
    shutil.move(tmp_path / "studio/media/x", tmp_path / "unplugged")
    outcome = run(built)
    assert "its kept headers name 3 files in it" in " ".join(outcome.out.split()), outcome.said
    assert run(built, "--json", "-").record["drills"][0]["files"]["lost"] == 3, "a name is no proof"


def test_the_same_ledger_gives_the_same_result(tmp_path: Path) -> None:
    built = two(tmp_path / "studio", SLOW, gone(medium="y"))
    run(built)
    ledger, kept = built.file.parent / "ledger.sqlite", tmp_path / "kept.sqlite"
    shutil.copy(ledger, kept)
    records = []
    for _ in range(2):
        shutil.copy(kept, ledger)
        record = run(built, "--json", "-").record
        for drill in record["drills"]:
            del drill["seconds"]["measured"]
        records.append(record["drills"])
    assert records[0] == records[1]


def test_a_fault_that_was_only_rehearsed_refutes_nothing(tmp_path: Path) -> None:
    built = two(tmp_path / "studio", only("dark", Hazard(effect="encrypted", hits={"medium": "x"})))
    outcome = run(built)
    assert outcome.code == 0, outcome.said
    text = outcome.out.partition("How old the proofs are")[2]
    assert text and "Wrong on" not in text


def test_damage_found_today_is_wrong_until_it_is_mended_and_read_again(tmp_path: Path) -> None:
    built = two(tmp_path / "studio", SLOW, only("dark", Hazard(effect="gone", hits={"medium": "x"})))
    target = built.file.parent / "media" / "y" / "raw" / "AAAA0001.dng"
    target.write_bytes(A[::-1])
    os.utime(target, (OLD.timestamp(), OLD.timestamp()))
    assert "Wrong on y when last read (terns): raw/AAAA0001.dng" in " ".join(run(built).out.split())
    surveyed = start("survey", built.file, "--now", NOW, cwd=tmp_path)
    assert surveyed.code == 1 and "y: 1 file wrong when last read" in " ".join(surveyed.out.split()), surveyed.said
    target.write_bytes(A)
    os.utime(target, (OLD.timestamp() + 60, OLD.timestamp() + 60))
    surveyed = start("survey", built.file, "--now", NOW, "--json", "-", cwd=tmp_path)
    assert {c["copy"]: c["refuted"] for c in surveyed.record["copies"]}["y"] == ["raw/AAAA0001.dng"]
    assert "Wrong on" not in run(built).out
    surveyed = start("survey", built.file, "--now", NOW, cwd=tmp_path)
    assert surveyed.code == 0, surveyed.said


def test_a_survey_holds_proofs_against_the_target(tmp_path: Path) -> None:
    built = two(tmp_path / "studio")
    with built.file.open("a", encoding="utf-8") as file:
        file.write('[shoots.targets]\nverified_within = "100 days"\n')
    assert start("survey", built.file, cwd=tmp_path).code == 1
    assert not (built.file.parent / "ledger.sqlite").exists(), "a survey makes no ledger"
    run(built)
    dated(built.file.parent / "ledger.sqlite", NOW)
    fresh = start("survey", built.file, "--now", NOW, "--json", "-", cwd=tmp_path)
    assert fresh.code == 0, fresh.said
    verified = fresh.record["shoots"][0]["verified"]
    assert (verified["met"], verified["never_verified"]) == (True, 0)
    assert start("survey", built.file, "--now", "2027-03-10T00:00:00Z", cwd=tmp_path).code == 1
    assert start("survey", built.file, "--now", NOW, "--no-ledger", cwd=tmp_path).code == 1


def test_a_reading_happens_when_it_happens_whatever_now_is_said_to_be(tmp_path: Path) -> None:
    built = two(tmp_path / "studio")
    begun, ledger = clock.now(), built.file.parent / "ledger.sqlite"
    for now in ("2020-01-01T00:00:00Z", "2090-01-01T00:00:00Z"):
        chosen = ("--scenario", built.scenarios[0], "--no-reports", "--now", now)
        outcome = start("run", built.file, *chosen, "--json", "-", cwd=tmp_path)
        assert outcome.code == 0, outcome.said
        said = start("run", built.file, *chosen, cwd=tmp_path).out.partition("How old the proofs are")[2]
        rows = [line.split() for line in said.splitlines() if line.startswith("terns  x")]
        assert rows == [["terns", "x", "3", "now", "-", "-"]], said
    with Ledger.read(ledger) as known:
        past = known.runs()[-1]
        read_at = [one.read_at for one in known.evidence_of_copy("x", "x").values()]
    assert past.now.year == 2090 and begun <= past.started <= clock.now()
    assert len(read_at) == 3 and all(begun <= when <= clock.now() for when in read_at)


@pytest.mark.parametrize("form", ["link", "link.zip"])
def test_what_a_server_sent_is_proved_until_a_later_reading_says_otherwise(tmp_path: Path, form: str) -> None:
    """The drive is taken away: only the link's own proofs count for the target."""
    copies = (copy("x", *FILES), copy("web", *FILES, form=form, says=True))
    described = Studio(media=media("x", "web"), shoots=(shoot(*FILES),), copies=copies)
    folder = tmp_path / "studio"
    with link_server(folder / "cloud") as (base, served):
        built = build(folder, described, [gone(medium="x")], base=base)
        with built.file.open("a", encoding="utf-8") as file:
            file.write('[targets]\nverified_within = "100 days"\n')

        def stock(now: str) -> tuple[bool, dict[str, Any]]:
            surveyed = start("survey", built.file, "--now", now, "--json", "-", cwd=tmp_path)
            (row,) = (row for row in surveyed.record["copies"] if row["copy"] == "web")
            return surveyed.record["shoots"][0]["verified"]["met"], row

        assert run(built).code == 0
        ledger = folder / "ledger.sqlite"
        dated(ledger, NOW)
        assert b"sig=" not in ledger.read_bytes()
        shutil.move(folder / "media" / "x", tmp_path / "unplugged")
        with sqlite3.connect(ledger) as db:
            db.execute("DELETE FROM readings WHERE root IN (SELECT id FROM roots WHERE medium = 'x')")
        met, row = stock("2027-01-20")
        assert met and (row["state"], row["never_verified"], row["refuted"]) == ("answers", 0, [])
        assert not stock("2027-03-20")[0]
        sent = sorted({path for _, path in served.requests})
        served.answer = dict.fromkeys(sent, (403, b"no"))
        run(built)
        served.answer = {}
        met, row = stock("2027-01-20")
        assert row["refuted"] == [] and (not met or form == "link.zip"), "of an archive no member was asked for"


def test_without_a_ledger_none_is_made(tmp_path: Path) -> None:
    built = two(tmp_path / "studio")
    outcome = run(built, "--no-ledger")
    assert outcome.code == 0 and "How old the proofs are" not in outcome.out
    assert not (built.file.parent / "ledger.sqlite").exists()


def test_a_ledger_that_is_none_or_damaged_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    built = two(tmp_path / "studio")
    ledger = built.file.parent / "ledger.sqlite"
    for content in (b"this is no ledger at all, and was here first", b"SQLite format 3\0" + b"\xff" * 4000):
        ledger.write_bytes(content)
        outcome = run(built)
        assert outcome.code == 2 and "ledger.sqlite" in outcome.err, outcome.said
        assert ledger.read_bytes() == content
        assert run(built, "--no-ledger").code == 0


def test_a_ledger_where_a_folder_is_ends_the_run_before_it_begins(tmp_path: Path) -> None:
    built = two(tmp_path / "studio")
    (built.file.parent / "ledger.sqlite").mkdir()
    outcome = run(built)
    assert outcome.code == 2 and "ledger.sqlite: is a folder" in outcome.err and not outcome.out, outcome.said
