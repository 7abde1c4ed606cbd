"""Inside: what the studio file itself names inside the folder of a copy: lists, archives and folders of other copies.

Flows in: a copy, the studio. Flows out: paths below the copy's folder. Must not know: what lies there. Such files are
no pictures too many: they are taken stock of, or audited, as what they are.
"""

from dataclasses import dataclass
from pathlib import Path

from drill.model import Copy, Studio


@dataclass(frozen=True, slots=True)
class Inside:
    """Paths inside a copy that the studio file names: single files, and folders of other copies (ending in a slash)."""

    files: frozenset[str] = frozenset()
    folders: tuple[str, ...] = ()

    def has(self, path: str) -> bool:
        """Say whether a file of the copy is one of these, or lies in one of the folders."""
        return path in self.files or path.startswith(self.folders)


def named_inside(copy: Copy, studio: Studio) -> Inside:
    """Return what the studio file names inside a copy; nothing for archives, links, and copies out of reach."""
    at = copy.at
    if at is None or copy.form != "folder":
        return Inside()
    others = [other for other in studio.copies if other.at is not None and other.at != at]
    files = [*studio.manifest_files, *(other.at for other in others if other.form == "archive")]
    folders = [other.at for other in others if other.form == "folder"]

    def below(path: Path | None) -> str | None:
        return path.relative_to(at).as_posix() if path is not None and path.is_relative_to(at) else None

    return Inside(
        frozenset(path for path in map(below, files) if path is not None),
        tuple(f"{path}/" for path in map(below, folders) if path is not None),
    )
