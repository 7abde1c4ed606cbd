"""Pictures held against a sealed list: which of them are there, to the last byte.

Flows in: a folder, names with digests. Flows out: how many are right, what is wrong with each of the others. Must not
know: the seal. As sha256sum does, it looks for each picture under its listed name alone.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from drill.errors import Mistake, Mistakes
from drill.seal.lists import Named
from drill.seal.opening import Refused, digest_of


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
    """No picture at all was found under its name: most likely it is not the folder that the names begin in."""


def compare(folder: Path, listed: Sequence[Named], progress: Callable[[str], None]) -> Compared:
    """Hold the pictures in a folder against a list. Errors: Mistakes where the folder is none."""
    if not folder.is_dir():
        raise Mistakes([Mistake(str(folder), "", "is no folder", "name the folder that the pictures are in")])
    top = Path(os.path.realpath(folder))
    faults: list[Fault] = []
    missing = 0
    for number, (name, digest) in enumerate(listed, 1):
        progress(f"comparing picture {number} of {len(listed)}")
        try:
            if _seen(top, name) != digest:
                faults.append(Fault(name, "has other bytes than those that were listed"))
        except Refused as refused:
            missing += refused.is_missing
            faults.append(Fault(name, str(refused)))
    progress("")
    return Compared(len(listed) - len(faults), tuple(faults), missing == len(listed) > 0)


def _seen(top: Path, name: str) -> str:
    """Return the digest of a picture, through links that stay in the folder. Errors: Refused."""
    try:
        place = Path(os.path.realpath(top / name))
    except (OSError, ValueError):
        raise Refused("has a name that this computer cannot open") from None
    if not place.is_relative_to(top):
        raise Refused("is a link that leads out of the folder")
    return digest_of(place)
