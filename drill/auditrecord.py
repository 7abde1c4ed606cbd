"""The record of an audit: one plain value, the JSON of `drill audit`. It is all that its report knows.

Flows in: numbers and names from the conductor. Flows out: values and JSON text. Must not know: views, files, terminals.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from drill.model import OtherBytes

SCHEMA = "restore-audit/1"
OUTCOMES = ("verified", "altered", "unreadable", "missing", "extra", "opens", "cannot_check", "not_read")
DAMAGE = ("altered", "unreadable", "missing")


@dataclass(frozen=True, slots=True)
class Intact:
    """Where the right bytes of a damaged file are: on which copy, under which path, and when that was last proved.

    `verified` is RFC 3339; None where only a list says so. `by_name`: the list's digests lead to no promise, and the
    one promised file of that name and folder is held there.
    """

    copy: str
    path: str
    verified: str | None
    by_name: bool = False


@dataclass(frozen=True, slots=True)
class FileResult:
    """One file of a copy that is not verified, and why.

    `ranges` are the bytes that cannot be read, as [from, to) pairs; `intact` where the right ones are, best first.
    """

    path: str
    outcome: str
    detail: str
    ranges: tuple[tuple[int, int], ...] = ()
    intact: tuple[Intact, ...] = ()

    @property
    def is_damage(self) -> bool:
        """Say whether the promised bytes are not to be had here."""
        return self.outcome in DAMAGE


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """What other copies hold of the `promised` files: `verified` by a reading, the `oldest` of these (RFC 3339), `said`
    by a list alone; `nowhere` are those that no other copy is known to hold."""

    promised: int
    verified: int
    oldest: str | None
    said: int
    nowhere: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sample:
    """What a spot check of one copy shows: of `files`, `sampled` were read and `bad` of them found damaged.

    At that confidence at most `bad_at_most` of all are bad, and between `low` and `high` of them (two-sided).
    """

    files: int
    sampled: int
    bad: int
    confidence: float
    bad_at_most: int
    estimate: float
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class CopyResult:
    """What an audit found on one copy.

    `counts` has every one of OUTCOMES. `continued` of the verified files were read by an audit that was cut short.
    `reason` says why a copy was not reached, refuses, or vanished, or how an archive that opens is damaged; `refuses`
    that it was reached and gives nothing, `is_broken` of these that it is an archive too damaged to be opened. Then its
    only file is the archive itself where it has no list, and `elsewhere` says what other copies hold. `headers_kept`:
    its headers are kept beside the ledger.
    `other_bytes` are names of its own list that have other bytes there than promised, whatever their outcome.
    """

    copy: str
    medium: str
    reached: bool
    counts: Mapping[str, int]
    bytes_read: int
    seconds: float
    files: Sequence[FileResult]
    reason: str = ""
    refuses: bool = False
    continued: int = 0
    unlisted: tuple[str, ...] = ()
    sample: Sample | None = None
    other_bytes: tuple[OtherBytes, ...] = ()
    is_archive: bool = False
    has_list: bool = True
    is_broken: bool = False
    elsewhere: Elsewhere | None = None
    headers_kept: bool = False

    @property
    def damaged(self) -> int:
        """Return how many files are damaged or missing; a whole archive is none of them."""
        return 0 if self.elsewhere is not None else sum(self.counts[outcome] for outcome in DAMAGE)

    @property
    def is_damaged(self) -> bool:
        """Say whether it is an archive that opens and is damaged."""
        return self.reached and not self.refuses and bool(self.reason)


@dataclass(frozen=True, slots=True)
class Group:
    """Copies of a file that are alike: `files` are (copy, path) pairs, `looks` what a look inside came to and why.

    `unreadable` are the bytes that cannot be read, as [from, to) pairs; from `stopped_at` on nothing more was tried.
    """

    files: tuple[tuple[str, str], ...]
    size: int
    looks: str
    detail: str
    unreadable: tuple[tuple[int, int], ...] = ()
    stopped_at: int | None = None


@dataclass(frozen=True, slots=True)
class Between:
    """How two groups, by number, differ: see `drill.comparing.Difference`; `words` say it to people.

    `beginning` is the group that is the other one cut short, None where neither is.
    """

    groups: tuple[int, int]
    ranges: tuple[tuple[int, int], ...]
    ranges_left_out: int
    same_until: int | None
    zeroed: tuple[int, int]
    flipped: int
    beginning: int | None
    words: str


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Copies of one file that differ, where no promise says what is right: a judgement, never a proof.

    `likely_right` is a group's number, None where that cannot be told. `is_one_file` is false where nothing in them is
    alike. Without groups it was not compared, and `judgement` says why.
    """

    name: str
    copies: tuple[str, ...]
    groups: tuple[Group, ...]
    between: tuple[Between, ...]
    likely_right: int | None
    judgement: str
    hint: str = ""
    is_one_file: bool = True


@dataclass(frozen=True, slots=True)
class Audit:
    """A whole audit. `named` are the copies that were asked for by id; `notes` are for people.

    `limit` says in words what was asked to be read, empty for everything.
    """

    studio: str
    started: str
    now: str
    seed: int
    complete: bool
    copies: tuple[CopyResult, ...]
    named: tuple[str, ...] = ()
    limit: str = ""
    notes: tuple[str, ...] = ()
    unfinished: str | None = None
    disagreements: tuple[Disagreement, ...] = ()

    @property
    def falls_short(self) -> bool:
        """Say whether damage was found, a copy gives nothing or not all, or one that was named was not reached."""
        wrong = (copy.damaged or copy.refuses or copy.is_damaged or copy.unlisted for copy in self.copies)
        return any(wrong) or any(not copy.reached and copy.copy in self.named for copy in self.copies)


def to_json(audit: Audit) -> dict[str, Any]:
    """Return the audit as the documented JSON value."""
    return {
        "schema": SCHEMA,
        "studio": audit.studio,
        "started": audit.started,
        "seed": audit.seed,
        "complete": audit.complete,
        "copies": [_copy_json(copy) for copy in audit.copies],
        "now": audit.now,
        "falls_short": audit.falls_short,
        "limit": audit.limit,
        "notes": list(audit.notes),
        "unfinished": audit.unfinished,
        "disagreements": [asdict(one) | {"proof": False} for one in audit.disagreements],
    }


def _copy_json(copy: CopyResult) -> dict[str, Any]:
    return {
        "copy": copy.copy,
        "reached": copy.reached,
        "counts": {outcome: copy.counts[outcome] for outcome in OUTCOMES},
        "bytes_read": copy.bytes_read,
        "seconds": copy.seconds,
        "files": [_file_json(file) for file in copy.files],
        "medium": copy.medium,
        "reason": copy.reason,
        "refuses": copy.refuses,
        "continued": copy.continued,
        "unlisted": list(copy.unlisted),
        "sample": None if copy.sample is None else asdict(copy.sample),
        "other_bytes": [asdict(one) for one in copy.other_bytes],
        "is_broken": copy.is_broken,
        "elsewhere": None if copy.elsewhere is None else asdict(copy.elsewhere),
        "headers_kept": copy.headers_kept,
    }


def _file_json(file: FileResult) -> dict[str, Any]:
    value: dict[str, Any] = {"path": file.path, "outcome": file.outcome, "detail": file.detail}
    if file.ranges:
        value["ranges"] = [list(pair) for pair in file.ranges]
    if file.is_damage:
        value["intact"] = [asdict(one) for one in file.intact]
    return value


def dump(audit: Audit) -> str:
    """Return the audit as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(audit), indent=1, ensure_ascii=True) + "\n"
