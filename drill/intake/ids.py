"""The id of a shoot: its folder's name as the best copy has it, or a fuller one of another copy, else its day.

Flows in: a group, its base copy, its day. Flows out: an id nobody has. Must not know: promises.
"""

import re
from collections.abc import Collection
from datetime import date

from drill import naming
from drill.intake.shoots import Group

_DEVICE = re.compile(r"con|prn|aux|nul|com[0-9]|lpt[0-9]")  # no file can be named so, whatever its ending


def shoot_name(group: Group, base: str, day: date | None, *, taken: Collection[str]) -> str:
    """Return an id for a shoot that is not `taken`, nor reads like a copy's list (`on-…`) or a Windows device."""
    folders = sorted(group.folders, key=lambda key: key[0] != base)
    stem = ""
    for _, names in folders:
        stem = naming.slug(names[-1])
        if stem and any(char.isalpha() for char in stem):
            break
    fuller = (naming.slug(names[-1]) for _, names in folders)
    stem = max((slug for slug in fuller if f"-{stem}-" in f"-{slug}-"), key=len, default=stem) if stem else stem
    stem = stem or (day.isoformat() if day is not None else "undated")
    if stem in taken and day is not None and day.isoformat() not in stem:
        stem = f"{stem}-{day.isoformat()}"
    if stem.startswith("on-") or _DEVICE.fullmatch(stem):
        stem = f"shoot-{stem}"
    number, id_ = 1, stem
    while id_ in taken:
        number += 1
        id_ = f"{stem}-{number}"
    return id_
