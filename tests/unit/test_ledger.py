"""The ledger: what it knows of readings and runs, when that counts no more, older files, and all that can be wrong."""

import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from hashlib import sha256
from pathlib import Path

import pytest
from left_behind import integrity, readings_in

from drill.errors import Mistakes, Unfinished
from drill.ledger import AuditedCopy, DrilledPromise, DrilledScenario, Evidence, Ledger, Root, ledger_files, unchanged
from drill.ledger.schema import APPLICATION_ID, STEPS
from drill.model import Digest, Entry, Problem, Seen, Taken, Trouble
from drill.record import (
    ByteCount,
    Count,
    Drill,
    FileNote,
    FurtherFailures,
    LostWork,
    Seconds,
    Unchecked,
    drill_to_json,
)

NOW = datetime(2025, 11, 24, 20, 0, tzinfo=UTC)
WHEN = datetime(2025, 9, 12, 19, 30, 0, 123456, UTC)
ROOT = Root("/mnt/archive", "archive-a")
ARCHIVE = Root("/mnt/archive/job.zip", "archive-a", archive=True, size=9_000_000, modified=WHEN)
ENTRY = Entry("2026/heron/ABCD0007.DNG", 70_000, WHEN)
TAKEN = Taken(datetime(2026, 9, 12, 18, 1, 2, 340000), 'Bellows "B], {1}\t')
SEEN = Seen(70_000, (Digest("sha256", "ab" * 32), Digest("xxh128", "cd" * 16)), bytes(range(128)), TAKEN)
PROBLEM = Problem(Trouble.IO, "I/O error at byte 4096")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "ledger.sqlite"


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with opened(None) as fresh:
        yield fresh


def opened(path: Path | None, wait_s: float = 10.0) -> Ledger:
    return Ledger.open(path, wait_s=wait_s)


def filled(path: Path, count: int = 3) -> list[Entry]:
    entries = [replace(ENTRY, path=f"f{number}.dng") for number in range(count)]
    with opened(path) as ledger:
        for number, entry in enumerate(entries):
            ledger.put(ROOT, entry, seen_of(number), copy="a")
    return entries


def seen_of(number: int) -> Seen:
    return SEEN._replace(digests=(Digest("xxh128", f"{number:032x}"),))


def plain(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as db:
        for statement in statements:
            db.execute(statement)
        db.commit()


# --- readings ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "seen",
    [
        SEEN,
        Seen(70_000, ()),
        Seen(70_000, (Digest("md5", "0" * 32),), captured=True, whole=False),
        SEEN._replace(taken=None, whole=True),
        SEEN._replace(taken=Taken(datetime(2026, 1, 1), "")),
    ],
)
def test_what_is_put_is_got_again_by_the_next_run(tmp_path: Path, seen: Seen) -> None:
    path = tmp_path / "deep" / "er" / "ledger.sqlite"
    with opened(path) as ledger:
        assert ledger.get(ROOT, ENTRY) is None
        ledger.put(ROOT, ENTRY, seen)
        assert ledger.get(ROOT, ENTRY) == seen
        ledger.flush()
        assert ledger.get(ROOT, ENTRY) == seen
    with opened(path) as ledger:
        assert ledger.get(ROOT, ENTRY) == seen
        assert ledger.count == 1


@pytest.mark.parametrize(
    "name", ["a\udcff\udc80.dng", "tab\there", "line\nbreak", '"],\t[', "e\u0301 ≠ é", "\x00", "🐦", "a\x00b", "'; --"]
)
def test_every_name_goes_in_and_comes_out(path: Path, name: str) -> None:
    entry, root = replace(ENTRY, path=name), replace(ROOT, path=f"/mnt/{name}")
    with opened(path) as ledger:
        ledger.put(root, entry, SEEN)
        ledger.put_problem(root, replace(entry, index=1), replace(PROBLEM, detail=name))
    with opened(path) as ledger:
        assert ledger.get(root, entry) == SEEN
        assert ledger.get(ROOT, entry) is None and ledger.get(root, ENTRY) is None
        found = ledger.evidence(root)
        assert found[name, 0].path == name and found[name, 0].root == root
        assert found[name, 1].problem == Problem(Trouble.IO, name)


@pytest.mark.parametrize("root", [ROOT, ARCHIVE])
@pytest.mark.parametrize(
    "change",
    [
        {"path": "2026/heron/ABCD0008.DNG"},
        {"path": "2026/heron/abcd0007.dng"},
        {"size": 70_001},
        {"modified": WHEN + timedelta(microseconds=1)},
        {"modified": WHEN + timedelta(hours=1)},  # a FAT card read in another time zone: read again
        {"index": 1},
        {"size": None},
    ],
)
def test_a_file_that_changed_is_not_known(ledger: Ledger, root: Root, change: dict[str, object]) -> None:
    ledger.put(root, ENTRY, SEEN)
    assert ledger.get(root, ENTRY) == SEEN
    assert ledger.get(root, replace(ENTRY, **change)) is None
    (evidence,) = ledger.evidence(root).values()
    assert ledger.get(root, ENTRY) == SEEN  # from the file, too
    assert ledger.get(root, replace(ENTRY, **change)) is None
    assert unchanged(evidence, root, ENTRY)
    assert not unchanged(evidence, root, replace(ENTRY, **change))


