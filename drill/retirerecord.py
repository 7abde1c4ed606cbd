"""The record of a retirement: may a medium be let go? One plain value, the JSON of `drill retire`; all that its report
knows.

Flows in: numbers and names from the conductor. Flows out: values and JSON text. Must not know: views, files, terminals.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

SCHEMA = "restore-retire/1"


@dataclass(frozen=True, slots=True)
class Named:
    """A file, by its path on `where` (a copy, or the shoot that promises it), and what is to be said of it."""

    where: str
    path: str
    detail: str


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason to keep the medium: its kind, the shoot it is about, in words, and the files.

    `why`: "not_known" (what is on it cannot be told), "extra" (files that no promise knows), "unreadable", "not_read"
    (not tried yet), "needed" (it holds what the studio itself needs), "not_verified" (promised files that nothing else
    was seen to hold), "weak" (their digests are too short to prove anything), "too_few" (too few failures would be
    survived), "too_slow".
    """

    why: str
    shoot: str | None
    detail: str
    files: tuple[Named, ...] = ()


@dataclass(frozen=True, slots=True)
class Contents:
    """The files on the medium and on what goes with it: promised ones, those of systems, cameras and lists (`own`),
    those that no promise knows, and those that could not be read."""

    files: int
    bytes: int
    promised: int
    own: int
    extra: int
    unreadable: int


@dataclass(frozen=True, slots=True)
class ShootLeft:
    """What is left of a shoot without the medium.

    Of `at_stake` promised files that are, or are said to be, on it, `verified` were verified elsewhere: `read_now` in
    this run, the others by earlier readings, the oldest at `oldest`. `fewest` is the least number of other media that
    one of them was verified on; `media_left` counts those too that are only said to hold it. Of the further failures
    `survivable` is -1 where a file was verified nowhere; `weakest` lists all sets of one more. Losing one of `places`,
    or one of `accounts`, takes a copy on which some of it was verified. Spans in seconds.
    """

    shoot: str
    at_stake: int
    bytes: int
    verified: int
    read_now: int
    oldest: str | None
    sources: dict[str, int]
    fewest: int
    media_left: int
    survivable: int
    survivable_target: int | None
    weakest: tuple[tuple[str, ...], ...]
    projected_s: float
    target_s: float | None
    verified_within_s: float | None
    places: tuple[str, ...] = ()
    accounts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Retirement:
    """A whole answer. `may_go` is None where it could not be finished; then the medium must be kept.

    `with_it` are media that cannot be read without it, `not_counted` others that are no other copy, with the reason.
    `would_help` has the copies that are not here, with how many of the files that lack a proof each is said to hold.
    `but` says what would be left too close together, whatever the answer; `damaged` are files on other copies that were
    found wrong or unreadable, and `mendable` the shoots in too few places for which mending these would be enough.
    """

    studio: str
    medium: str
    kind: str
    started: str
    now: str
    may_go: bool | None
    reasons: tuple[Reason, ...]
    shoots: tuple[ShootLeft, ...]
    contents: Contents
    with_it: tuple[str, ...] = ()
    not_counted: tuple[tuple[str, str], ...] = ()
    bytes_read: int = 0
    files_read: int = 0
    seconds: float = 0.0
    would_help: Mapping[str, int] = field(default_factory=dict)
    but: tuple[str, ...] = ()
    damaged: tuple[Named, ...] = ()
    mendable: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    unfinished: str | None = None

    @property
    def complete(self) -> bool:
        """Say whether it came to an answer."""
        return self.unfinished is None


def to_json(record: Retirement) -> dict[str, Any]:
    """Return the answer as the documented JSON value."""
    answer = {None: None, True: "yes", False: "no"}[record.may_go]
    return {
        "schema": SCHEMA,
        "studio": record.studio,
        "medium": record.medium,
        "kind": record.kind,
        "started": record.started,
        "now": record.now,
        "complete": record.complete,
        "answer": answer,
        "reasons": [asdict(reason) for reason in record.reasons],
        "shoots": [_shoot_json(shoot) for shoot in record.shoots],
        "contents": asdict(record.contents),
        "with_it": list(record.with_it),
        "not_counted": [{"medium": medium, "why": why} for medium, why in record.not_counted],
        "would_help": dict(record.would_help),
        "read": {"files": record.files_read, "bytes": record.bytes_read, "seconds": record.seconds},
        "but": list(record.but),
        "damaged": [asdict(file) for file in record.damaged],
        "mendable": list(record.mendable),
        "cautions": list(record.cautions),
        "notes": list(record.notes),
        "unfinished": record.unfinished,
    }


def _shoot_json(shoot: ShootLeft) -> dict[str, Any]:
    return {
        "shoot": shoot.shoot,
        "files": {"at_stake": shoot.at_stake, "verified": shoot.verified, "read_now": shoot.read_now},
        "bytes": shoot.bytes,
        "oldest_proof": shoot.oldest,
        "sources": shoot.sources,
        "media": {"verified": shoot.fewest, "left": shoot.media_left},
        "further_failures": {
            "survivable": shoot.survivable,
            "target": shoot.survivable_target,
            "weakest": [list(each) for each in shoot.weakest],
        },
        "places": list(shoot.places),
        "accounts": list(shoot.accounts),
        "seconds": {"projected": shoot.projected_s, "target": shoot.target_s},
        "verified_within": shoot.verified_within_s,
    }


def dump(record: Retirement) -> str:
    """Return the answer as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(record), indent=1, ensure_ascii=True) + "\n"
