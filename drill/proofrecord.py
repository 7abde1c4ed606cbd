"""The record of a proof: what a letter to one client rests on. One plain value, the `record.json` beside the letter; it
is all that the letter knows.

Flows in: numbers, dates and names from the conductor. Flows out: values and JSON text. Must not know: the ledger,
copies, terminals. Nothing private is in it: no id, address or path of a copy, a medium or a place, no other client's
or shoot's name, and no name of a scenario that is not one of the shipped ones.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

SCHEMA = "restore-proof/1"
DELIVERABLES, ORIGINALS, EDITS, OTHER = SORTS = ("deliverables", "originals", "edits", "other")
OWN = "own"  # stands for every scenario that is not a shipped one: its name may say anything

SHORTFALLS = (
    "drill_later",
    "never_drilled",
    "drill_incomplete",
    "drill_spot",
    "drill_old",
    "drill_unknown",
    "promise_changed",
    "drill_short",
    "not_rehearsed",
    "audit_later",
    "never_audited",
    "audit_old",
    "damaged",
    "not_read",
    "no_checksum",
)


@dataclass(frozen=True, slots=True)
class Shortfall:
    """One thing that the proof falls short in, for one shoot; `what` is one of SHORTFALLS.

    `at` is when that was (RFC 3339), `limit_s` the age that it is beyond, in seconds. "drill_short": in `count` of `of`
    drills of `scenario`; "not_rehearsed": `count` of `of` drills of `scenario` were not made in time;
    "promise_changed": `count` files then, `of` now; "damaged", "not_read", "no_checksum": `count` of `of` files.
    """

    shoot: str
    what: str
    at: str | None = None
    limit_s: float | None = None
    count: int = 0
    of: int = 0
    scenario: str | None = None


@dataclass(frozen=True, slots=True)
class Back:
    """Files of one sort: how many were promised when they were drilled (now, where they never were), and how many of
    these came back byte for byte in the drill that got fewest."""

    promised: int
    came_back: int


@dataclass(frozen=True, slots=True)
class Kept:
    """Where files are or came from: how many separate media of each kind, in how many places, and when the oldest of
    these readings was (RFC 3339; None where that is not asked)."""

    kinds: Mapping[str, int]
    places: int
    oldest: str | None = None

    @property
    def media(self) -> int:
        """Return how many separate media that are."""
        return sum(self.kinds.values())


@dataclass(frozen=True, slots=True)
class Took:
    """Seconds of the drill that took longest, measured here; of a real restore, projected; today's target for that."""

    measured: float
    projected: float
    target: float | None


@dataclass(frozen=True, slots=True)
class ShootProof:
    """What is known of one shoot. Times are RFC 3339; None where it was never drilled or audited.

    `survivable` is how many more failures it would still have outlived in the worst of its `drills`, -1 where something
    was lost already. `read_on`: the media on which every delivered and original file was last read and found right.
    """

    shoot: str
    date: str
    drilled: str | None
    audited: str | None
    drills: int
    all_back: int  # in so many of them every promised file came back
    back: Mapping[str, Back]
    restored_from: Kept
    read_on: Kept
    took: Took | None
    survivable: int | None
    scenarios: Mapping[str, int]  # shipped name, or OWN → in how many drills


@dataclass(frozen=True, slots=True)
class Checksum:
    """One delivered file, as the client has it: its name in the list, its SHA-256, and where that is from: "promise",
    the list made when it was promised, or "read", read now from a copy that has the promised bytes."""

    name: str
    sha256: str
    source: str


@dataclass(frozen=True, slots=True)
class Proof:
    """A whole proof, or what stands against one. `issued` is the moment that counted as now."""

    studio: str
    client: str | None
    issued: str
    version: str
    shoots: tuple[ShootProof, ...]
    shortfalls: tuple[Shortfall, ...] = ()
    checksums: tuple[Checksum, ...] = ()

    @property
    def falls_short(self) -> bool:
        """Say whether anything is not as it should be."""
        return bool(self.shortfalls)


def to_json(proof: Proof) -> dict[str, Any]:
    """Return the proof as the documented JSON value."""
    return {
        "schema": SCHEMA,
        "studio": proof.studio,
        "client": proof.client,
        "issued": proof.issued,
        "version": proof.version,
        "falls_short": proof.falls_short,
        "shortfalls": [asdict(one) for one in proof.shortfalls],
        "shoots": [asdict(one) for one in proof.shoots],
        "deliverables": [asdict(one) for one in proof.checksums],
    }


def dump(proof: Proof) -> str:
    """Return the proof as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(proof), indent=1, ensure_ascii=True) + "\n"
