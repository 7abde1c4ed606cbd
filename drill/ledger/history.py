"""The history in the ledger: runs, what their drills and audits came to, and how fast the media were.

Flows in: a connection inside a transaction, plain results. Flows out: rows, and frozen values from rows. Must not
know: files, readings, how results came about.
"""

import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass, fields, replace
from datetime import datetime
from typing import Any

from drill.ledger.rows import from_text, moment_of, needed_us, to_text
from drill.record import Drill, drill_to_json

Ids = Sequence[str]


@dataclass(frozen=True, slots=True)
class PastRun:
    """One run of a command: "drill", "audit", "retire", "recovery", "new" or "lists"; `shoots` it was confined to, if
    to any.

    `now` is what counted as now, `started` and `ended` are the clock's; without `ended` it was killed. Times in UTC.
    """

    id: int
    kind: str
    started: datetime
    ended: datetime | None
    now: datetime
    seed: int | None
    complete: bool
    version: str
    shoots: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PastDrill:
    """One drill of a past run: its counts of files, its spans in seconds, and `record`, its JSON as it was reported.

    `further_failures` is how many more it would have survived; targets are None where none was set.
    """

    run: int
    scenario: str
    variant: str | None
    shoot: str
    verdict: str
    score: float
    promised: int
    verified: int
    on_paper: int
    lost: int
    survivable: int
    survivable_target: int | None
    projected_s: float
    measured_s: float
    target_s: float | None
    lost_work_met: bool
    record: str

    def json(self) -> dict[str, Any]:
        """Return the record as a JSON value."""
        value: dict[str, Any] = json.loads(self.record)
        return value


@dataclass(frozen=True, slots=True)
class DrilledPromise:
    """What a drill held a shoot against: how many promised files, and the mark of their list (`promisemark`)."""

    shoot: str
    files: int
    mark: str


@dataclass(frozen=True, slots=True)
class DrilledScenario:
    """A scenario that a run drilled, by name, and whether it was the one of that name that is shipped."""

    name: str
    is_shipped: bool


Promises = Iterable[DrilledPromise]
Scenarios = Iterable[DrilledScenario]


@dataclass(frozen=True, slots=True)
class AuditedCopy:
    """What an audit came to for one copy: files by outcome, bytes that were read, and the seconds it took."""

    copy: str
    reached: bool
    verified: int
    altered: int
    unreadable: int
    missing: int
    extra: int
    opens: int
    cannot_check: int
    not_read: int
    bytes_read: int
    took_s: float


@dataclass(frozen=True, slots=True)
class MeasuredRate:
    """How fast a medium was read: files and bytes in so many seconds, and whether some may have come from memory."""

    medium: str
    files: int
    bytes: int
    took_s: float
    maybe_cached: bool
    at: datetime


def insert_run(
    db: sqlite3.Connection,
    kind: str,
    *,
    now: datetime,
    at: datetime,
    seed: int | None,
    by: str,
    shoots: Ids = (),
) -> int:
    """Begin a run of that kind at that moment, by that version of the program; return its id."""
    row = (kind, needed_us(at), needed_us(now), None if seed is None else str(seed), by, " ".join(shoots))
    columns = "kind, started_us, now_us, seed, version, shoots"  # ids have no spaces
    found = db.execute(f"INSERT INTO runs ({columns}) VALUES ({_marks(6)})", row)
    assert found.lastrowid is not None
    return found.lastrowid


def finish_run(db: sqlite3.Connection, run: int, *, ended: datetime, complete: bool) -> None:
    """Note that a run has ended, and whether it did all that it was to do."""
    db.execute("UPDATE runs SET ended_us = ?, complete = ? WHERE id = ?", (needed_us(ended), int(complete), run))


def insert_drills(
    db: sqlite3.Connection, run: int, drills: Iterable[Drill], promises: Promises, scenarios: Scenarios
) -> None:
    """Add the drills of a run, after those that it has already; of what they were held against, and of which scenarios
    they are, the later counts."""
    (first,) = db.execute("SELECT coalesce(max(number), 0) + 1 FROM drills WHERE run = ?", (run,)).fetchone()
    rows = [(run, number, *_drill_row(drill)) for number, drill in enumerate(drills, first)]
    db.executemany(f"INSERT INTO drills VALUES ({_marks(18)})", rows)
    held = [(run, *astuple(one)) for one in promises]
    db.executemany(f"INSERT OR REPLACE INTO promises (run, shoot, files, mark) VALUES ({_marks(4)})", held)
    which = [(run, to_text(one.name), int(one.is_shipped)) for one in scenarios]
    db.executemany(f"INSERT OR REPLACE INTO scenarios (run, name, shipped) VALUES ({_marks(3)})", which)


