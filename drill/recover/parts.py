"""What could only be had in part: kept apart, under names that nobody takes for good.

    FOLDER/SHOOT.in-parts/promised/path.NOT-WHOLE       zeros stand for what is missing
    FOLDER/SHOOT.in-parts/promised/path.NOT-WHOLE.txt   which bytes these are

Flows in: a file on its way, and its holes. Flows out: what the record says of it. Must not know: copies, salvage.
"""

import os
from collections.abc import Sequence
from pathlib import Path

from drill.errors import Unfinished
from drill.recover.home import IN_PARTS, Home, name_trouble, plain
from drill.recover.waiting import Wanted
from drill.recoverrecord import InPart

NOT_WHOLE = ".NOT-WHOLE"


def keep_in_part(home: Home, wanted: Wanted, work: Path, holes: Sequence[tuple[int, int]]) -> InPart | None:
    """Keep a file of which only a part came; `holes` are the [start, end) of its bytes that are zeros.

    `work` is moved away or removed. A part that stands there already stays as it is where it has fewer bytes missing,
    or as many; then None is returned. Errors: Unfinished.
    """
    missing = sum(end - start for start, end in holes)
    folder = home.into / f"{wanted.shoot}{IN_PARTS}"
    for below in (wanted.file.path, f"{wanted.number:05d}-{plain(wanted.file.path)}"):
        target = folder / f"{below}{NOT_WHOLE}"
        if name_trouble(f"{below}{NOT_WHOLE}") or home.refusal(target.parent, make=True):
            continue
        note = target.with_name(f"{target.name}.txt")
        had = _missing_of(note)
        if had is None and (os.path.lexists(target) or os.path.lexists(note)):
            continue  # not ours
        if had is not None and had <= missing and target.is_file():
            work.unlink()
            return None
        try:
            note.unlink(missing_ok=True)  # a part without its note is nobody's, whenever this is cut short
            work.replace(target)
            _write(note, _words(wanted, missing, holes))
        except OSError as error:
            home.about_the_name(error)
            continue
        home.made.add(target.parent)
        return InPart(wanted.file.path, target.relative_to(home.into).as_posix(), missing)
    raise Unfinished(f"{wanted.shoot}: a part of {wanted.file.path} finds no name in {folder}")


def _words(wanted: Wanted, missing: int, holes: Sequence[tuple[int, int]]) -> str:
    head = f"bytes missing: {missing}\n\nThis is not the whole of {wanted.file.path}: where these bytes stood are zeros"
    return "\n".join([f"{head} (from, to; the first byte is 0).", *(f"{start} {end}" for start, end in holes), ""])


def _missing_of(note: Path) -> int | None:
    """Return how many bytes a part that we kept lacks; None where the note is none of ours."""
    try:
        with note.open(encoding="utf-8") as file:
            words, _, number = file.readline().partition(":")
        return int(number) if words == "bytes missing" else None
    except (OSError, ValueError):
        return None


def _write(path: Path, text: str) -> None:
    with path.open("w", encoding="utf-8", errors="backslashreplace") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
