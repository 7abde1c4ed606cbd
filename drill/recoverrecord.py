"""The record of a recovery: what is back, under which name, what is still missing and what might bring it back. One
plain value, the JSON of `drill recover`; all that its report knows.

Flows in: numbers and names from the conductor. Flows out: values and JSON text. Must not know: views, files, terminals.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

SCHEMA = "restore-recovery/1"


@dataclass(frozen=True, slots=True)
class LastSeen:
    """A copy that is said to hold a missing file, or was read to: where (its path there), on which medium, and how that
    copy is now: "lost", "away", "refuses", or "here" (it is read, and does not give the promised bytes); `detail` says
    more in words."""

    copy: str
    medium: str
    path: str
    state: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Way:
    """One thing that might bring files back: `how` ("plug_in", "again", "lab", "support", "client", "other_program",
    "look") and `who`, an id or a client's name; empty for "look"."""

    how: str
    who: str


@dataclass(frozen=True, slots=True)
class Missing:
    """One promised file that is not back: `outcome` is "on_paper", "lost", or "not_tried" where the run ended before;
    then nothing is said of it yet."""

    path: str
    kind: str
    outcome: str
    why: str
    last_seen: tuple[LastSeen, ...] = ()
    ways: tuple[Way, ...] = ()


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """One promised file that is back under another name than promised, by its path in the folder, and why."""

    path: str
    put: str
    why: str


@dataclass(frozen=True, slots=True)
class InPart:
    """One missing file of which a part could be had: where the part lies, and how many of its bytes are missing; None
    where all came and some are wrong, and nobody knows which."""

    path: str
    put: str
    bytes_missing: int | None


@dataclass(frozen=True, slots=True)
class ShootBack:
    """One shoot: of `promised` files `found` were there already, `restored` came in this run, the rest is `missing`.

    `bytes` counts what is back. `sources`: by copy, the files that came from it in this run; each of the `stitched` was
    put together from several. `lists` are the checksum lists of what is back, by name in the folder; `not_as_promised`
    what was found standing there under a promised name and has other bytes.
    """

    shoot: str
    client: str | None
    promised: int
    found: int
    restored: int
    bytes: int
    sources: Mapping[str, int]
    stitched: int = 0
    missing: tuple[Missing, ...] = ()
    elsewhere: tuple[Elsewhere, ...] = ()
    in_parts: tuple[InPart, ...] = ()
    lists: tuple[str, ...] = ()
    not_as_promised: tuple[str, ...] = ()

    @property
    def is_back(self) -> bool:
        """Say whether every promised file is there, verified."""
        return self.found + self.restored == self.promised


@dataclass(frozen=True, slots=True)
class Recovery:
    """A whole recovery, complete or as far as it got. `lost` is what was named as lost ("medium:x", "place:y",
    "account:z"); `shoots` are in the order in which they were brought back."""

    studio: str
    started: str
    now: str
    into: str
    lost: tuple[str, ...]
    shoots: tuple[ShootBack, ...]
    bytes_restored: int = 0
    seconds: float = 0.0
    notes: tuple[str, ...] = ()
    unfinished: str | None = None

    @property
    def complete(self) -> bool:
        """Say whether everything was tried."""
        return self.unfinished is None

    @property
    def is_back(self) -> bool:
        """Say whether every promised file that was asked for is there, verified."""
        return all(shoot.is_back for shoot in self.shoots)


def to_json(record: Recovery) -> dict[str, Any]:
    """Return the recovery as the documented JSON value."""
    return {
        "schema": SCHEMA,
        "studio": record.studio,
        "started": record.started,
        "now": record.now,
        "into": record.into,
        "lost": list(record.lost),
        "complete": record.complete,
        "all_back": record.is_back,
        "shoots": [_shoot_json(shoot) for shoot in record.shoots],
        "restored": {"bytes": record.bytes_restored, "seconds": record.seconds},
        "notes": list(record.notes),
        "unfinished": record.unfinished,
    }


def _shoot_json(shoot: ShootBack) -> dict[str, Any]:
    missing = dict.fromkeys(("on_paper", "lost", "not_tried"), 0)
    for file in shoot.missing:
        missing[file.outcome] += 1
    counts = {"promised": shoot.promised, "found": shoot.found, "restored": shoot.restored, **missing}
    return {
        "shoot": shoot.shoot,
        "client": shoot.client,
        "files": counts,
        "bytes": shoot.bytes,
        "sources": dict(shoot.sources),
        "stitched": shoot.stitched,
        "missing": [asdict(file) for file in shoot.missing if file.outcome != "not_tried"],
        "elsewhere": [asdict(file) for file in shoot.elsewhere],
        "in_parts": [asdict(file) for file in shoot.in_parts],
        "lists": list(shoot.lists),
        "not_as_promised": list(shoot.not_as_promised),
    }


def dump(record: Recovery) -> str:
    """Return the recovery as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(record), indent=1, ensure_ascii=True) + "\n"