@pytest.mark.parametrize(
    "change",
    [
        {"path": "/mnt/other.zip"},
        {"on": "archive-b"},  # two drives may take turns at one path
        {"size": 9_000_001},
        {"modified": WHEN + timedelta(seconds=2)},
        {"modified": None},
        {"size": None},
        {"archive": False},
    ],
)
def test_another_archive_is_not_known(ledger: Ledger, change: dict[str, object]) -> None:
    ledger.put(ARCHIVE, ENTRY, SEEN)
    assert ledger.get(replace(ARCHIVE, **change), ENTRY) is None
    (evidence,) = ledger.evidence(ARCHIVE).values()
    assert unchanged(evidence, ARCHIVE, ENTRY)
    assert not unchanged(evidence, replace(ARCHIVE, **change), ENTRY)


def test_what_was_read_of_an_archive_before_it_changed_is_still_there_to_be_seen(ledger: Ledger) -> None:
    ledger.put_problem(ARCHIVE, ENTRY, PROBLEM)
    changed = replace(ARCHIVE, size=1)
    (evidence,) = ledger.evidence(changed).values()
    assert evidence.problem == PROBLEM and evidence.root == ARCHIVE
    assert not unchanged(evidence, changed, ENTRY)


def test_one_moment_written_in_two_zones_is_one_moment(ledger: Ledger) -> None:
    ledger.put(ROOT, ENTRY, SEEN)
    elsewhere = replace(ENTRY, modified=WHEN.astimezone(timezone(timedelta(hours=5.75))))
    assert ledger.get(ROOT, elsewhere) == SEEN
    assert unchanged(ledger.evidence(ROOT)[ENTRY.path, 0], ROOT, elsewhere)


def test_without_a_time_nothing_is_remembered_but_an_archive_has_its_own(ledger: Ledger) -> None:
    timeless = replace(ENTRY, modified=None)
    ledger.put(ROOT, timeless, SEEN)
    assert ledger.get(ROOT, timeless) is None
    ledger.put(ARCHIVE, timeless, SEEN)
    assert ledger.get(ARCHIVE, timeless) == SEEN
    assert ledger.get(ARCHIVE, ENTRY) is None
    ledger.put(replace(ARCHIVE, modified=None), ENTRY, SEEN)
    ledger.put(ROOT, replace(ENTRY, modified=datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=14)))), SEEN)
    assert ledger.count == 1


def test_a_file_that_was_not_of_its_listed_size_is_not_remembered(ledger: Ledger) -> None:
    ledger.put(ROOT, ENTRY, SEEN._replace(size=70_001))
    ledger.put(ROOT, replace(ENTRY, size=None), SEEN)
    assert ledger.get(ROOT, ENTRY) is None and ledger.count == 0


def test_the_last_reading_counts_and_a_problem_is_no_reading(path: Path) -> None:
    for number in (1, 1, 2, 2):
        with opened(path) as ledger:
            ledger.put(ROOT, ENTRY, seen_of(number))
    with opened(path) as ledger:
        assert ledger.get(ROOT, ENTRY) == seen_of(2)
        ledger.put_problem(ROOT, ENTRY, PROBLEM, ranges=[(4096, 8192), (12288, 12289)], took_s=1.5)
        assert ledger.get(ROOT, ENTRY) is None
    with opened(path) as ledger:
        assert ledger.get(ROOT, ENTRY) is None and ledger.count == 1
        evidence = ledger.evidence(ROOT)[ENTRY.path, 0]
        assert (evidence.problem, evidence.digests, evidence.took_s) == (PROBLEM, (), 1.5)
        assert evidence.ranges == ((4096, 8192), (12288, 12289))
        assert unchanged(evidence, ROOT, ENTRY)
        ledger.put(ROOT, ENTRY, SEEN)
        assert ledger.evidence(ROOT)[ENTRY.path, 0].problem is None


@pytest.mark.parametrize("trouble", list(Trouble))
@pytest.mark.parametrize(
    "entry", [ENTRY, Entry("a", None), Entry("a", 2**64 - 1, None, 3), replace(ENTRY, modified=None)]
)
def test_a_problem_is_always_remembered(path: Path, trouble: Trouble, entry: Entry) -> None:
    """Also of a file whose size is nonsense, as a damaged archive may list it."""
    with opened(path) as ledger:
        ledger.put_problem(ROOT, entry, Problem(trouble, "x"))
    with opened(path) as ledger:
        assert ledger.evidence(ROOT)[entry.path, entry.index].problem == Problem(trouble, "x")


def test_evidence_says_when_how_long_and_of_which_file(ledger: Ledger) -> None:
    read_at = datetime(2025, 3, 1, 12, 0, 0, 5, UTC)
    ledger.put(ROOT, ENTRY, SEEN, took_s=0.25, read_at=read_at)
    expected = Evidence(ROOT, ENTRY.path, 0, 70_000, WHEN, SEEN.digests, None, (), read_at, 0.25)
    assert ledger.evidence(ROOT) == {(ENTRY.path, 0): expected}
    assert ledger.evidence(replace(ROOT, on="other")) == {}


