"""`latest` in the reports folder: the newest report under a name that stays, as a link where links work, else a copy.

Flows in: the reports folder, the folder of a new report. Flows out: `latest`, or why what is there was left alone. Must
not know: the record. Whenever it is stopped, `latest` is the old one or the new one; of a copy, each file in it is.
What somebody else put there is neither followed nor changed: a link of ours names a report beside it and nothing else,
a copy of ours holds NOTE. Errors: OSError.
"""

import os
import re
from contextlib import suppress
from pathlib import Path

NAME = "latest"
NOTE = "ABOUT-THIS-FOLDER.txt"
ABOUT = (
    "This is a copy of the newest report. It is written over after every drill.\n"
    "To keep one, take the folder that is named by its time.\n"
)
_REPORT = re.compile(r"[0-9]{8}T[0-9]{6}Z(-[0-9]+)?")


def keep_latest(reports: Path, folder: Path) -> str | None:
    """Let `latest` show the report in `folder`, which lies in `reports`; return why not where it is not ours."""
    latest = reports / NAME
    if latest.is_symlink():
        if not _REPORT.fullmatch(str(latest.readlink())):
            return f"{latest} is a link that no drill made, and was left as it is; the new report is in {folder}"
    elif os.path.lexists(latest):
        if not _is_copy(latest):
            return f"{latest} was not made by a drill, and was left as it is; the new report is in {folder}"
        _copy_over(latest, folder)
        return None
    if not _link(latest, folder):
        _copy_anew(latest, folder)
    return None


def in_a_report(file: Path, reports: Path) -> bool:
    """Say whether a file would lie in a report's folder, or in `latest`."""
    root = Path(os.path.normcase(os.path.realpath(reports)))
    for path in (os.path.realpath(file), Path(os.path.realpath(file.parent)) / file.name):
        real = Path(os.path.normcase(path))
        if real.is_relative_to(root) and real != root:
            name = real.relative_to(root).parts[0]
            if name == NAME or _REPORT.fullmatch(name.upper()):
                return True
    return False


def replace_whole(path: Path, content: bytes) -> None:
    """Write a file in whole: aside, to disk, then renamed over the old one, or over a link. Errors: OSError."""
    aside = path.with_name(f".drill-{os.getpid()}.part")
    try:
        with aside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        aside.replace(path)
    except OSError:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
        raise


def _is_copy(latest: Path) -> bool:
    note = latest / NOTE
    try:
        return not note.is_symlink() and note.read_text(encoding="utf-8") == ABOUT
    except (OSError, ValueError):
        return False


def _link(latest: Path, folder: Path) -> bool:
    """Swap in a link; say whether it could be. None on Windows: no link to a folder is renamed over (from memory)."""
    if os.name == "nt":
        return False
    aside = _aside(latest)
    try:
        aside.symlink_to(folder.name, target_is_directory=True)
        if not aside.samefile(folder):  # some file systems keep a link and do not follow it
            raise OSError
        aside.replace(latest)
    except (OSError, NotImplementedError):
        with suppress(OSError):
            aside.unlink(missing_ok=True)
        return False
    return True


def _copy_over(latest: Path, folder: Path) -> None:
    for file in _files(folder):
        replace_whole(latest / file.name, file.read_bytes())


def _copy_anew(latest: Path, folder: Path) -> None:
    """Make the copy aside and rename it; where another run was quicker, write over that one's."""
    aside = _aside(latest)
    aside.mkdir()
    try:
        _copy_over(aside, folder)
        replace_whole(aside / NOTE, ABOUT.encode())
        if latest.is_symlink():
            latest.unlink()  # ours, from where links worked
        try:
            aside.rename(latest)
        except OSError:
            if not _is_copy(latest):
                raise
            _copy_over(latest, folder)
    finally:
        _remove(aside)


def _aside(latest: Path) -> Path:
    """Return a name beside `latest` that is free: what lies there is of a process of this number that is gone."""
    aside = latest.with_name(f".{NAME}-{os.getpid()}")
    if aside.is_symlink():
        aside.unlink()
    else:
        _remove(aside)
    return aside


def _remove(folder: Path) -> None:
    if folder.is_dir():
        for file in folder.iterdir():
            file.unlink()
        folder.rmdir()


def _files(folder: Path) -> list[Path]:
    return sorted(file for file in folder.iterdir() if not file.name.startswith("."))
