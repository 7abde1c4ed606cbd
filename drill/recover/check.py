"""Where a recovery may write: a folder of its own, in which no two things want one name.

Flows in: a studio, the folder, the shoots, what is lost. Flows out: nothing, mistakes, or remarks. Must not
know: files' contents.
"""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from drill.errors import Mistake, Mistakes
from drill.guard import falls_in, top_of
from drill.insurance import headers_folder
from drill.ledger import ledger_files
from drill.model import Shoot, Studio
from drill.recover.home import AS_PROMISED, IN_PARTS, LIST_OF_MISSING, WORKING
from drill.recover.lost import lost_copies
from drill.recover.names import leads_elsewhere, name_trouble

OPTION = "--into"
_NAMED = 3  # of what lies in a folder, before it is counted


def check_into(studio: Studio, into: Path, shoots: Sequence[Shoot], lost: Sequence[str] = ()) -> None:
    """Refuse a folder that is no folder of its own, also through a link: in a copy or around one, or on what is lost.

    `lost` is as `lost_named` returns it. Errors: Mistakes.
    """
    mistakes = [_apart(studio, into, lost) or _possible(into), *_one_name_each(shoots)]
    found = [mistake for mistake in mistakes if mistake is not None]
    if found:
        raise Mistakes(found)


def disk_notes(studio: Studio, into: Path, lost: Sequence[str]) -> list[str]:
    """Say of the folder's disk what else is on it: what is lost, and the copies that are left."""
    gone, disk = lost_copies(studio, lost), _disk_of(into)
    beside = [copy for copy in studio.copies if disk is not None and copy.at is not None and _is_on(disk, copy.at)]
    lying = [copy.id for copy in beside if copy.id in gone]
    left = [copy.id for copy in beside if copy.id not in gone]
    notes = []
    if lying:
        notes.append(
            f"{into} is on the same disk as {', '.join(lying)}, lost: each file that is written there may overwrite "
            "what a laboratory could still read. Better a folder on another disk"
        )
    if left:
        notes.append(f"{into} is on the same disk as {', '.join(left)}: what is back is no copy apart")
    return notes


def copies_of(studio: Studio) -> dict[str, Path]:
    """Return where copies lie, by what they are called."""
    return {f"the copy {copy.id}": copy.at for copy in studio.copies if copy.at is not None}


def _disk_of(into: Path) -> int | None:
    for here in (into.absolute(), *into.absolute().parents):
        try:
            return here.stat().st_dev
        except OSError:
            continue  # it is still to be made
    return None


def _is_on(disk: int, at: Path) -> bool:
    try:
        return at.stat().st_dev == disk
    except (OSError, ValueError):
        return False


def _kept(studio: Studio) -> dict[str, Path]:
    kept = copies_of(studio)
    kept |= {f"the manifest {path.name}": path for path in studio.manifest_files}
    kept |= {"the studio file": studio.file, "the reports": studio.reports}
    kept |= {} if studio.scratch is None else {"scratch": studio.scratch}
    kept |= {"the ledger": studio.ledger, "the saved headers": headers_folder(studio.ledger)}
    return kept | {f"the ledger's {path.name}": path for path in ledger_files(studio.ledger)}


def _apart(studio: Studio, into: Path, lost: Sequence[str]) -> Mistake | None:
    """Return one mistake for one cause, however much of what the studio has lies there."""
    kept = _kept(studio)
    another = "name a new folder on another disk, one that is not lost and holds no copy"
    inside = next((words for words, root in kept.items() if falls_in(into, root)), None)
    if inside is not None:
        return Mistake(OPTION, str(into), f"falls inside {inside}", another)
    dead = next((id_ for id_, root in _lost_trees(studio, lost) if falls_in(into, root)), None)
    if dead is not None:
        return Mistake(OPTION, str(into), f"lies on the medium of {dead}, which is lost: write nothing to it", another)
    around = [words for words, root in kept.items() if falls_in(root, into)]
    if around:
        more = f" and {len(around) - _NAMED:,} more" if len(around) > _NAMED else ""
        return Mistake(OPTION, str(into), f"has {', '.join(around[:_NAMED])}{more} in it", another)
    return None


def _lost_trees(studio: Studio, lost: Sequence[str]) -> Iterator[tuple[str, Path]]:
    """Yield the lost copies and the folders that are theirs: the whole medium where it is one of its own, else an
    archive's folder."""
    gone = lost_copies(studio, lost)
    for copy in studio.copies:
        if copy.id in gone and copy.at is not None:
            top = top_of(copy.at)
            if top is not None:
                yield copy.id, top
            elif copy.archive is not None:
                yield copy.id, copy.at.parent


def _possible(into: Path) -> Mistake | None:
    try:
        if into.exists() and not into.is_dir():
            return Mistake(OPTION, str(into), "is a file", "name a folder")
        if not into.exists() and not into.absolute().parent.is_dir():
            return Mistake(OPTION, str(into), "the folder that it should be in is not there", "make that one first")
        working = into / WORKING
        if os.path.lexists(working) and (leads_elsewhere(working.lstat()) or not working.is_dir()):
            return Mistake(OPTION, str(working), "is no folder, and its name is needed", "move it away")
    except OSError as error:
        return Mistake(OPTION, str(into), f"cannot be used: {error.strerror}")
    return None


def _one_name_each(shoots: Sequence[Shoot]) -> list[Mistake]:
    """Refuse shoots whose folders would be one: some disks do not tell letters' case apart."""
    taken = {WORKING.casefold(): "the folder of files on their way"}
    mistakes = []
    for shoot in shoots:
        for name in (shoot.id, *(shoot.id + end for end in (AS_PROMISED, IN_PARTS, LIST_OF_MISSING))):
            trouble = name_trouble(name) or (
                f"has the name of {taken[key]}" if (key := name.casefold()) in taken else ""
            )
            if trouble:
                advice = "recover it alone (--shoot) into another folder, or give it another id"
                mistakes.append(Mistake("--shoot", shoot.id, f"its {name} {trouble}", advice))
            taken[name.casefold()] = shoot.id
    return mistakes