@pytest.mark.parametrize("ahead", [timedelta(days=-400), timedelta(days=400)])
def test_a_reading_is_dated_by_the_clock_whatever_a_run_counts_as_now(ahead: timedelta) -> None:
    """A proof from the future would be fresh for a year too long, and one from the past hide that it was made."""
    before = datetime.now(UTC)
    with Ledger.open(None) as ledger:
        run = ledger.begin_run("drill", now=before + ahead)
        ledger.put(ROOT, ENTRY, SEEN)
        ledger.add_rate(run, "ssd", files=1, bytes=1, took_s=1.0, maybe_cached=False)
        read_at = ledger.evidence(ROOT)[ENTRY.path, 0].read_at
        (rate,) = ledger.rates("ssd")
    assert before <= read_at <= rate.at <= datetime.now(UTC)


def test_a_copy_that_lies_nowhere_now_is_found_by_where_it_was_last(path: Path) -> None:
    older, newer = Root("/mnt/one", "archive-a"), Root("/mnt/two.zip", "archive-a", True, 5, WHEN)
    with opened(path) as ledger:
        ledger.put(newer, ENTRY, SEEN, read_at=WHEN + timedelta(2), copy="a")
        ledger.put(older, ENTRY, seen_of(1), read_at=WHEN + timedelta(1), copy="a")
        ledger.put(Root("/mnt/three", "archive-b"), ENTRY, SEEN, read_at=WHEN + timedelta(3), copy="a")
    with opened(path) as ledger:
        ledger.put(newer, replace(ENTRY, index=1), SEEN, read_at=WHEN)  # one that does not know the copy's id
        (first, _) = ledger.evidence_of_copy("a", "archive-a").values()
        assert first.root == newer
        assert unchanged(first, newer, ENTRY)
        ledger.put(older, ENTRY, SEEN, read_at=WHEN + timedelta(4), copy="a")
        assert [one.root for one in ledger.evidence_of_copy("a", "archive-a").values()] == [older]
        assert ledger.evidence_of_copy("b", "archive-a") == {} == ledger.evidence_of_copy("a", "c")


# --- runs --------------------------------------------------------------------------------------------------------

DRILL = Drill(
    scenario="lost-t\udcffblet",
    variant="tablet",
    shoot="heron-ridge",
    verdict="partial",
    score=99.2,
    files=Count(120, 118, 1, 1),
    bytes=ByteCount(2_400, 2_380, 10, 10, 0),
    by_class={"other": Count(120, 118, 1, 1)},
    sources={"archive-a": 118},
    stitched=0,
    unchecked=Unchecked(118, 1, 1),
    lost_files=(FileNote("raw/\udcff.dng", "bad sector"),),
    on_paper_files=(),
    seconds=Seconds(41.2, 7520.0, None),
    lost_work=LostWork("2026-09-12", 86400.0, False),
    further_failures=FurtherFailures(-1, 1, ()),
)


def test_runs_and_what_they_came_to_are_kept(path: Path) -> None:
    audited = AuditedCopy("archive-a", True, 118, 1, 1, 0, 3, 0, 0, 0, 2_400_000_000, 31.0)
    with opened(path) as ledger:
        drill = ledger.begin_run("drill", now=NOW, seed=2**70)
        ledger.add_drills(drill, [DRILL], [DrilledPromise("reed", 9, "ff"), DrilledPromise("heron", 120, "00")])
        scenarios = [DrilledScenario("fire\udcff", is_shipped=False), DrilledScenario(DRILL.scenario, is_shipped=True)]
        ledger.add_drills(drill, [replace(DRILL, scenario="fire", variant=None, score=7)], (), scenarios)
        ledger.end_run(drill, complete=True)
        audit = ledger.begin_run("audit", now=NOW)
        ledger.add_audit(audit, audited)
        ledger.add_audit(audit, replace(audited, copy="tablet", reached=False))
        ledger.add_audit(audit, replace(audited, altered=2))
        ledger.add_rate(audit, "ssd", files=120, bytes=2_400_000_000, took_s=30.0, maybe_cached=True)
    with Ledger.read(path) as ledger:
        assert ledger.promises_of(drill) == (DrilledPromise("heron", 120, "00"), DrilledPromise("reed", 9, "ff"))
        assert set(ledger.scenarios_of(drill)) == set(scenarios)
        assert ledger.promises_of(audit) == () and ledger.scenarios_of(audit) == ()
        first, second = ledger.runs()
        assert (first.id, first.kind, first.now, first.seed, first.complete) == (drill, "drill", NOW, 2**70, True)
        assert first.ended is not None and first.started <= first.ended
        assert (second.kind, second.seed, second.complete) == ("audit", None, False)
        assert second.ended is not None, "a run that its command left has ended when the ledger is closed"
        one, other = ledger.drills_of(drill)
        assert (one.scenario, one.variant, one.verdict, one.score) == ("lost-t\udcffblet", "tablet", "partial", 99.2)
        assert (one.promised, one.verified, one.on_paper, one.lost) == (120, 118, 1, 1)
        assert (one.survivable, one.survivable_target, one.lost_work_met) == (-1, 1, False)
        assert (one.projected_s, one.measured_s, one.target_s) == (7520.0, 41.2, None)
        assert (other.scenario, other.variant, other.score) == ("fire", None, 7.0)
        assert one.json() == drill_to_json(DRILL)
        assert ledger.drills_of(audit) == ()
        assert {audited.copy: audited for audited in ledger.audits_of(audit)} == {
            "archive-a": replace(audited, altered=2),
            "tablet": replace(audited, copy="tablet", reached=False),
        }
        (rate,) = ledger.rates("ssd")
        assert (rate.files, rate.bytes, rate.took_s, rate.maybe_cached) == (120, 2_400_000_000, 30.0, True)
        assert rate.at >= NOW and ledger.rates("card") == ()


