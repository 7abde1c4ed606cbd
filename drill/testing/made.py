"""The folders that were made here, and the guard before anything else: nothing outside of one is ever written to.

Flows in: paths. Flows out: fresh folders, or Mistakes. A folder counts as made here when this very process made it and
it is still the same one (its device and number on it, not its name alone), and a path counts as inside when it really
is there, links followed. Must not know: studios.
"""

import os
import shutil
import tempfile
from pathlib import Path

from drill.errors import Mistake, Mistakes

_MADE: dict[Path, tuple[int, int]] = {}


def fresh(under: Path | None) -> Path:
    """Make a fresh folder inside `under` (default: the system's temporary folder). Errors: OSError."""
    folder = Path(os.path.realpath(tempfile.mkdtemp(prefix="drill-studio-", dir=under)))
    _MADE[folder] = _number(folder)
    return folder


def check_made(folder: Path) -> None:
    """Refuse a folder that was not made here, or is another by now. Errors: Mistakes."""
    known = _MADE.get(folder)
    try:
        same = known is not None and not folder.is_symlink() and _number(folder) == known
    except OSError:
        same = False
    if not same:
        what = "was not made by drill.testing in this process, so nothing in it is touched"
        raise Mistakes([Mistake(str(folder), "", what, "try things out in a studio_folder(), never on real copies")])


def check_inside(folder: Path, path: Path, *, part: Path | None = None) -> None:
    """Refuse a path that is not, links followed, below a folder that was made here, and below that `part` of it.

    Errors: Mistakes.
    """
    check_made(folder)
    real, within = Path(os.path.realpath(path)), folder if part is None else Path(os.path.realpath(part))
    if folder not in real.parents or within not in real.parents:
        what = f"leads to {real}, outside of {within}, so it is not touched"
        raise Mistakes([Mistake(str(path), "", what, "keep the copies of a studio to try things on inside its folder")])


def remove(folder: Path) -> None:
    """Remove a folder that was made here; links in it are removed, never followed. Errors: Mistakes, OSError."""
    check_made(folder)
    shutil.rmtree(folder)
    del _MADE[folder]


def _number(folder: Path) -> tuple[int, int]:
    about = folder.lstat()
    return about.st_dev, about.st_ino
