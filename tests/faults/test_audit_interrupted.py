"""Audits that do not come to their end: killed, interrupted, a copy unplugged amid reading; and two at once.

A link server that does not answer for one file holds an audit where it is: the medium is a hard disk, which is read by
one reader, copy after copy, so that what comes before has been read and what comes after has not.
"""

import os
import signal
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from census import census
from described import Medium, Studio
from hand import FILES, A, copy, picture, shoot
from runner import NOW, Outcome, begin, start
from studios import Built, Served, build, link_server

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

MORE = tuple((f"more/M{number:04}.dng", picture(number, 3000)) for number in range(40))
ALL = (*FILES, *MORE)


@contextmanager
def held_up(folder: Path, *, link_first: bool) -> Iterator[tuple[Built, Served]]:
    """Build a studio whose audit stops at a link: after the folder on that medium, or before it."""
    folder.mkdir()
    with link_server(folder / "cloud") as (base, served):
        link = copy("web", ("deliver/one.jpg", ALL[2][1]), on="disk", form="link", says=True)
        pictures = copy("disk", *ALL, says=True)
        studio = Studio(
            media=(Medium(id="disk", kind="hard-disk"),),
            shoots=(shoot(*ALL),),
            copies=(link, pictures) if link_first else (pictures, link),
        )
        built = build(folder, studio, base=base)
        served.stuck = {"/web/deliver/one.jpg"}
        try:
            yield built, served
        finally:
            served.release.set()


def held(built: Built, served: Served, *more: str) -> "subprocess.Popen[str]":
    """Start an audit and wait until it is held up, and a second longer."""
    served.arrived.clear()
    running = begin("audit", built.file, "--now", NOW, "--json", "-", *more, cwd=built.file.parent)
    if not served.arrived.wait(30):
        running.kill()
        raise AssertionError("the audit never came to the link")
    time.sleep(1.2)
    return running


def end(running: "subprocess.Popen[str]") -> Outcome:
    with running:
        out, err = running.communicate(timeout=60)
    return Outcome(running.returncode, out, err)


def whole(ledger: Path) -> bool:
    db = sqlite3.connect(ledger)
    try:
        return bool(db.execute("PRAGMA integrity_check").fetchone() == ("ok",))
    finally:
        db.close()


def bytes_of(outcome: Outcome, name: str) -> int:
    size = next(row["bytes_read"] for row in outcome.record["copies"] if row["copy"] == name)
    assert isinstance(size, int)
    return size


def test_a_killed_audit_is_carried_on_and_only_the_rest_is_read(tmp_path: Path) -> None:
    with held_up(tmp_path / "s", link_first=False) as (built, served):
        before = census(*built.sources)
        for _ in range(2):  # one that carries on may be killed too
            running = held(built, served)
            running.kill()
            end(running)
            assert whole(built.file.parent / "ledger.sqlite")
        changed = tmp_path / "s/media/disk" / FILES[0][0]
        os.utime(changed, (1_700_000_000, 1_700_000_000))
        served.release.set()
        again = end(begin("audit", built.file, "--now", NOW, "--json", "-", cwd=built.file.parent))
        assert again.code == 0, again.said
        row = again.record["copies"][0]
        assert row["counts"]["verified"] == len(ALL) and row["continued"] == len(ALL) - 1
        assert bytes_of(again, "disk") == len(A), "only what changed since is read again"
        afresh = end(begin("audit", built.file, "--now", NOW, "--json", "-", cwd=built.file.parent))
        assert bytes_of(afresh, "disk") == sum(len(data) for _, data in ALL), "a complete audit is not carried on"
        after = census(*built.sources)
        changed_key = os.fspath(changed)
        assert {k: v for k, v in after.items() if k != changed_key} == {
            k: v for k, v in before.items() if k != changed_key
        }


def test_all_reads_everything_again(tmp_path: Path) -> None:
    with held_up(tmp_path / "s", link_first=False) as (built, served):
        running = held(built, served)
        running.kill()
        end(running)
        served.release.set()
        outcome = start("audit", built.file, "--now", NOW, "--all", "--json", "-", cwd=built.file.parent)
        assert bytes_of(outcome, "disk") == sum(len(data) for _, data in ALL)
        assert outcome.record["copies"][0]["continued"] == 0


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for another process")
def test_interrupted_it_says_what_it_found_and_exits_3(tmp_path: Path) -> None:
    with held_up(tmp_path / "s", link_first=False) as (built, served):
        running = held(built, served)
        running.send_signal(signal.SIGINT)
        time.sleep(0.5)
        served.release.set()
        outcome = end(running)
        assert outcome.code == 3, outcome.said
        record = outcome.record
        assert record["complete"] is False and record["unfinished"].startswith("interrupted; what was read is kept")
        assert record["copies"][0]["counts"]["verified"] == len(ALL)
        assert record["copies"][1]["counts"]["not_read"] == 1
        assert "the same command goes on from there" in outcome.err
        again = start("audit", built.file, "--now", NOW, cwd=built.file.parent)
        assert again.code == 0 and "by an audit that was cut short" in " ".join(again.out.split()), again.said


def test_a_copy_that_vanishes_amid_the_reading(tmp_path: Path) -> None:
    with held_up(tmp_path / "s", link_first=True) as (built, served):
        running = held(built, served)
        (tmp_path / "s/media/disk").rename(tmp_path / "unplugged")
        served.release.set()
        outcome = end(running)
        assert outcome.code == 3, outcome.said
        record = outcome.record
        assert record["complete"] is False and "the copy disk vanished" in record["unfinished"]
        assert record["copies"][1]["counts"]["not_read"] == len(ALL)
        assert record["copies"][1]["reached"] is True
        assert record["copies"][0]["counts"]["verified"] == 1
        (tmp_path / "unplugged").rename(tmp_path / "s/media/disk")
        again = start("audit", built.file, "--now", NOW, "--json", "-", cwd=built.file.parent)
        assert again.code == 0 and again.record["copies"][1]["counts"]["verified"] == len(ALL)


def test_two_audits_at_once_both_end_well(tmp_path: Path) -> None:
    files = tuple((f"raw/T{number:04}.dng", picture(number, 400)) for number in range(1500))
    studio = Studio(
        media=(Medium(id="x"), Medium(id="y")),
        shoots=(shoot(*files),),
        copies=(copy("x", *files, says=True), copy("y", *files)),
    )
    built = build(tmp_path / "s", studio)
    both = [begin("audit", built.file, "--all", "--json", "-", cwd=built.file.parent) for _ in range(2)]
    for outcome in [end(running) for running in both]:
        assert outcome.code == 0, outcome.said
        assert [row["counts"]["verified"] for row in outcome.record["copies"]] == [1500, 1500]
    assert whole(built.file.parent / "ledger.sqlite")
    db = sqlite3.connect(built.file.parent / "ledger.sqlite")
    try:
        assert db.execute("SELECT count(*) FROM readings").fetchone() == (3000,)
        assert db.execute("SELECT kind, complete FROM runs").fetchall() == [("audit", 1), ("audit", 1)]
        assert db.execute("SELECT count(*), sum(verified) FROM audits").fetchone() == (4, 6000)
    finally:
        db.close()
