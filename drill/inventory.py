"""The record of a survey: one plain value, the JSON of `drill survey`. It is all that its report knows.

Flows in: numbers and names from the conductor. Flows out: values and JSON text. Must not know: views, files, terminals.
A survey lists and never reads: "there" means that a file of that name (and size, where one is known) is there.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from drill.model import OtherBytes, ProofAge

SCHEMA = "restore-survey/1"
LOOKED_INTO = "here"  # the state of a copy whose files or members were listed
HOLD = ("here", "answers", "away")  # states in which what a copy's list names counts


@dataclass(frozen=True, slots=True)
class Tally:
    """Promised files, their bytes, and how many files of unknown size counted 0 bytes."""

    files: int
    bytes: int
    unknown_files: int


@dataclass(frozen=True, slots=True)
class Missing:
    """A name in a copy's list that is not there; `elsewhere` is a file of that name in another folder."""

    path: str
    elsewhere: str | None = None


@dataclass(frozen=True, slots=True)
class OtherSize:
    """A file on a copy that has another size than the promise, the copy's list or the other copies say."""

    path: str
    expected: int
    found: int


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A promised file of which the copies list different sizes, so that one at least is wrong: size by copy."""

    path: str
    sizes: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Lone:
    """A promised file that is on one medium only: the copy, and whether that is only said."""

    path: str
    copy: str
    on_paper: bool


@dataclass(frozen=True, slots=True)
class Unpaired:
    """An original without the companion that most of its shoot's originals have ("sidecar", "jpeg", "raw")."""

    path: str
    lacks: str


@dataclass(frozen=True, slots=True)
class Exposure:
    """Files that are on some copy, but on all of them in one place, on one kind of medium, none of them off-site, or
    on nothing but one medium and its mirrors."""

    one_place: int
    one_kind: int
    none_offsite: int
    only_mirrors: int


@dataclass(frozen=True, slots=True)
class Rule321:
    """Three copies, two kinds of media, one off-site: met by every file, or how many files lack what."""

    met: bool
    files_short: int
    lack_copies: int
    lack_kinds: int
    lack_offsite: int


@dataclass(frozen=True, slots=True)
class Practice:
    """Common practice before leaving the field: three copies; card and tablet alone are not enough."""

    met: bool
    files_short: int
    card_and_tablet_only: int


@dataclass(frozen=True, slots=True)
class Checked:
    """When a shoot was last proved byte for byte, and the target for it: every promised file within that span, on one
    copy at least.

    `last_verified` is the oldest of the files' latest proofs (null: none has one); `never_verified` counts the files
    without any; `copies` tells it copy by copy.
    """

    target_seconds: float | None
    last_verified: str | None
    met: bool
    never_verified: int
    copies: tuple[ProofAge, ...]


@dataclass(frozen=True, slots=True)
class ShootStock:
    """What one shoot promises and where it is. Each promised file is there, only on paper, or on no copy."""

    shoot: str
    date: str
    client: str | None
    promised: Tally
    by_class: Mapping[str, Tally]
    there: int
    on_paper: int
    on_no_copy: tuple[str, ...]
    on_one_copy: tuple[Lone, ...]
    copies: Mapping[str, int]
    places: tuple[str, ...]
    kinds: tuple[str, ...]
    exposure: Exposure
    sizes_disagree: tuple[Disagreement, ...]
    rule_3_2_1: Rule321
    ndsa_storage_level: int
    practice: Practice
    lacks_classes: tuple[str, ...]
    unpaired: tuple[Unpaired, ...]
    colliding: tuple[tuple[str, ...], ...]
    verified: Checked

    @property
    def falls_short(self) -> bool:
        """Say whether promised files are on no copy or of unclear size, or the target for proofs is missed."""
        return bool(self.on_no_copy or self.sizes_disagree) or not self.verified.met