def insert_audit(db: sqlite3.Connection, run: int, audited: AuditedCopy) -> None:
    """Add what an audit came to for one copy; a second time, the later counts."""
    columns = ", ".join(field.name for field in fields(AuditedCopy))
    db.execute(f"INSERT OR REPLACE INTO audits (run, {columns}) VALUES ({_marks(13)})", (run, *astuple(audited)))


def insert_rate(db: sqlite3.Connection, run: int, rate: MeasuredRate) -> None:
    """Add how fast a medium was read."""
    row = (run, rate.medium, rate.files, rate.bytes, rate.took_s, rate.maybe_cached, needed_us(rate.at))
    columns = "run, medium, files, bytes, took_s, maybe_cached, at_us"
    db.execute(f"INSERT INTO rates ({columns}) VALUES ({_marks(7)})", row)


def select_runs(db: sqlite3.Connection) -> tuple[PastRun, ...]:
    """Return all runs, the first first."""
    columns = "id, kind, started_us, ended_us, now_us, seed, complete, version, shoots"
    rows = db.execute(f"SELECT {columns} FROM runs ORDER BY id")
    return tuple(_run(row) for row in rows)


def select_drills(db: sqlite3.Connection, run: int) -> tuple[PastDrill, ...]:
    """Return a run's drills in their order."""
    columns = ", ".join(field.name for field in fields(PastDrill))
    rows = db.execute(f"SELECT {columns} FROM drills WHERE run = ? ORDER BY number", (run,))
    return tuple(replace(PastDrill(*row), scenario=from_text(row[1]), lost_work_met=bool(row[15])) for row in rows)


def select_promises(db: sqlite3.Connection, run: int) -> tuple[DrilledPromise, ...]:
    """Return what a run's drills were held against, in the order of the shoots' ids."""
    rows = db.execute("SELECT shoot, files, mark FROM promises WHERE run = ? ORDER BY shoot", (run,))
    return tuple(DrilledPromise(*row) for row in rows)


def select_scenarios(db: sqlite3.Connection, run: int) -> tuple[DrilledScenario, ...]:
    """Return which scenarios a run drilled, in the order of their names."""
    rows = db.execute("SELECT name, shipped FROM scenarios WHERE run = ? ORDER BY name", (run,))
    return tuple(DrilledScenario(from_text(name), bool(shipped)) for name, shipped in rows)


def select_audits(db: sqlite3.Connection, run: int) -> tuple[AuditedCopy, ...]:
    """Return what an audit came to, copy by copy, in the order in which they were added."""
    columns = ", ".join(field.name for field in fields(AuditedCopy))
    rows = db.execute(f"SELECT {columns} FROM audits WHERE run = ? ORDER BY rowid", (run,))
    return tuple(replace(AuditedCopy(*row), reached=bool(row[1])) for row in rows)


def select_rates(db: sqlite3.Connection, medium: str) -> tuple[MeasuredRate, ...]:
    """Return how fast a medium was, each time, the first first."""
    columns = "medium, files, bytes, took_s, maybe_cached, at_us"
    rows = db.execute(f"SELECT {columns} FROM rates WHERE medium = ? ORDER BY at_us, id", (medium,))
    return tuple(replace(MeasuredRate(*row), maybe_cached=bool(row[4]), at=moment_of(row[5])) for row in rows)


def _drill_row(drill: Drill) -> tuple[Any, ...]:
    files, further = drill.files, drill.further_failures
    return (
        to_text(drill.scenario),
        drill.variant,
        drill.shoot,
        drill.verdict,
        float(drill.score),
        *(files.promised, files.verified, files.on_paper, files.lost),
        *(further.survivable, further.target),
        *(drill.seconds.projected, drill.seconds.measured, drill.seconds.target),
        int(drill.lost_work.met),
        json.dumps(drill_to_json(drill), ensure_ascii=True, separators=(",", ":")),
    )


def _run(row: tuple[Any, ...]) -> PastRun:
    id_, kind, started_us, ended_us, now_us, seed, complete, version, shoots = row
    ended = None if ended_us is None else moment_of(ended_us)
    seed = None if seed is None else int(seed)
    at, now = moment_of(started_us), moment_of(now_us)
    return PastRun(id_, kind, at, ended, now, seed, bool(complete), version, tuple(shoots.split()))


def _marks(count: int) -> str:
    return ", ".join("?" * count)
