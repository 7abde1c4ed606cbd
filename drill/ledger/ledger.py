"""The ledger as others use it: readings are gathered, and committed together at least once a second.

Flows in: readings, results of runs. Flows out: the same again. Must not know: tables, what readings prove.
A transaction is never open while something is read: two runs at once take turns, each for a few thousandths of a
second. For the calling thread alone.
"""

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Self, TypeVar

from drill import __version__, clock
from drill.ledger import history, readings
from drill.ledger.connect import OWN_FAULTS, connect, connect_to_read, damaged, failure
from drill.ledger.readings import FileKey, select_evidence, select_present
from drill.ledger.rows import (
    Evidence,
    Ranges,
    Root,
    RootKey,
    Row,
    from_text,
    is_of,
    needed_us,
    problem_row,
    reading_row,
    root_seed,
    seen_of,
    to_text,
)
from drill.model import Entry, Problem, Seen
from drill.record import Drill

_COMMIT_EVERY_S = 0.5  # with a reader's ticks of 0.2 s and the commit itself still within a second
_MOST_PENDING = 4_000
_SEEN_ROOT = """INSERT INTO roots (path, medium, archive, copy, read_at_us) VALUES (?, ?, ?, ?, ?)
    ON CONFLICT DO UPDATE SET read_at_us = max(read_at_us, excluded.read_at_us),
        copy = CASE excluded.copy WHEN '' THEN copy ELSE excluded.copy END"""

T = TypeVar("T")
Warn = Callable[[str], None]


