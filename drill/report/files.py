"""Report files: written aside, flushed and swapped in whole, so that no half report is ever found.

Flows in: texts and the record. Flows out: files. Must not know: copies. The caller has made sure of where it may write.
Errors: Unfinished.
"""

import os
from collections.abc import Callable
from pathlib import Path

from drill.errors import Unfinished
from drill.record import Run, dump
from drill.report.latest import keep_latest, replace_whole


def swap_in(path: Path, text: str) -> None:
    """Write a text file in whole; see `swap_in_bytes`."""
    swap_in_bytes(path, text.encode("utf-8", "backslashreplace"))


def swap_in_bytes(path: Path, content: bytes) -> None:
    """Write a file in whole: aside, to disk, then renamed over the old one; a device or pipe as it is."""
    if path.exists() and not path.is_file():
        _write_through(path, content)
        return
    path = Path(os.path.realpath(path))  # through a link, to what it names
    try:
        replace_whole(path, content)
    except OSError as error:
        raise Unfinished(f"{path} cannot be written: {error.strerror}") from error


def _write_through(path: Path, content: bytes) -> None:
    try:
        with path.open("wb") as file:
            file.write(content)
    except OSError as error:
        raise Unfinished(f"{path} cannot be written: {error.strerror}") from error


def save_report(reports: Path, run: Run, text: str, page: str, *, warn: Callable[[str], None]) -> Path:
    """Leave the record, the tables and the page in a fresh folder named by the run's start (UTC), let `latest` show it,
    and return that folder; `warn` is told where `latest` is not ours to change."""
    folder = _fresh(reports, run.started.replace("-", "").replace(":", ""))
    swap_in(folder / "drill.json", dump(run))
    swap_in(folder / "drill.txt", text)
    swap_in(folder / "drill.html", page)
    try:
        left = keep_latest(reports, folder)
    except OSError as error:
        raise Unfinished(f"the report is in {folder}; latest beside it cannot be written: {error.strerror}") from error
    if left is not None:
        warn(f"warning: {left}")
    return folder


def _fresh(reports: Path, stamp: str) -> Path:
    folder, number = reports / stamp, 1
    try:
        reports.mkdir(parents=True, exist_ok=True)
        while True:
            try:
                folder.mkdir()
                return folder
            except FileExistsError:
                number += 1
                folder = reports / f"{stamp}-{number}"
    except OSError as error:
        raise Unfinished(f"the reports folder {reports} cannot be written: {error.strerror}") from error
