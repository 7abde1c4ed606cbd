"""Pictures held against a sealed list: which of them are there, to the last byte.

Flows in: a folder, names with digests. Flows out: how many are right, what is wrong with each of the others. Must not
know: the seal. A picture is sought under its listed name first, as sha256sum does; then under the last part of it
anywhere in the folder, since clients put pictures where they like. Its bytes alone decide.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from drill.errors import Mistake, Mistakes
from drill.globs import fold, last_part
from drill.seal.lists import Named
from drill.seal.opening import Refused, digest_of

_MOST_FILES = 1_000_000  # looked through for pictures that are not under their names
_MOST_OF_A_NAME = 20  # read for one picture


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is not as it was sealed: a file's name, and what is wrong with it, to be read after the name."""

    part: str
    what: str


@dataclass(frozen=True, slots=True)
class Compared:
    """Pictures held against a list: how many are right, and what is wrong with the others."""

    right: int
    faults: tuple[Fault, ...]
    is_elsewhere: bool
    """No picture at all was found by its name: most likely it is another folder."""


def compare(folder: Path, listed: Sequence[Named], progress: Callable[[str], None]) -> Compared:
    """Hold the pictures in a folder against a list. Errors: Mistakes where the folder is none."""
    if not folder.is_dir():
        raise Mistakes([Mistake(str(folder), "", "is no folder", "name the folder that the pictures are in")])
    pictures = _Pictures(Path(os.path.realpath(folder)))
    faults: list[Fault] = []
    missing = 0
    for number, (name, digest) in enumerate(listed, 1):
        progress(f"comparing picture {number} of {len(listed)}")
        try:
            if not pictures.has(name, digest):
                faults.append(Fault(name, "has other bytes than those that were listed"))
        except Refused as refused:
            missing += refused.is_missing
            faults.append(Fault(name, str(refused)))
    progress("")
    return Compared(len(listed) - len(faults), tuple(faults), missing == len(listed) > 0)


class _Pictures:
    """A folder of pictures; looked through once, when one is not under its name."""

    def __init__(self, top: Path) -> None:
        self._top = top
        self._by_last_part: dict[str, list[Path]] | None = None

    def has(self, name: str, digest: str) -> bool:
        """Say whether a picture is there with these bytes; False: with others. Errors: Refused."""
        try:
            return self._seen(self._top / name) == digest
        except Refused as refused:
            if not refused.is_missing:
                raise
            others = self._called(name)
            if not others:
                raise
        return any(self._is(path, digest) for path in others)

    def _is(self, path: Path, digest: str) -> bool:
        try:
            return self._seen(path) == digest
        except Refused:
            return False

    def _seen(self, path: Path) -> str:
        """Return the digest of a file, through links that stay in the folder. Errors: Refused."""
        try:
            place = Path(os.path.realpath(path))
        except (OSError, ValueError):
            raise Refused("has a name that this computer cannot open") from None
        if not place.is_relative_to(self._top):
            raise Refused("is a link that leads out of the folder")
        return digest_of(place)

    def _called(self, name: str) -> list[Path]:
        if self._by_last_part is None:
            self._by_last_part = {}
            seen = 0
            for folder, _, files in os.walk(self._top):
                for file in files:
                    self._by_last_part.setdefault(fold(file), []).append(Path(folder, file))
                seen += len(files)
                if seen > _MOST_FILES:
                    break
        return self._by_last_part.get(fold(last_part(name)), [])[:_MOST_OF_A_NAME]