class Ledger:
    """Past readings and runs. Every call may raise Unfinished (not writable, in use, disk full) or Mistakes (damaged).

    Get one from `open` or `read`, and close it. `warn` is told of readings that cannot be kept.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path | None, warn: Warn = lambda text: None) -> None:
        self.path = path
        self._warn = warn
        self._db = connection
        self._committed_s = clock.ticks_s()
        self._pending: dict[RootKey, dict[FileKey, Row]] = {}
        self._pending_rows = 0
        self._copies: dict[RootKey, str] = {}
        self._ids: dict[RootKey, int] = {}
        self._run: int | None = None
        self._unknown: set[RootKey] = set()  # places of which nothing is known, among questions in a row
        self.keeps = True

    @classmethod
    def open(cls, path: Path | None, *, wait_s: float = 10.0, warn: Warn = lambda text: None) -> Self:
        """Open it to read and write, and make it where there is none; without a path nothing is kept.

        It waits at most `wait_s` for other runs. Readings are dated by the clock, whatever a run counts as now.
        """
        return cls(connect(path, wait_s=wait_s), path, warn)

    @classmethod
    def none(cls) -> Self:
        """Return one that knows nothing and keeps no reading: what runs without a ledger have in its place."""
        made = cls.open(None)
        made.keeps = False
        return made

    @classmethod
    def read(cls, path: Path, *, wait_s: float = 10.0) -> Self:
        """Open it to read alone, also on a read-only medium; none there is an empty one, and stays none."""
        return cls(connect_to_read(path, wait_s=wait_s), path)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # --- readings --------------------------------------------------------------------------------------------------

    def get(self, root: Root, entry: Entry) -> Seen | None:
        """Return what the last reading of a file showed, if it is unchanged since by path, size and modified time."""
        key = root.key
        row = self._pending[key].get((entry.path, entry.index)) if key in self._pending else None
        row = row or self._stored(key, entry)
        return seen_of(row) if row is not None and is_of(row, root, entry) else None

    def get_many(self, root: Root, entries: Sequence[Entry]) -> dict[FileKey, Seen]:
        """Return the same of many files, by path and index, where there is something."""
        id_, here = self._root_id(root.key), {(entry.path, entry.index): entry for entry in entries}
        rows: dict[FileKey, Row] = {}
        if id_ is not None:
            rows = self._ask(lambda: readings.select_some(self._db, id_, root_seed(root.key), list(here)))
        pending = self._pending.get(root.key, {})
        rows |= {key: pending[key] for key in here if key in pending}
        right = {key: row for key, row in rows.items() if key in here and is_of(row, root, here[key])}
        return {key: seen for key, row in right.items() if (seen := seen_of(row)) is not None}

    def put(
        self,
        root: Root,
        entry: Entry,
        seen: Seen,
        *,
        took_s: float = 0.0,
        read_at: datetime | None = None,
        copy: str = "",
    ) -> None:
        """Remember what a reading showed; a file without a known time, or not of its listed size, is not remembered.

        `copy` is the id of the copy that it was read in.
        """
        if not self.keeps:
            return
        when_us = needed_us(read_at or clock.now())
        row = reading_row(root, entry, seen, read_at_us=when_us, took_s=took_s, run=self._run)
        if row is not None:
            self._add(root.key, [((entry.path, entry.index), row)], copy)

    def put_many(self, root: Root, readings: Iterable[tuple[Entry, Seen, float]], *, copy: str = "") -> None:
        """Remember what readings made just now showed, each with the seconds it took: as `put`, only faster."""
        if not self.keeps:
            return
        when_us = needed_us(clock.now())
        rows: list[tuple[FileKey, Row]] = []
        for entry, seen, took_s in readings:
            row = reading_row(root, entry, seen, read_at_us=when_us, took_s=took_s, run=self._run)
            if row is not None:
                rows.append(((entry.path, entry.index), row))
        self._add(root.key, rows, copy)

    def put_problem(
        self,
        root: Root,
        entry: Entry,
        problem: Problem,
        *,
        ranges: Ranges = (),
        took_s: float = 0.0,
        read_at: datetime | None = None,
        copy: str = "",
    ) -> None:
        """Remember what went wrong with a reading, always; `ranges` of bytes, from the first to after the last."""
        if not self.keeps:
            return
        when = read_at or clock.now()
        row = problem_row(root, entry, problem, ranges=ranges, read_at=when, took_s=took_s, run=self._run)
        if row is not None:
            self._add(root.key, [((entry.path, entry.index), row)], copy)

    def note_listing(self, root: Root, entries: Sequence[Entry], *, closed: Sequence[str] = ()) -> None:
        """Note all that a place is listed to hold now, but for what may be in folders that are `closed`."""
        self.flush()
        id_ = self._root_id(root.key) if self.keeps else None
        if id_ is not None:
            gone, back = self._ask(lambda: readings.absences(self._db, id_, entries, closed))
            if gone or back:
                with self._writing() as db:
                    readings.write_absences(db, id_, gone, back, needed_us(clock.now()))

    def evidence(self, root: Root) -> Mapping[FileKey, Evidence]:
        """Return the last reading of every file ever read there, by path and index; also of what has changed since."""
        return {(one.path, one.index): one for one in self.each_evidence(root)}

    def each_evidence(self, root: Root) -> Iterator[Evidence]:
        """Yield the same, one by one: there may be a million. The ledger is asked nothing else until that has ended."""
        self.flush()
        id_ = self._root_id(root.key)
        return iter(()) if id_ is None else self._each(select_evidence, id_, root.key)

    def each_present(self, root: Root) -> Iterator[Evidence]:
        """Yield what counts of a place that cannot be listed now (see `select_present`)."""
        self.flush()
        id_ = self._root_id(root.key)
        return iter(()) if id_ is None else self._each(select_present, id_, root.key)

    def knows(self, root: Root) -> bool:
        """Say whether anything was ever read there."""
        self.flush()
        return self._root_id(root.key) is not None

    def evidence_of_copy(self, copy: str, medium: str) -> Mapping[FileKey, Evidence]:
        """Return what counts of a copy that lies nowhere now: where it was last read under that id on that medium."""
        return {(one.path, one.index): one for one in self.each_evidence_of_copy(copy, medium)}

    def each_evidence_of_copy(self, copy: str, medium: str) -> Iterator[Evidence]:
        """Yield the same, one after the other, as `each_evidence`."""
        self.flush()
        query = "SELECT id, path, archive FROM roots WHERE copy = ? AND medium = ? ORDER BY read_at_us DESC, id DESC"
        found = self._ask(lambda: self._db.execute(query, (copy, medium)).fetchone())
        if found is None:
            return iter(())
        return self._each(select_present, found[0], (from_text(found[1]), medium, bool(found[2])))

    @property
    def count(self) -> int:
        """Return how many files it has a reading of, those that ran into a problem among them."""
        self.flush()
        return int(self._ask(lambda: self._db.execute("SELECT count(*) FROM readings").fetchone()[0]))

    # --- runs ------------------------------------------------------------------------------------------------------

    def begin_run(
        self, kind: str, *, now: datetime, seed: int | None = None, shoots: history.Ids = (), at: datetime | None = None
    ) -> int:
        """Begin a run ("drill", "audit", "retire", "recovery", "new" or "lists"): what is put from here on is of it.

        `shoots` are those it is confined to, by id; `at` is when it began, where that was before this moment.
        """
        with self._writing() as db:
            run = history.insert_run(db, kind, now=now, at=at or clock.now(), seed=seed, by=__version__, shoots=shoots)
        self._run = run
        return run

    def end_run(self, run: int, *, complete: bool) -> None:
        """Note that a run has ended; one that is not when the ledger is closed has ended incomplete."""
        self.flush()
        with self._writing() as db:
            history.finish_run(db, run, ended=clock.now(), complete=complete)
        self._run = None if self._run == run else self._run

    def add_drills(
        self, run: int, drills: Iterable[Drill], promises: history.Promises = (), scenarios: history.Scenarios = ()
    ) -> None:
        """Add drills to a run, what they were held against, shoot by shoot, and which scenarios they were of."""
        with self._writing() as db:
            history.insert_drills(db, run, drills, promises, scenarios)

    def add_audit(self, run: int, audited: history.AuditedCopy) -> None:
        """Add what an audit came to for one copy; a second time, the later counts."""
        with self._writing() as db:
            history.insert_audit(db, run, audited)

    def add_rate(self, run: int, medium: str, *, files: int, bytes: int, took_s: float, maybe_cached: bool) -> None:
        """Add how fast a medium was read just now."""
        rate = history.MeasuredRate(medium, files, bytes, took_s, maybe_cached, clock.now())
        with self._writing() as db:
            history.insert_rate(db, run, rate)

    def runs(self) -> tuple[history.PastRun, ...]:
        """Return all runs, the first first."""
        return self._ask(lambda: history.select_runs(self._db))

    def drills_of(self, run: int) -> tuple[history.PastDrill, ...]:
        """Return a run's drills in their order."""
        return self._ask(lambda: history.select_drills(self._db, run))

    def promises_of(self, run: int) -> tuple[history.DrilledPromise, ...]:
        """Return what a run's drills were held against; nothing for runs of older programs."""
        return self._ask(lambda: history.select_promises(self._db, run))

    def scenarios_of(self, run: int) -> tuple[history.DrilledScenario, ...]:
        """Return which scenarios a run drilled; nothing for runs of older programs."""
        return self._ask(lambda: history.select_scenarios(self._db, run))

    def audits_of(self, run: int) -> tuple[history.AuditedCopy, ...]:
        """Return what an audit came to, copy by copy."""
        return self._ask(lambda: history.select_audits(self._db, run))

    def rates(self, medium: str) -> tuple[history.MeasuredRate, ...]:
        """Return how fast a medium was, each time, the first first."""
        return self._ask(lambda: history.select_rates(self._db, medium))

    # --- keeping ---------------------------------------------------------------------------------------------------

    def tick(self) -> None:
        """Commit when it is time to. For a reader to call while it waits, and when it has asked all it wanted."""
        self._let_go()
        if self._pending_rows and clock.ticks_s() - self._committed_s >= _COMMIT_EVERY_S:
            self.flush()

    def flush(self) -> None:
        """Commit what was put; it is on the disk then."""
        self._let_go()
        if self._pending_rows:
            with self._writing() as db:
                self._write_pending(db)
            self._pending.clear()
            self._pending_rows = 0
        self._committed_s = clock.ticks_s()

    def check(self) -> None:
        """Look through the whole file. Errors: Mistakes when it is damaged."""
        if (found := self._ask(lambda: self._db.execute("PRAGMA quick_check(1)").fetchone()[0])) != "ok":
            raise damaged(str(self.path or "the ledger in memory"), " ".join(str(found).split()))

    def close(self) -> None:
        """Commit what was put, and let go of the file."""
        try:
            if self._run is not None:
                self.end_run(self._run, complete=False)
            self.flush()
        finally:
            self._db.close()

    # --- inside ----------------------------------------------------------------------------------------------------

    def _add(self, key: RootKey, rows: Sequence[tuple[FileKey, Row]], copy: str) -> None:
        if not rows:
            return
        self._unknown.discard(key)
        self._pending.setdefault(key, {}).update(rows)
        if copy:
            self._copies[key] = copy
        self._pending_rows += len(rows)
        if self._pending_rows >= _MOST_PENDING:
            self.flush()
        else:
            self.tick()

    def _write_pending(self, db: sqlite3.Connection) -> None:
        for key, rows in self._pending.items():
            path, medium, archive = key
            is_new = self._root_id(key) is None
            last_us = max(row.read_at_us for row in rows.values())
            db.execute(_SEEN_ROOT, (to_text(path), medium, int(archive), self._copies.get(key, ""), last_us))
            id_, seed = self._root_id(key), root_seed(key)
            assert id_ is not None
            for row in readings.insert_readings(db, id_, seed, list(rows.values()), is_new=is_new):
                self._warn(f"warning: a reading of {from_text(row.path)} cannot be kept in the ledger")

    def _each(self, select: readings.Select, id_: int, key: RootKey) -> Iterator[Evidence]:
        try:
            yield from select(self._db, id_, key)
        except OWN_FAULTS:
            raise
        except sqlite3.Error as error:
            raise failure(self.path, error) from error

    def _root_id(self, key: RootKey) -> int | None:
        """Return the id of a place; None where nothing was ever read there."""
        if key not in self._ids:
            query = "SELECT id FROM roots WHERE path = ? AND medium = ? AND archive = ?"
            found = self._ask(lambda: self._db.execute(query, (to_text(key[0]), key[1], int(key[2]))).fetchone())
            if found is None:
                return None
            self._ids[key] = found[0]
        return self._ids[key]

    def _stored(self, key: RootKey, entry: Entry) -> Row | None:
        if key in self._unknown:
            return None
        if (id_ := self._root_id(key)) is None:
            self._unknown.add(key)
            return None

        def selected() -> Row | None:
            if not self._db.in_transaction:
                self._db.execute("BEGIN")  # for many questions in a row: half the time
            return readings.select_one(self._db, id_, root_seed(key), entry)

        return self._ask(selected)

    def _let_go(self) -> None:
        """End the questions in a row: on some file systems others could not commit in the meantime."""
        self._unknown.clear()
        if self._db.in_transaction:
            self._ask(lambda: self._db.execute("ROLLBACK"))

    def _ask(self, query: Callable[[], T]) -> T:
        try:
            return query()
        except OWN_FAULTS:
            raise
        except sqlite3.Error as error:
            raise failure(self.path, error) from error

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Hold a transaction: all of it is kept, or nothing."""
        self._let_go()
        try:
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                self._ids.clear()  # a place that was just given one has none again
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise
        except OWN_FAULTS:
            raise
        except sqlite3.Error as error:
            if isinstance(error, sqlite3.OperationalError):  # having waited once is enough: closing tries again
                self._db.execute("PRAGMA busy_timeout = 0")
            raise failure(self.path, error) from error