def test_a_reading_is_of_the_run_that_made_it(path: Path) -> None:
    with opened(path) as ledger:
        ledger.put(ROOT, ENTRY, SEEN)
        run = ledger.begin_run("audit", now=NOW)
        ledger.put(ROOT, replace(ENTRY, index=1), SEEN)
        ledger.end_run(run, complete=True)
        ledger.put(ROOT, replace(ENTRY, index=2), SEEN)
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT run FROM readings ORDER BY number").fetchall() == [(None,), (run,), (None,)]


# --- the file ----------------------------------------------------------------------------------------------------


def test_the_file_is_what_the_schema_says(path: Path) -> None:
    filled(path)
    with closing(sqlite3.connect(path)) as db:
        ask = {name: db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("application_id", "user_version")}
        assert ask == {"application_id": APPLICATION_ID, "user_version": len(STEPS)}
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        tables = db.execute(
            "SELECT name, strict FROM pragma_table_list WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
        )
        assert all(strict for _, strict in tables.fetchall())
    assert integrity(path) == ["ok"]
    assert os.listdir(path.parent) == [path.name]  # noqa: PTH208 - names are what is compared


def test_what_names_no_root_and_no_run_is_refused(path: Path) -> None:
    with opened(path) as ledger, pytest.raises(sqlite3.IntegrityError):
        ledger.add_drills(77, [DRILL])
    assert integrity(path) == ["ok"]


def test_what_is_put_reaches_the_disk_within_a_second_while_it_is_ticked(path: Path) -> None:
    with opened(path) as ledger:
        ledger.put(ROOT, ENTRY, SEEN)
        end = time.monotonic() + 0.8
        while time.monotonic() < end:
            ledger.tick()
            time.sleep(0.1)
        assert readings_in(path) == 1
        for number in range(25_000):  # and a flood of them does not wait
            ledger.put(ROOT, replace(ENTRY, index=number + 1), SEEN)
        assert readings_in(path) > 5_000


def test_without_a_path_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with opened(None) as ledger:
        ledger.put(ROOT, ENTRY, SEEN)
        ledger.flush()
        assert ledger.get(ROOT, ENTRY) == SEEN
    assert not list(tmp_path.iterdir())


def test_reading_alone_makes_no_file_and_writes_in_none(path: Path) -> None:
    with Ledger.read(path) as ledger:
        assert ledger.evidence(ROOT) == {} and ledger.runs() == ()
    with Ledger.read(path.parent / "no" / "folder") as ledger:
        assert ledger.count == 0
    assert not list(path.parent.iterdir())
    filled(path)
    before = path.read_bytes()
    with Ledger.read(path) as ledger:
        assert len(ledger.evidence(ROOT)) == 3
        with pytest.raises(Unfinished, match="may only be read"):
            ledger.begin_run("audit", now=NOW)
    assert path.read_bytes() == before and list(path.parent.iterdir()) == [path]


def test_it_can_be_read_where_nothing_can_be_made_beside_it(path: Path) -> None:
    """As on a read-only medium: what SQLite would keep beside it is kept from being made, by folders of those names."""
    entries = filled(path)
    for companion in ledger_files(path)[1:]:
        companion.mkdir()
    with Ledger.read(path) as ledger:
        assert ledger.get(ROOT, entries[1]) == seen_of(1)


@pytest.mark.skipif(sys.platform != "linux", reason="only root on Linux can mount a file system read-only")
def test_it_can_be_read_on_a_medium_that_is_read_only(path: Path) -> None:
    filled(path)
    if subprocess.run(
        ["mount", "--bind", "-o", "ro", path.parent, path.parent], check=False, capture_output=True
    ).returncode:
        pytest.skip("mounting is for root")
    try:
        with Ledger.read(path) as ledger:
            assert len(ledger.evidence(ROOT)) == 3
        with pytest.raises(Unfinished, match=r"cannot be used.*--no-ledger"):
            opened(path)
    finally:
        subprocess.run(["umount", path.parent], check=True)


def test_a_reader_sees_what_a_running_run_has_committed(path: Path) -> None:
    with opened(path) as running:
        running.put(ROOT, ENTRY, SEEN)
        running.flush()
        with Ledger.read(path) as ledger:
            assert ledger.get(ROOT, ENTRY) == SEEN
        running.put(ROOT, replace(ENTRY, index=1), SEEN)
    assert integrity(path) == ["ok"]


def test_where_there_is_no_shared_memory_the_plain_journal_is_used(path: Path) -> None:
    entries = filled(path)
    shared = path.with_name(path.name + "-shm")
    shared.mkdir()  # no log without the file of that name
    with opened(path) as ledger:
        assert ledger.get(ROOT, entries[2]) == seen_of(2)
        ledger.put(ROOT, ENTRY, SEEN)
    shared.rmdir()
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    with opened(path) as ledger:
        assert ledger.get(ROOT, ENTRY) == SEEN
    assert integrity(path) == ["ok"]


# --- older files -------------------------------------------------------------------------------------------------

