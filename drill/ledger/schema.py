"""The tables of the ledger, and the steps that lead from one version of them to the next.

Flows in: an open connection. Flows out: the same, with this version's tables; Mistakes for a file that is no ledger or
from a newer program. Must not know: files, what the tables are used for.

A step, once released, never changes: files that it made are out there. A new version is a new step at the end.
Times are whole microseconds since 1970 in UTC, the span of a reading is in whole microseconds too (`…_us`). Texts that
may be no valid Unicode (names of files) are in columns of any type: as text where they can be, else as bytes.
Source: sqlite.org, "STRICT Tables", "PRAGMA application_id", "PRAGMA user_version".
"""

import sqlite3

from drill.errors import Mistake, Mistakes

APPLICATION_ID = 0x64726C6C  # "drll": ours alone, in no list
OLDEST_SQLITE = (3, 37, 0)  # the first that has strict tables

_FIRST = (
    """CREATE TABLE runs (
        id INTEGER PRIMARY KEY,
        kind TEXT NOT NULL,
        started_us INTEGER NOT NULL,
        ended_us INTEGER,
        now_us INTEGER NOT NULL,
        seed TEXT,
        complete INTEGER NOT NULL DEFAULT 0 CHECK (complete IN (0, 1)),
        version TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE roots (
        id INTEGER PRIMARY KEY,
        path ANY NOT NULL,
        medium TEXT NOT NULL,
        archive INTEGER NOT NULL CHECK (archive IN (0, 1)),
        UNIQUE (path, medium, archive)
    ) STRICT""",
    """CREATE TABLE readings (
        root INTEGER NOT NULL REFERENCES roots (id),
        path ANY NOT NULL,
        number INTEGER NOT NULL,
        size INTEGER,
        modified_us INTEGER,
        root_size INTEGER,
        root_modified_us INTEGER,
        digests TEXT,
        taken ANY,
        captured INTEGER NOT NULL CHECK (captured IN (0, 1)),
        whole INTEGER CHECK (whole IN (0, 1)),
        trouble TEXT,
        detail ANY,
        ranges TEXT,
        read_at_us INTEGER NOT NULL,
        took_us INTEGER NOT NULL,
        run INTEGER REFERENCES runs (id),
        parts BLOB,
        crc INTEGER NOT NULL,
        PRIMARY KEY (root, path, number),
        CHECK ((digests IS NULL) <> (trouble IS NULL))
    ) STRICT, WITHOUT ROWID""",
)

_HISTORY = (
    "ALTER TABLE roots ADD COLUMN copy TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE roots ADD COLUMN read_at_us INTEGER NOT NULL DEFAULT 0",
    """UPDATE roots SET read_at_us =
        coalesce((SELECT max(read_at_us) FROM readings WHERE readings.root = roots.id), 0)""",
    "CREATE INDEX roots_by_copy ON roots (copy, medium, read_at_us)",
    """CREATE TABLE drills (
        run INTEGER NOT NULL REFERENCES runs (id),
        number INTEGER NOT NULL,
        scenario ANY NOT NULL,
        variant TEXT,
        shoot TEXT NOT NULL,
        verdict TEXT NOT NULL,
        score REAL NOT NULL,
        promised INTEGER NOT NULL,
        verified INTEGER NOT NULL,
        on_paper INTEGER NOT NULL,
        lost INTEGER NOT NULL,
        survivable INTEGER NOT NULL,
        survivable_target INTEGER,
        projected_s REAL NOT NULL,
        measured_s REAL NOT NULL,
        target_s REAL,
        lost_work_met INTEGER NOT NULL CHECK (lost_work_met IN (0, 1)),
        record TEXT NOT NULL,
        PRIMARY KEY (run, number)
    ) STRICT""",
    """CREATE TABLE audits (
        run INTEGER NOT NULL REFERENCES runs (id),
        copy TEXT NOT NULL,
        reached INTEGER NOT NULL CHECK (reached IN (0, 1)),
        verified INTEGER NOT NULL,
        altered INTEGER NOT NULL,
        unreadable INTEGER NOT NULL,
        missing INTEGER NOT NULL,
        extra INTEGER NOT NULL,
        opens INTEGER NOT NULL,
        cannot_check INTEGER NOT NULL,
        not_read INTEGER NOT NULL,
        bytes_read INTEGER NOT NULL,
        took_s REAL NOT NULL,
        PRIMARY KEY (run, copy)
    ) STRICT""",
    """CREATE TABLE rates (
        id INTEGER PRIMARY KEY,
        run INTEGER NOT NULL REFERENCES runs (id),
        medium TEXT NOT NULL,
        files INTEGER NOT NULL,
        bytes INTEGER NOT NULL,
        took_s REAL NOT NULL,
        maybe_cached INTEGER NOT NULL CHECK (maybe_cached IN (0, 1)),
        at_us INTEGER NOT NULL
    ) STRICT""",
    "CREATE INDEX rates_by_medium ON rates (medium, at_us)",
)

