"""What could only be had in part: kept apart, under names that nobody takes for good.

    FOLDER/SHOOT.in-parts/promised/path.NOT-WHOLE       zeros stand for what is missing
    FOLDER/SHOOT.in-parts/promised/path.NOT-WHOLE.txt   which bytes these are

Flows in: damaged versions of a file on their way. Flows out: what the record says of the best one. Must not know:
copies, salvage, stitching's ways.
"""

import os
from collections.abc import Sequence
from pathlib import Path

from drill.errors import Unfinished
from drill.recover.home import IN_PARTS, Home
from drill.recover.names import copy_new, name_trouble, plain
from drill.recover.waiting import Wanted
from drill.recoverrecord import InPart
from drill.stitching import Version

NOT_WHOLE = ".NOT-WHOLE"
_UNKNOWN = "unknown"


def keep_in_part(home: Home, wanted: Wanted, versions: Sequence[Version], *, size: int | None) -> InPart:
    """Keep the best version of a file of which only parts came: the one that lacks least; `size` is the promised one.

    A part that was kept before stays where it lacks no more. Errors: Unfinished; OSError, where the disk fails.
    """
    version, holes = min(((v, _holes(v, size)) for v in versions), key=lambda item: _rank(_lacking(item[1])))
    lacking = _lacking(holes)
    folder = home.into / f"{wanted.shoot}{IN_PARTS}"
    for below in (wanted.file.path, f"{wanted.number:05d}-{plain(wanted.file.path)}"):
        target = folder / f"{below}{NOT_WHOLE}"
        if name_trouble(f"{below}{NOT_WHOLE}") or home.refusal(target.parent, make=True):
            continue
        note = target.with_name(f"{target.name}.txt")
        is_ours, had = _read(note)
        if not is_ours and (os.path.lexists(target) or os.path.lexists(note)):
            continue
        put = target.relative_to(home.into).as_posix()
        if is_ours and _rank(had) <= _rank(lacking) and target.is_file():
            return InPart(wanted.file.path, put, had)
        try:
            _swap_in(home, version, target, note, _words(wanted, lacking, holes))
        except OSError as error:
            home.about_the_name(error)
            continue
        return InPart(wanted.file.path, put, lacking)
    raise Unfinished(f"{wanted.shoot}: a part of {wanted.file.path} finds no name in {folder}")


def _holes(version: Version, size: int | None) -> list[tuple[int, int]]:
    end = max(version.declared or 0, size or 0)
    return [*version.holes, *([(version.size, end)] if end > version.size else [])]


def _lacking(holes: Sequence[tuple[int, int]]) -> int | None:
    """Return how many bytes are missing; None where none is, so that some must be wrong."""
    return sum(end - start for start, end in holes) or None


def _rank(lacking: int | None) -> float:
    return float("inf") if lacking is None else lacking


def _swap_in(home: Home, version: Version, target: Path, note: Path, words: str) -> None:
    work = home.fresh("part")
    copy_new(version.path, work)
    note.unlink(missing_ok=True)  # a part without its note is nobody's, whenever this is cut short
    work.replace(target)
    with note.open("x", encoding="utf-8", errors="backslashreplace") as text:
        text.write(words)
        text.flush()
        os.fsync(text.fileno())
    home.made.add(target.parent)


def _words(wanted: Wanted, lacking: int | None, holes: Sequence[tuple[int, int]]) -> str:
    head = f"bytes missing: {_UNKNOWN if lacking is None else lacking}\n\n"
    if lacking is None:
        head += f"This is not {wanted.file.path} as it was promised: some bytes are wrong or missing.\n"
        return head + "Nobody knows which. It may be damaged, edited since, or another picture of that name.\n"
    head += f"This is not the whole of {wanted.file.path}: these bytes are missing (from, to; the first byte is 0).\n"
    return head + "".join(f"{start} {end}\n" for start, end in holes)


def _read(note: Path) -> tuple[bool, int | None]:
    """Say whether a note is ours, and how many bytes its part lacks."""
    try:
        with note.open(encoding="utf-8") as file:
            words, _, number = file.readline().rstrip("\n").partition(": ")
        return words == "bytes missing", None if number == _UNKNOWN else int(number)
    except (OSError, ValueError):
        return False, None