VERSION_1 = (  # as the first version made them; never to be changed
    "CREATE TABLE runs (id INTEGER PRIMARY KEY, kind TEXT NOT NULL, started_us INTEGER NOT NULL, ended_us INTEGER, "
    "now_us INTEGER NOT NULL, seed TEXT, complete INTEGER NOT NULL DEFAULT 0 CHECK (complete IN (0, 1)), "
    "version TEXT NOT NULL ) STRICT",
    "CREATE TABLE roots (id INTEGER PRIMARY KEY, path ANY NOT NULL, medium TEXT NOT NULL, "
    "archive INTEGER NOT NULL CHECK (archive IN (0, 1)), UNIQUE (path, medium, archive) ) STRICT",
    "CREATE TABLE readings (root INTEGER NOT NULL REFERENCES roots (id), path ANY NOT NULL, number INTEGER NOT NULL, "
    "size INTEGER, modified_us INTEGER, root_size INTEGER, root_modified_us INTEGER, digests TEXT, taken ANY, "
    "captured INTEGER NOT NULL CHECK (captured IN (0, 1)), whole INTEGER CHECK (whole IN (0, 1)), trouble TEXT, "
    "detail ANY, ranges TEXT, read_at_us INTEGER NOT NULL, took_us INTEGER NOT NULL, run INTEGER REFERENCES runs (id), "
    "parts BLOB, crc INTEGER NOT NULL, PRIMARY KEY (root, path, number), "
    "CHECK ((digests IS NULL) <> (trouble IS NULL)) ) STRICT, WITHOUT ROWID",
    "INSERT INTO runs VALUES (1, 'new', 1764000000000000, NULL, 1764000000000000, NULL, 0, '0.1')",
    "INSERT INTO roots VALUES (4, '/mnt/archive', 'archive-a', 0)",
    "INSERT INTO roots VALUES (5, '/mnt/empty', 'archive-a', 0)",
    "INSERT INTO readings VALUES (4, '2026/heron/ABCD0007.DNG', 0, 70000, 1757705400123456, NULL, NULL, "
    f"'xxh128:{7:032x}', '2026-09-12T18:01:02 Bellows', 1, NULL, NULL, NULL, NULL, 1764000000000000, 250000, 1, "
    "x'0102', {crc})",
    "PRAGMA application_id = 1685220460",
    "PRAGMA user_version = 1",
)
OLD_SEEN = Seen(
    70_000, (Digest("xxh128", f"{7:032x}"),), b"\1\2", Taken(datetime(2026, 9, 12, 18, 1, 2), "Bellows"), True
)


def version_1(path: Path) -> None:
    """Make a file as the first version of the tables had it; the check value is a number that the first one wrote."""
    plain(path, *(statement.replace("{crc}", str(OLD_CRC)) for statement in VERSION_1))


OLD_CRC = 3612102437


def test_the_first_step_makes_what_it_always_made() -> None:
    assert [" ".join(statement.split()) for statement in STEPS[0]] == [
        statement.replace(" (id ", " ( id ").replace("readings (root", "readings ( root") for statement in VERSION_1[:3]
    ]


def test_a_file_of_the_first_version_is_brought_up_to_date_and_loses_nothing(path: Path) -> None:
    version_1(path)
    opened(path).close()
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (len(STEPS),)
        assert db.execute("SELECT id, copy, read_at_us FROM roots ORDER BY id").fetchall() == [
            (4, "", 1_764_000_000_000_000),
            (5, "", 0),
        ]
    with opened(path) as ledger:
        assert ledger.get(ROOT, ENTRY) == OLD_SEEN
        (evidence,) = ledger.evidence(ROOT).values()
        assert evidence.read_at == datetime.fromtimestamp(1_764_000_000, UTC) and evidence.took_s == 0.25
        assert [(run.kind, run.ended, run.version) for run in ledger.runs()] == [("new", None, "0.1")]
        ledger.add_drills(1, [DRILL])
        ledger.put(ROOT, ENTRY, SEEN, copy="a")
        assert len(ledger.evidence_of_copy("a", "archive-a")) == 1
    assert integrity(path) == ["ok"]


def test_a_file_of_the_first_version_is_read_without_being_changed(path: Path) -> None:
    version_1(path)
    before = path.read_bytes()
    with Ledger.read(path) as ledger:
        assert ledger.get(ROOT, ENTRY) == OLD_SEEN
        assert ledger.evidence_of_copy("a", "archive-a") == {} and ledger.rates("ssd") == ()
    assert path.read_bytes() == before and list(path.parent.iterdir()) == [path]


def test_a_step_that_fails_leaves_the_file_as_it_was(path: Path) -> None:
    version_1(path)
    plain(path, "CREATE TABLE audits (somebody TEXT)")
    before = path.read_bytes()
    with pytest.raises(Unfinished, match="audits"):
        opened(path)
    assert path.read_bytes() == before


# --- what can be wrong -------------------------------------------------------------------------------------------


def foreign(path: Path) -> None:
    plain(path, "CREATE TABLE pictures (name TEXT)", "INSERT INTO pictures VALUES ('a')")


def foreign_with_log(path: Path) -> None:
    plain(path, "PRAGMA journal_mode = WAL")
    foreign(path)


def marked_only(path: Path) -> None:
    plain(path, "PRAGMA user_version = 3")