@dataclass(frozen=True, slots=True)
class CopyStock:
    """What one copy is said to hold and what is there. Counts are None where there is no list, or nobody looked.

    `last_verified` is the oldest proof among the promised files there that have one, `never_verified` counts the
    others, but for those that are `refuted`: wrong when they were last read.

    `unlisted` has the folders in it that could not be listed, with the reason: nothing is known of what is in them.
    `headers_kept` says of an archive whether its headers are kept beside the ledger; None for what has none to keep.
    """

    copy: str
    medium: str
    kind: str
    place: str
    form: str | None
    state: str
    reason: str
    listed: int | None
    found: int | None
    promised: int
    there: int
    by_name: int
    missing: Sequence[Missing]
    other_size: tuple[OtherSize, ...]
    other_bytes: tuple[OtherBytes, ...]
    extra: tuple[str, ...]
    expires: str | None
    expires_in_seconds: float | None
    last_verified: str | None
    never_verified: int
    refuted: tuple[str, ...]
    unlisted: tuple[str, ...] = ()
    headers_kept: bool | None = None

    @property
    def expired(self) -> bool:
        """Say whether the link's own date has passed."""
        return self.expires_in_seconds is not None and self.expires_in_seconds <= 0

    @property
    def is_damaged(self) -> bool:
        """Say whether it is an archive that opens and is damaged, as `reason` says."""
        return self.state == LOOKED_INTO and bool(self.reason)

    @property
    def falls_short(self) -> bool:
        """Say whether files are missing, of other size or bytes by its list, or were wrong when last read, or folders
        in it could not be listed; or it is a damaged archive, refuses, or has expired."""
        wrong = self.missing or self.other_size or self.other_bytes or self.unlisted or self.refuted or self.is_damaged
        return bool(wrong) or self.state not in HOLD or self.expired


@dataclass(frozen=True, slots=True)
class Mirror:
    """A medium that copies are on and that only mirrors another: no second copy against deletion and encryption."""

    medium: str
    mirrors: str


@dataclass(frozen=True, slots=True)
class OddRate:
    """A rate in the studio file above a `limit` (bytes a second, of what, and who says so)."""

    medium: str
    reads_at: float
    limit: float
    limit_of: str
    source: str


@dataclass(frozen=True, slots=True)
class ListBeside:
    """A list of digests that lies in a copy's own folder, and nowhere else as far as the studio file says."""

    list: str
    copy: str
    medium: str


@dataclass(frozen=True, slots=True)
class Survey:
    """A whole survey. `notes` are for people: what could not be reached or matched."""

    studio: str
    now: str
    shoots: tuple[ShootStock, ...]
    copies: tuple[CopyStock, ...]
    mirrors: tuple[Mirror, ...] = ()
    rates: tuple[OddRate, ...] = ()
    lists_beside: tuple[ListBeside, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def falls_short(self) -> bool:
        """Say whether any shoot or copy falls short; the rules and practice are advice and do not count."""
        return any(shoot.falls_short for shoot in self.shoots) or any(copy.falls_short for copy in self.copies)


def to_json(survey: Survey) -> dict[str, Any]:
    """Return the survey as the documented JSON value."""
    return {
        "schema": SCHEMA,
        "studio": survey.studio,
        "now": survey.now,
        "falls_short": survey.falls_short,
        "shoots": [asdict(shoot) | {"falls_short": shoot.falls_short} for shoot in survey.shoots],
        "copies": [_copy_json(copy) for copy in survey.copies],
        "mirrors": [asdict(mirror) for mirror in survey.mirrors],
        "rates": [asdict(rate) for rate in survey.rates],
        "lists_beside": [asdict(beside) for beside in survey.lists_beside],
        "notes": list(survey.notes),
    }


def _copy_json(copy: CopyStock) -> dict[str, Any]:
    missing = [asdict(one) for one in copy.missing]
    rest = asdict(replace(copy, missing=()))
    return rest | {"missing": missing, "expired": copy.expired, "falls_short": copy.falls_short}


def dump(survey: Survey) -> str:
    """Return the survey as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(survey), indent=1, ensure_ascii=True) + "\n"
