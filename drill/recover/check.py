"""Where a recovery may write: a folder of its own, in which no two things want one name.

Flows in: a studio, the folder, the shoots. Flows out: nothing, or mistakes. Must not know: files' contents.
"""

import os
from collections.abc import Sequence
from pathlib import Path

from drill.errors import Mistake, Mistakes
from drill.guard import falls_in
from drill.insurance import headers_folder
from drill.ledger import ledger_files
from drill.model import Shoot, Studio
from drill.recover.home import AS_PROMISED, IN_PARTS, LIST_OF_MISSING, WORKING, name_trouble

OPTION = "--into"


def check_into(studio: Studio, into: Path, shoots: Sequence[Shoot]) -> None:
    """Refuse a folder that is no folder of its own: in a copy or around one, also through a link. Errors: Mistakes."""
    mistakes = [_apart(into, words, root) for words, root in _kept(studio).items()]
    mistakes += [_possible(into), *_one_name_each(shoots)]
    found = [mistake for mistake in mistakes if mistake is not None]
    if found:
        raise Mistakes(found)


def copies_of(studio: Studio) -> dict[str, Path]:
    """Return where copies lie, by what they are called."""
    return {f"the copy {copy.id}": copy.at for copy in studio.copies if copy.at is not None}


def _kept(studio: Studio) -> dict[str, Path]:
    kept = copies_of(studio)
    kept |= {f"the manifest {path.name}": path for path in studio.manifest_files}
    kept |= {"the studio file": studio.file, "the reports": studio.reports}
    kept |= {} if studio.scratch is None else {"scratch": studio.scratch}
    kept |= {"the ledger": studio.ledger, "the saved headers": headers_folder(studio.ledger)}
    return kept | {f"the ledger's {path.name}": path for path in ledger_files(studio.ledger)}


def _apart(into: Path, words: str, root: Path) -> Mistake | None:
    if falls_in(into, root):
        return Mistake(OPTION, str(into), f"falls inside {words}", "name a new folder, outside all that the studio has")
    if falls_in(root, into):
        return Mistake(OPTION, str(into), f"{words} lies in it", f"name a new folder, such as {into / 'recovered'}")
    return None


def _possible(into: Path) -> Mistake | None:
    try:
        if into.exists() and not into.is_dir():
            return Mistake(OPTION, str(into), "is a file", "name a folder")
        if not into.exists() and not into.absolute().parent.is_dir():
            return Mistake(OPTION, str(into), "the folder that it should be in is not there", "make that one first")
        working = into / WORKING
        if os.path.lexists(working) and (working.is_symlink() or not working.is_dir()):
            return Mistake(OPTION, str(working), "is no folder, and its name is needed", "move it away")
    except OSError as error:
        return Mistake(OPTION, str(into), f"cannot be used: {error.strerror}")
    return None


def _one_name_each(shoots: Sequence[Shoot]) -> list[Mistake]:
    """Refuse shoots whose folders would be one: some disks do not tell letters' case apart."""
    taken = {WORKING.casefold(): "the folder of files on their way", LIST_OF_MISSING.casefold(): "the list of files"}
    mistakes = []
    for shoot in shoots:
        for name in (shoot.id, shoot.id + AS_PROMISED, shoot.id + IN_PARTS):
            trouble = name_trouble(name) or (
                f"has the name of {taken[key]}" if (key := name.casefold()) in taken else ""
            )
            if trouble:
                advice = "recover it alone (--shoot) into another folder, or give it another id"
                mistakes.append(Mistake("--shoot", shoot.id, f"its folder {name} {trouble}", advice))
            taken[name.casefold()] = shoot.id
    return mistakes