@pytest.mark.parametrize(
    "make", [foreign, foreign_with_log, marked_only, *(b"\xff\xd8\xff a picture", b"\n", b"x" * 9999)]
)
@pytest.mark.parametrize("how", ["open", "read"])
def test_another_file_is_a_mistake_and_stays_as_it_is(path: Path, make: object, how: str) -> None:
    if isinstance(make, bytes):
        path.write_bytes(make)
    else:
        assert callable(make)
        make(path)
    before = path.read_bytes()
    with pytest.raises(Mistakes) as caught:
        Ledger.read(path) if how == "read" else opened(path)
    assert str(path) in str(caught.value) and "move it away" in str(caught.value)
    assert path.read_bytes() == before and list(path.parent.iterdir()) == [path]


@pytest.mark.parametrize("how", ["open", "read"])
def test_a_newer_version_is_said_and_left_alone(path: Path, how: str) -> None:
    filled(path)
    plain(path, f"PRAGMA user_version = {len(STEPS) + 1}")
    before = path.read_bytes()
    with pytest.raises(Mistakes, match="newer version"):
        Ledger.read(path) if how == "read" else opened(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("how", ["open", "read"])
def test_a_folder_is_a_mistake(tmp_path: Path, how: str) -> None:
    with pytest.raises(Mistakes, match="is a folder"):
        Ledger.read(tmp_path) if how == "read" else opened(tmp_path)


def test_an_empty_file_becomes_a_ledger(path: Path) -> None:
    path.touch()
    with Ledger.read(path) as ledger:
        assert ledger.count == 0
    assert path.read_bytes() == b""
    filled(path)
    assert readings_in(path) == 3


def test_a_damaged_head_is_a_mistake_and_stays_as_it_is(path: Path) -> None:
    filled(path)
    whole = path.read_bytes()
    for at in (0, 15, 16, 68, 71):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0x55]) + whole[at + 1 :])
        damaged = path.read_bytes()
        with pytest.raises(Mistakes, match="move it away"):
            opened(path)
        assert path.read_bytes() == damaged
    path.write_bytes(whole)
    opened(path).close()  # those that failed let go of it


def test_a_damaged_page_is_found_when_it_is_read_and_by_the_check(path: Path) -> None:
    filled(path, 2000)
    whole = path.read_bytes()
    page = whole.index(b"f1500.dng") // 4096 * 4096
    path.write_bytes(whole[:page] + b"\xa5" * 4096 + whole[page + 4096 :])
    damaged = path.read_bytes()
    with opened(path) as ledger:
        with pytest.raises(Mistakes, match=r"is damaged .* move it away"):
            ledger.evidence(ROOT)
        with pytest.raises(Mistakes, match="is damaged"):
            ledger.check()
    assert path.read_bytes() == damaged
    path.write_bytes(whole)
    with opened(path) as ledger:
        ledger.check()


@pytest.mark.parametrize("flip", [0x01, 0x20, 0x80, 0xFF])
def test_a_damaged_byte_never_makes_a_wrong_answer(path: Path, flip: int) -> None:
    """SQLite has no check values: a byte changed inside a digest or a time is found by the row's own."""
    entries = filled(path, 4)
    whole = path.read_bytes()
    begin = whole.index(entries[2].path.encode()) - 30
    end = whole.index(f"{2:032x}".encode()) + 200
    answers = 0
    for at in range(begin, end):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ flip]) + whole[at + 1 :])
        with opened(path) as ledger:
            for number, entry in enumerate(entries):
                try:
                    assert ledger.get(ROOT, entry) in (None, seen_of(number))
                    answers += ledger.get(ROOT, entry) is None
                    for evidence in ledger.evidence(ROOT).values():
                        right = seen_of(int(evidence.path[1]))
                        assert (evidence.digests, evidence.modified) == (right.digests, WHEN)
                except Mistakes:
                    answers += 1
    assert answers > 150


