"""Report files: written aside, flushed and swapped in whole, so that no half report is ever found.

Flows in: texts and the record. Flows out: files. Must not know: copies. The caller has made sure of where it may write.
Errors: Unfinished.
"""

import os
from contextlib import suppress
from pathlib import Path

from drill.errors import Unfinished
from drill.record import Run, dump


def swap_in(path: Path, text: str) -> None:
    """Write a text file in whole; see `swap_in_bytes`."""
    swap_in_bytes(path, text.encode("utf-8", "backslashreplace"))


def swap_in_bytes(path: Path, content: bytes) -> None:
    """Write a file in whole: aside, to disk, then renamed over the old one; a device or pipe as it is."""
    if path.exists() and not path.is_file():
        _write_through(path, content)
        return
    path = Path(os.path.realpath(path))  # through a link, to what it names
    aside = path.with_name(f".drill-{os.getpid()}.part")
    try:
        with aside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        aside.replace(path)
    except OSError as error:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
        raise Unfinished(f"{path} cannot be written: {error.strerror}") from error


def _write_through(path: Path, content: bytes) -> None:
    try:
        with path.open("wb") as file:
            file.write(content)
    except OSError as error:
        raise Unfinished(f"{path} cannot be written: {error.strerror}") from error


def save_report(reports: Path, run: Run, text: str) -> Path:
    """Leave the record and the tables in a fresh folder named by the run's start (UTC); return that folder."""
    stamp = run.started.replace("-", "").replace(":", "")
    folder, number = reports / stamp, 1
    try:
        reports.mkdir(parents=True, exist_ok=True)
        while True:
            try:
                folder.mkdir()
                break
            except FileExistsError:
                number += 1
                folder = reports / f"{stamp}-{number}"
    except OSError as error:
        raise Unfinished(f"the reports folder {reports} cannot be written: {error.strerror}") from error
    swap_in(folder / "drill.json", dump(run))
    swap_in(folder / "drill.txt", text)
    return folder
