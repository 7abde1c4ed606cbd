"""The guard of the copies: nothing that is written may fall inside one, not even through a link.

Flows in: a studio and the paths that a command is going to write. Flows out: nothing, or Mistakes naming the key or
option to set; where a medium begins. Must not know: what will be written.
"""

import os
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from drill.errors import Mistake, Mistakes
from drill.model import Copy, Studio


def guard_outputs(studio: Studio, outputs: Mapping[str, Path], *, also: Mapping[str, Path] | None = None) -> None:
    """Refuse outputs (name of the key or option → path) inside a copy, a promise, or `also` (words → path).

    Errors: Mistakes.
    """
    mistakes: list[Mistake] = []
    kept = {f"the copy {copy.id}": copy.at for copy in studio.copies if copy.at is not None}
    kept |= {f"the manifest {path.name}": path for path in studio.manifest_files}
    kept |= {"the studio file": studio.file, **(also or {})}
    for option, path in outputs.items():
        for words, root in kept.items():
            if falls_in(path, root):
                how, advice = "falls inside", f"set {option} to a path outside every copy"
                if root.is_file():
                    how, advice = "is", "name another file"
                what = f"{path} {how} {words}, and nothing is ever written there"
                mistakes.append(Mistake(str(studio.file), option, what, advice))
                break
    if mistakes:
        raise Mistakes(mistakes)


def scratch_of(studio: Studio) -> dict[str, Path]:
    """Return where a studio's scratch is, as an output to guard."""
    return {"[studio] scratch": studio.scratch or Path(tempfile.gettempdir())}


def check_scratch(studio: Studio) -> None:
    """Refuse a scratch folder on a disk that is not there: it would be made on another one. Errors: Mistakes."""
    if studio.scratch and not studio.scratch.parent.is_dir():
        what = f"the folder it should be in, {studio.scratch.parent}, is not there"
        raise Mistakes([Mistake(str(studio.file), "studio.scratch", what, "plug that disk in, or name another folder")])


def guard_copies(copies: Iterable[Copy], outputs: Iterable[Path], *, where: str) -> None:
    """Refuse to write to paths inside copies, also through a link. Errors: Mistakes."""
    roots = [copy.at for copy in copies if copy.at is not None]
    mistakes = [
        Mistake(where, str(path), f"falls inside {root}, and nothing is ever written there", "name a folder elsewhere")
        for path in outputs
        for root in roots
        if falls_in(path, root)
    ]
    if mistakes:
        raise Mistakes(mistakes)


def falls_in(path: Path, root: Path) -> bool:
    """Say whether a path is, or lies in, `root`, by name, through links or by being the same folder."""
    real, real_root = Path(os.path.realpath(path)), Path(os.path.realpath(root))
    for candidate in (_named(path), real):
        for inside in (_named(root), real_root):
            if Path(os.path.normcase(candidate)).is_relative_to(os.path.normcase(inside)):
                return True
    # The same folder may be reached by another name: a bind mount, or other case on a file system that ignores it.
    for ancestor in (real, *real.parents):
        try:
            if ancestor.samefile(root):
                return True
        except OSError:
            continue
    return False


def top_of(at: Path) -> Path | None:
    """Return where the medium is mounted that a folder or file lies on; None where that is no medium of its own."""
    real = Path(os.path.realpath(at))
    top = next((here for here in (real, *real.parents) if os.path.ismount(here)), real)
    home = os.path.realpath(os.path.expanduser("~"))  # noqa: PTH111 - Path's own raises where there is no home
    for kept in (home, os.path.realpath(tempfile.gettempdir())):
        if Path(kept).is_relative_to(top):
            return None
    return top


def _named(path: Path) -> Path:
    """Return a path as it is written, without "x/..": by that, all that lies beside x would lie in it."""
    return Path(os.path.normpath(path.absolute()))
