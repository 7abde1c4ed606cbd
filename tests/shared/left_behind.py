"""What a ledger's file is like, asked of SQLite itself and not of the ledger."""

import sqlite3
from contextlib import closing
from pathlib import Path


def integrity(path: Path) -> list[str]:
    """Return what SQLite's own check of the whole file says, and of its foreign keys; ["ok"] when all is well."""
    if not path.exists():
        return ["ok"]
    with closing(sqlite3.connect(path, timeout=30)) as plain:
        found = [str(row[0]) for row in plain.execute("PRAGMA integrity_check")]
        return found + [f"foreign key: {row}" for row in plain.execute("PRAGMA foreign_key_check")]


def readings_in(path: Path) -> int:
    """Return how many readings are committed in a ledger; 0 while it is being made."""
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=30)) as plain:
            count: int = plain.execute("SELECT count(*) FROM readings").fetchone()[0]
            return count
    except sqlite3.OperationalError:
        return 0
