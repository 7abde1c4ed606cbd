"""The record of how the shoots that are there today stand, on paper: one plain value, a part of `drill forecast`'s
JSON.

Flows in: numbers and names from the conductor. Flows out: values and JSON values. Must not know: copies, engines,
terminals. Nothing was read for it: what a list says, what lies there by name, and what readings refuted is all it
knows.
"""

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Fall:
    """What a scenario (and variant) would take of what copies hold of one shoot: files lost on every copy; files in
    doubt, as each copy that is left is a damaged one."""

    scenario: str
    variant: str | None
    lost_files: int
    lost_bytes: int
    doubtful_files: int
    doubtful_bytes: int


@dataclass(frozen=True, slots=True)
class Chance:
    """How likely some of a shoot's files are lost within the record's years, at low, middle and high rates; in
    words."""

    low: float
    middle: float
    high: float
    words: str


@dataclass(frozen=True, slots=True)
class ShootStands:
    """One shoot: what is promised, what no copy holds, and what its weakest files stand.

    `fewest` are the copies of the files that are on the fewest, one such set. `survivable` is how many further failures
    leave every file somewhere, -1 where one is on no copy already; `weakest` the smallest sets that do not, at most 20,
    `weakest_words` the first of them in words.
    `alone`: each event of any kind that by itself takes some of its weakest files, in words.
    `unknown_files` are those of unknown size, which count 0 bytes.
    """

    shoot: str
    date: str
    files: int
    bytes: int
    unknown_files: int
    on_no_copy: int
    fewest: tuple[str, ...]
    survivable: int
    target: int | None
    weakest: tuple[tuple[str, ...], ...]
    weakest_words: str
    chance: Chance
    falls: tuple[Fall, ...]
    alone: tuple[str, ...] = ()

    @property
    def falls_short(self) -> bool:
        """Say whether files are on no copy, a scenario would lose some, or the target for further failures is
        missed."""
        missed = self.target is not None and self.survivable < self.target
        return bool(self.on_no_copy) or missed or any(fall.lost_files for fall in self.falls)


@dataclass(frozen=True, slots=True)
class ScenarioTakes:
    """What one scenario (and variant) would take of all shoots together."""

    scenario: str
    variant: str | None
    title: str
    shoots_hit: int
    lost_files: int
    lost_bytes: int
    doubtful_files: int
    doubtful_bytes: int


@dataclass(frozen=True, slots=True)
class Standing:
    """All shoots, the one most in danger first, and what each scenario would take of them, the costliest first.

    `years` is the span of the chances; `away` the copies that could not be looked into.
    """

    years: int
    shoots: tuple[ShootStands, ...]
    scenarios: tuple[ScenarioTakes, ...]
    not_applicable: tuple[str, ...]
    away: tuple[str, ...]

    @property
    def falls_short(self) -> bool:
        """Say whether any shoot falls short."""
        return any(shoot.falls_short for shoot in self.shoots)


def to_json(found: Standing) -> dict[str, Any]:
    """Return the documented JSON value."""
    shoots = [{**asdict(shoot), "falls_short": shoot.falls_short} for shoot in found.shoots]
    return {**asdict(found), "shoots": shoots, "falls_short": found.falls_short}
