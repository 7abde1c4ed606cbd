"""The demo: an invented photo studio with real image files, copies, archives, links, and the damage life does.

Flows in: a new or empty folder, where its links begin, the present moment. Flows out: files below that folder and
notes on what was planted where. Must not know: how drills are run or reported. Everything in it is invented.
"""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from drill.demo.example import studio_text
from drill.demo.links import LinkServer
from drill.demo.placing import place
from drill.demo.studio import draw_shoots
from drill.errors import Mistake, Mistakes, Unfinished

__all__ = ["DemoLayout", "LinkServer", "lay_out", "served_folder"]


@dataclass(frozen=True, slots=True)
class DemoLayout:
    """What was laid out: the folder, its studio file, and in plain words which damage and gaps were planted where."""

    folder: Path
    studio_file: Path
    notes: tuple[str, ...]


def served_folder(folder: Path) -> Path:
    """Return the folder that the demo's link server has to serve, so that its links work."""
    return folder / "media"


def lay_out(folder: Path, *, link_base: str, now: datetime) -> DemoLayout:
    """Lay the invented studio out below `folder`, which is new or empty; the same input lays out the same bytes.

    `link_base` is a link server's `base`; shoot dates and link expiry follow from `now` (aware).
    Errors: Mistakes when the folder is a file or holds something, Unfinished when it cannot be written.
    """
    _check_empty(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        shoots = draw_shoots(now)
        notes = place(folder, shoots)
        studio_file = folder / "studio.toml"
        studio_file.write_bytes(studio_text(shoots, link_base=link_base.rstrip("/"), now=now).encode("utf-8"))
    except OSError as error:
        raise Unfinished(f"the demo could not be laid out in {folder}: {error.strerror or error}") from error
    return DemoLayout(folder, studio_file, notes)


def _check_empty(folder: Path) -> None:
    what = ""
    try:
        if folder.is_dir():
            what = "holds something already" if any(folder.iterdir()) else ""
        elif folder.exists() or folder.is_symlink():
            what = "is not a folder"
    except OSError as error:
        what = f"cannot be looked into ({error.strerror or error})"
    if what:
        raise Mistakes([Mistake(str(folder), "", what, "name a new or an empty folder")])
