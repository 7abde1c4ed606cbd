"""Time that has passed: the last run in a ledger, and all that it noted, moved to another day.

Runs and readings are dated by the clock, so this is how a test gets a ledger with a past.
"""

import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from drill.ledger.rows import COLUMNS, Row, crc_of, from_text, root_seed, us_of


def dated(ledger: Path | sqlite3.Connection, when: datetime | str) -> None:
    """Move the last run of a ledger, with its readings and rates, so that it began at `when` (aware, or RFC 3339)."""
    moment = datetime.fromisoformat(when).astimezone(UTC) if isinstance(when, str) else when
    if isinstance(ledger, sqlite3.Connection):
        _move(ledger, moment)
        return
    with closing(sqlite3.connect(ledger, timeout=30)) as db, db:
        _move(db, moment)


def _move(db: sqlite3.Connection, moment: datetime) -> None:
    run, started_us = db.execute("SELECT id, started_us FROM runs ORDER BY id DESC LIMIT 1").fetchone()
    by_us = (us_of(moment) or 0) - started_us
    db.execute("UPDATE runs SET started_us = started_us + ?, ended_us = ended_us + ? WHERE id = ?", (by_us, by_us, run))
    db.execute("UPDATE rates SET at_us = at_us + ? WHERE run = ?", (by_us, run))
    query = f"SELECT root, {COLUMNS} FROM readings WHERE run = ?"
    for root, *values, _ in db.execute(query, (run,)).fetchall():
        row = Row(*values)
        row = row._replace(read_at_us=row.read_at_us + by_us)
        path, on, archive = db.execute("SELECT path, medium, archive FROM roots WHERE id = ?", (root,)).fetchone()
        db.execute(
            "UPDATE readings SET read_at_us = ?, crc = ? WHERE root = ? AND path = ? AND number = ?",
            (row.read_at_us, crc_of(row, root_seed((from_text(path), on, bool(archive)))), root, row.path, row.number),
        )
    db.execute(
        "UPDATE roots SET read_at_us = coalesce((SELECT max(read_at_us) FROM readings WHERE root = roots.id), 0)"
    )