_BEFORE = (
    "ALTER TABLE runs ADD COLUMN shoots TEXT NOT NULL DEFAULT ''",  # empty: all of them
    """CREATE TABLE before (
        root INTEGER NOT NULL REFERENCES roots (id),
        path ANY NOT NULL,
        number INTEGER NOT NULL,
        digests TEXT NOT NULL,
        PRIMARY KEY (root, path, number)
    ) STRICT, WITHOUT ROWID""",
)

_ABSENT = (
    """CREATE TABLE absent (
        root INTEGER NOT NULL REFERENCES roots (id),
        path ANY NOT NULL,
        number INTEGER NOT NULL,
        at_us INTEGER NOT NULL,
        PRIMARY KEY (root, path, number)
    ) STRICT, WITHOUT ROWID""",
    # What was read behind links may be of several copies whose addresses look alike without what is secret in them.
    "UPDATE roots SET copy = '' WHERE archive = 0 AND (path LIKE 'http://%' OR path LIKE 'https://%')",
)

_PROMISES = (
    """CREATE TABLE promises (
        run INTEGER NOT NULL REFERENCES runs (id),
        shoot TEXT NOT NULL,
        files INTEGER NOT NULL,
        mark TEXT NOT NULL,
        PRIMARY KEY (run, shoot)
    ) STRICT""",
)

_SCENARIOS = (
    """CREATE TABLE scenarios (
        run INTEGER NOT NULL REFERENCES runs (id),
        name ANY NOT NULL,
        shipped INTEGER NOT NULL CHECK (shipped IN (0, 1)),
        PRIMARY KEY (run, name)
    ) STRICT""",
)

STEPS: tuple[tuple[str, ...], ...] = (_FIRST, _HISTORY, _BEFORE, _ABSENT, _PROMISES, _SCENARIOS)
"""The statements of each step; a file of version N has seen the first N."""


def is_current(connection: sqlite3.Connection, where: str) -> bool:
    """Say whether a file is a ledger of this version; false for an older one, and for an empty file.

    Errors: Mistakes when it is something else, or from a newer program.
    """
    version = _number(connection, "user_version")
    if _number(connection, "application_id") != APPLICATION_ID:
        if version or connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
            raise no_ledger(where)
        return False
    if version > len(STEPS):
        what = f"was written by a newer version of this program (its tables are version {version}, {len(STEPS)} here)"
        raise Mistakes([Mistake(where, "", what, "use that version, or name another file")])
    return version == len(STEPS)


def migrate(connection: sqlite3.Connection, where: str, *, size: int) -> None:
    """Take all steps that are missing, in one transaction: all or none. `size`: the file's, in bytes.

    Errors: Mistakes, as `is_current`; sqlite3.Error.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        if not is_current(connection, where):
            ours = _number(connection, "application_id") == APPLICATION_ID
            if size and not ours:  # SQLite takes a few stray bytes for an empty database, and would write over them
                raise no_ledger(where)
            for step in STEPS[_number(connection, "user_version") :]:
                for statement in step:
                    connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {len(STEPS)}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def no_ledger(where: str) -> Mistakes:
    """Return what is said of a file that is something else."""
    what = "is no ledger of this program, or so damaged that it is none any more"
    return Mistakes([Mistake(where, "", what, "nothing in it was changed; move it away, or name another file")])


def _number(connection: sqlite3.Connection, pragma: str) -> int:
    value: int = connection.execute(f"PRAGMA {pragma}").fetchone()[0]
    return value
