"""Databases of SQLite, such as catalogues: copied to scratch, and checked there by SQLite's own integrity_check.

Flows in: an opened file, a scratch folder. Flows out: Soundness. Must not know: whose catalogue it is. The original is
only read: opening it there could roll back a journal or make files beside it. The copy is opened read-only and
immutable. What lies in a file -wal or -journal beside the original is not part of the look. integrity_check follows the
structure; a changed value in a row it does not notice. Source: sqlite.org/pragma.html, from memory.
"""

import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

from drill import clock
from drill.soundness.outcome import Soundness, cannot_check, damaged, opens
from drill.soundness.source import Opener

_LIMIT_S = 600.0
_STEPS = 100_000  # of SQLite's machine between two looks at the clock
_BLOCK = 1024 * 1024
_UNSUPPORTED = ("no such", "unsupported", "unknown")  # collations, functions and modules of other programs
_NEWER = "malformed database schema"  # also what it says of SQL that it is too old for


def look(file: Opener, size: int, scratch: Path | None) -> Soundness:
    """Check a copy of a database in a folder of its own, which is removed. Errors: those of reading the original."""
    try:
        return _look_at_copy(file, size, scratch)
    except OSError as error:
        if file.troubles:
            raise
        return cannot_check(f"scratch cannot be written ({error.strerror or type(error).__name__})")


def _look_at_copy(file: Opener, size: int, scratch: Path | None) -> Soundness:
    with tempfile.TemporaryDirectory(dir=scratch, prefix="look-") as folder:
        copy = Path(folder, "copy.sqlite")
        if shutil.disk_usage(folder).free < size + _BLOCK:
            return cannot_check("there is no room in scratch to look into it")
        with file.buffered() as stream, copy.open("wb") as out:
            shutil.copyfileobj(stream, out, _BLOCK)
        try:
            answer = _integrity(copy)
        except sqlite3.DatabaseError as error:
            return _refused(error)
    if answer == "ok":
        return opens()
    if any(word in answer for word in _UNSUPPORTED):
        return cannot_check(f"needs what only its own program has ({answer})")
    return damaged(f"SQLite says: {answer}")


def _integrity(copy: Path) -> str:
    ends = clock.ticks_s() + _LIMIT_S
    with closing(sqlite3.connect(f"{copy.resolve().as_uri()}?mode=ro&immutable=1", uri=True)) as database:
        database.set_progress_handler(lambda: int(clock.ticks_s() > ends), _STEPS)
        database.execute("PRAGMA trusted_schema = OFF")
        database.execute("PRAGMA cell_size_check = ON")
        row = database.execute("PRAGMA integrity_check(1)").fetchone()
    return str(row[0])


def _refused(error: sqlite3.DatabaseError) -> Soundness:
    words = str(error)
    if "interrupted" in words:
        return cannot_check("took longer to look into than is allowed")
    if any(word in words for word in _UNSUPPORTED) or words.startswith(_NEWER):
        return cannot_check(f"needs what only its own program has ({words})")
    return damaged(f"SQLite says: {words}")