def test_a_locked_one_is_waited_for_and_then_said(path: Path) -> None:
    filled(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        begun = time.monotonic()
        with pytest.raises(Unfinished, match=r"in use by another run.*--no-ledger"):
            opened(path, wait_s=0.4)
        assert 0.3 < time.monotonic() - begun < 5
        with Ledger.read(path) as ledger:  # reading need not wait
            assert ledger.count == 3


def test_one_that_gets_locked_ends_the_run_and_loses_nothing_when_it_is_free_again(path: Path) -> None:
    with opened(path, wait_s=0.2) as ledger:
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            ledger.put(ROOT, ENTRY, SEEN)
            with pytest.raises(Unfinished, match="in use by another run"):
                ledger.flush()
        assert ledger.get(ROOT, ENTRY) == SEEN
    with opened(path) as ledger:
        assert ledger.get(ROOT, ENTRY) == SEEN


def test_where_it_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    for path in (tmp_path / "file" / "ledger", tmp_path / "file" / "deep" / "ledger"):
        with pytest.raises(Unfinished, match=r"cannot be made.*--no-ledger"):
            opened(path)
        with Ledger.read(path) as ledger:
            assert ledger.count == 0


@pytest.mark.skipif(sys.platform == "win32", reason="file modes are POSIX's")
def test_one_that_may_not_be_written_is_said_at_once(path: Path) -> None:
    filled(path)
    path.chmod(0o444)
    if os.access(path, os.W_OK):
        pytest.skip("root may write everything")
    with pytest.raises(Unfinished, match="may only be read"):
        opened(path)
    with Ledger.read(path) as ledger:
        assert ledger.count == 3


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    resource = pytest.importorskip("resource", reason="this system has no limit on the size of files")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_file_that_cannot_grow_ends_the_run_and_is_whole_afterwards(path: Path) -> None:
    entries = filled(path, 1)
    ledger = opened(path)
    for number in range(2000):
        ledger.put(ROOT, replace(ENTRY, index=number), SEEN)
    with largest_file(60_000), pytest.raises(Unfinished, match=r"ledger .* cannot be used"):
        ledger.flush()
    ledger.close()  # room was made: what was not lost is written
    with opened(path) as again:
        assert again.get(ROOT, entries[0]) == seen_of(0)
        assert again.count == 2001
    assert integrity(path) == ["ok"]


def test_what_a_failed_commit_gave_a_place_is_given_back(path: Path) -> None:
    """Another run may have been given the same number in the meantime."""
    opened(path).close()
    first, second = Root("/mnt/one", "ssd"), Root("/mnt/two", "ssd")
    entries = [replace(ENTRY, index=number) for number in range(2000)]
    ledger = opened(path)
    for entry in entries:
        ledger.put(first, entry, seen_of(1))
    with largest_file(60_000), pytest.raises(Unfinished):
        ledger.flush()
    with opened(path) as other:
        for entry in entries:
            other.put(second, entry, seen_of(2))
    ledger.close()
    with opened(path) as again:
        assert all(again.get(first, entry) == seen_of(1) for entry in entries)
        assert all(again.get(second, entry) == seen_of(2) for entry in entries)
    assert integrity(path) == ["ok"]


@pytest.mark.skipif(sys.platform != "linux", reason="a small disk can only be mounted by root on Linux")
def test_a_full_disk_is_said_in_words(tmp_path: Path) -> None:
    mount = ["mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", tmp_path]
    if subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("mounting is for root")
    try:
        path = tmp_path / "ledger.sqlite"
        entries = filled(path, 10)
        with pytest.raises(Unfinished, match=r"the disk is full; make room.*--no-ledger"), opened(path) as ledger:
            for number in range(5000):
                ledger.put(ROOT, replace(ENTRY, index=number), SEEN)
        assert integrity(path) == ["ok"]
        with Ledger.read(path) as ledger:
            assert ledger.get(ROOT, entries[9]) == seen_of(9)
    finally:
        subprocess.run(["umount", tmp_path], check=True)


def test_a_run_says_which_shoots_it_was_confined_to(path: Path) -> None:
    with opened(path) as ledger:
        ledger.begin_run("audit", now=NOW, seed=1, shoots=("reed", "kiln-2.b"))
        ledger.begin_run("audit", now=NOW, seed=1)
        assert [run.shoots for run in ledger.runs()] == [("reed", "kiln-2.b"), ()]


def test_many_readings_at_once_are_what_each_of_them_is(path: Path) -> None:
    entries = [replace(ENTRY, path=f"kiln {number // 2}.dng", index=number % 2) for number in range(357)]
    with opened(path) as ledger:
        ledger.put_many(ROOT, [(entry, seen_of(n), 0.5) for n, entry in enumerate(entries[:200])], copy="a")
        ledger.flush()
        ledger.put_many(ROOT, [(entry, seen_of(n + 200), 0.5) for n, entry in enumerate(entries[200:])], copy="a")
        changed = replace(entries[3], size=1)
        asked = [*entries[:3], changed, *entries[4:], replace(ENTRY, path="gone.dng")]
        many = ledger.get_many(ROOT, asked)
        each = {(entry.path, entry.index): ledger.get(ROOT, entry) for entry in asked}
        assert many == {key: seen for key, seen in each.items() if seen is not None}
        assert len(many) == 356
        assert ledger.get_many(ARCHIVE, asked) == {}
    with opened(path) as again:
        assert again.count == 357
        assert [again.get(ROOT, entry) for entry in entries] == [seen_of(n) for n in range(357)]
        again.put_many(ROOT, [(entry, seen_of(n + 1), 0.5) for n, entry in enumerate(entries)])
        known = again.evidence(ROOT)
        was = [known[entry.path, entry.index].before for entry in entries]
        assert was == [seen_of(n).digests for n in range(357)], "what was there first is not forgotten"


def test_of_an_archive_that_is_away_each_path_counts_as_it_was_last_read() -> None:
    """It was packed anew, so that its members have other indexes, and a camera used a name again."""
    state = Root("/media/kiln.zip", "ssd", archive=True, size=10, modified=WHEN)
    anew = replace(state, size=20)
    with Ledger.open(None) as ledger:
        for root, path, index, content, days in (
            (state, "a.dng", 40, b"first", 0),
            (anew, "a.dng", 80, b"second", 2),
            (anew, "twice.dng", 90, b"one", 2),
            (anew, "twice.dng", 95, b"two", 3),
            (state, "only.dng", 60, b"only", 0),
        ):
            seen = Seen(len(content), (Digest("sha256", sha256(content).hexdigest()),))
            member = Entry(path, len(content), WHEN, index)
            ledger.put(root, member, seen, read_at=WHEN + timedelta(days=days), copy="kiln")
        kept = ledger.evidence_of_copy("kiln", "ssd")
        assert kept.keys() == {("a.dng", 80), ("twice.dng", 90), ("twice.dng", 95), ("only.dng", 60)}
        assert len(ledger.evidence(anew)) == 5


def test_a_row_that_sqlite_refuses_holds_no_other_back_and_is_told(path: Path) -> None:
    warned: list[str] = []
    entries = [replace(ENTRY, path=f"f{number}.dng") for number in range(250)]
    with Ledger.open(path, warn=warned.append) as ledger:
        for number, entry in enumerate(entries):
            ledger.put(ROOT, entry, SEEN, took_s=1e300 if number == 120 else 1.0)
    with opened(path) as ledger:
        assert [ledger.get(ROOT, entry) is None for entry in entries].index(True) == 120
        assert ledger.count == 249
    assert warned == ["warning: a reading of f120.dng cannot be kept in the ledger"]


def test_what_a_later_listing_lacks_counts_no_more_until_it_is_there_again(path: Path) -> None:
    old = WHEN - timedelta(days=3)
    names = ["a.dng", "wedding/b.dng", "weddings.dng", "caf\udce9.dng"]
    entries = [replace(ENTRY, path=name) for name in names]

    def present() -> list[str]:
        with opened(path) as ledger:
            found = sorted(key for key, _ in ledger.evidence_of_copy("a", ROOT.on))
            assert len(ledger.evidence(ROOT)) == 4, "nothing is forgotten"
            return found

    def listed(*here: Entry, closed: tuple[str, ...] = ()) -> None:
        with opened(path) as ledger:
            ledger.note_listing(ROOT, here, closed=closed)

    with opened(path) as ledger:
        for entry in entries:
            ledger.put(ROOT, entry, seen_of(1), read_at=old, copy="a")
            ledger.flush()
            ledger.put(ROOT, entry, SEEN, read_at=old, copy="a")
    listed(*entries)
    assert present() == sorted(names)
    listed(entries[0], closed=("wedding",))
    assert present() == ["a.dng", "wedding/b.dng"]
    with opened(path) as ledger:
        assert ledger.evidence(ROOT)["weddings.dng", 0].before == seen_of(1).digests, "nor what it was first"
    listed(entries[0], entries[3])
    assert present() == ["a.dng", "caf\udce9.dng"]
    with opened(path) as ledger:
        ledger.put(ROOT, entries[2], SEEN, copy="a")  # read again, so it was there
    assert present() == ["a.dng", "caf\udce9.dng", "weddings.dng"]
    listed(closed=("",))
    assert len(present()) == 3


def test_an_archive_packed_anew_leaves_no_member_where_it_was(ledger: Ledger) -> None:
    for number in (5, 900):
        ledger.put(ARCHIVE, replace(ENTRY, index=number), SEEN, read_at=WHEN, copy="a")
    ledger.note_listing(ARCHIVE, [replace(ENTRY, index=900)])
    assert list(ledger.evidence_of_copy("a", ARCHIVE.on)) == [(ENTRY.path, 900)]


def test_a_file_of_the_third_version_gets_the_table_of_what_is_absent_and_unites_no_links(path: Path) -> None:
    """Readings of two links whose addresses differ only in what is secret lay in one place."""
    link = Root("https://files.example/get", "cloud")
    version_1(path)
    three = [statement for step in STEPS[1:3] for statement in step]
    seen = "SELECT 6, path, number, size, modified_us, root_size, root_modified_us, digests, taken, captured, whole, "
    seen += "trouble, detail, ranges, read_at_us, took_us, run, parts, crc FROM readings"
    plain(
        path,
        *three,
        f"INSERT INTO roots VALUES (6, '{link.path}', 'cloud', 0, 'live', 5)",
        "UPDATE roots SET copy = 'a' WHERE id = 4",
        f"INSERT INTO readings {seen}",
        "PRAGMA user_version = 3",
    )
    with opened(path) as ledger:
        assert ledger.evidence_of_copy("live", "cloud") == {}
        assert ledger.get(ROOT, ENTRY) == OLD_SEEN
        ledger.note_listing(ROOT, [])
        assert ledger.evidence_of_copy("a", "archive-a") == {} and len(ledger.evidence(ROOT)) == 1
    assert integrity(path) == ["ok"]


def test_a_file_of_the_fourth_version_gets_the_table_of_what_was_promised(path: Path) -> None:
    version_1(path)
    plain(path, *(statement for step in STEPS[1:4] for statement in step), "PRAGMA user_version = 4")
    with opened(path) as ledger:
        assert ledger.get(ROOT, ENTRY) == OLD_SEEN and ledger.promises_of(1) == ()
        ledger.add_drills(1, [DRILL], [DrilledPromise("heron", 120, "00")])
        assert ledger.promises_of(1) == (DrilledPromise("heron", 120, "00"),)
    assert integrity(path) == ["ok"]


def test_a_file_of_the_fifth_version_gets_the_table_of_which_scenarios_were_drilled(path: Path) -> None:
    version_1(path)
    plain(path, *(statement for step in STEPS[1:5] for statement in step), "PRAGMA user_version = 5")
    with opened(path) as ledger:
        assert ledger.get(ROOT, ENTRY) == OLD_SEEN and ledger.scenarios_of(1) == ()
        ledger.add_drills(1, [DRILL], (), [DrilledScenario(DRILL.scenario, is_shipped=True)])
        assert ledger.scenarios_of(1) == (DrilledScenario(DRILL.scenario, is_shipped=True),)
    assert integrity(path) == ["ok"]
