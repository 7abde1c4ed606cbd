"""The record of a history: one plain value, the JSON of `drill history`. It is all that its report knows.

Flows in: numbers, names and times (RFC 3339) from the comparisons. Flows out: values and JSON text. Must not know: the
ledger, terminals.
"""

import json
from dataclasses import asdict, dataclass
from typing import Any

SCHEMA = "restore-history/1"


@dataclass(frozen=True, slots=True)
class DrillThen:
    """What one drill came to, in the run that was made `at`."""

    run: int
    at: str
    seed: int | None
    verdict: str
    score: float
    lost: int
    survivable: int
    spot_check: bool


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst drill of a run."""

    shoot: str
    scenario: str
    variant: str | None
    verdict: str
    score: float


@dataclass(frozen=True, slots=True)
class RunThen:
    """One past drill run, audit or recovery.

    `at` is when it was made, `seconds` how long it took (None: it was killed). Of a drill run: its `shoots` and
    `scenarios`, how many of its drills fall short, the worst, whether it was of some of the files (`spot_check`). Of an
    audit: the copies it looked at, those it could not reach, how many files of the others were verified, are damaged or
    missing, were not read. Of a recovery: its `shoots`.
    """

    run: int
    kind: str
    at: str
    now: str
    seconds: float | None
    complete: bool
    seed: int | None
    version: str
    shoots: tuple[str, ...] = ()
    scenarios: tuple[str, ...] = ()
    drills: int = 0
    falling_short: int = 0
    worst: Worst | None = None
    copies: tuple[str, ...] = ()
    not_reached: tuple[str, ...] = ()
    verified: int = 0
    damaged: int = 0
    not_read: int = 0
    spot_check: bool = False


@dataclass(frozen=True, slots=True)
class WorseDrill:
    """A scenario that comes out worse for a shoot than the time before."""

    shoot: str
    scenario: str
    variant: str | None
    before: DrillThen
    last: DrillThen


@dataclass(frozen=True, slots=True)
class CopyThen:
    """What one audit came to for a copy, in files."""

    run: int
    at: str
    damaged: int
    verified: int
    not_read: int


@dataclass(frozen=True, slots=True)
class WorseCopy:
    """A copy on which more files are damaged or missing than the time before."""

    copy: str
    before: CopyThen
    last: CopyThen


@dataclass(frozen=True, slots=True)
class SlowerMedium:
    """A medium that was read slower than before: the median of `earlier` readings, and the last one."""

    medium: str
    earlier: int
    median_bps: float
    last_bps: float
    last_at: str


@dataclass(frozen=True, slots=True)
class DueShoot:
    """When a shoot is to be drilled again: `every_seconds` after it was last drilled, at once where it never was.

    `is_target`: the span is its own `verified_within`. `day` is the day of `at` by this computer's time zone; both are
    None where that is outside the calendar.
    """

    shoot: str
    last_drilled: str | None
    every_seconds: float
    is_target: bool
    at: str | None
    day: str | None
    overdue: bool


@dataclass(frozen=True, slots=True)
class Due:
    """When the next drill is due: the soonest of all shoots."""

    at: str | None
    day: str | None
    overdue: bool
    shoots: tuple[DueShoot, ...] = ()


@dataclass(frozen=True, slots=True)
class History:
    """Past drills, audits and recoveries, the newest first; what got worse; what is due."""

    studio: str
    now: str
    due: Due
    runs: tuple[RunThen, ...] = ()
    worse_drills: tuple[WorseDrill, ...] = ()
    worse_copies: tuple[WorseCopy, ...] = ()
    slower_media: tuple[SlowerMedium, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def is_worse(self) -> bool:
        """Say whether anything got worse."""
        return bool(self.worse_drills or self.worse_copies or self.slower_media)

    @property
    def falls_short(self) -> bool:
        """Say whether anything got worse or a drill is overdue; where nothing was ever done, there is no history."""
        return bool(self.runs) and (self.is_worse or self.due.overdue)


def to_json(history: History) -> dict[str, Any]:
    """Return the history as the documented JSON value."""
    return {
        "schema": SCHEMA,
        "studio": history.studio,
        "now": history.now,
        "falls_short": history.falls_short,
        "runs": [asdict(run) for run in history.runs],
        "worse": {
            "drills": [asdict(one) for one in history.worse_drills],
            "copies": [asdict(one) for one in history.worse_copies],
            "media": [asdict(one) for one in history.slower_media],
        },
        "due": asdict(history.due),
        "notes": list(history.notes),
    }


def dump(history: History) -> str:
    """Return the history as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(history), indent=1, ensure_ascii=True) + "\n"
