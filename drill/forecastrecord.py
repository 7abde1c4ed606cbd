"""The record of a forecast: what a scheme does to a shoot over time. It is all that its report and picture know.

Flows in: numbers, names, times (RFC 3339), the record of the advice. Flows out: values and JSON text. Must not know:
calendars, engines, terminals. Spans are seconds, counted from the shoot's first picture; None as an end or a moment:
never.
"""

import json
from dataclasses import asdict, dataclass, replace
from typing import Any

from drill.advicerecord import Advice, Comparison, advice_json, comparison_json
from drill.standingrecord import Standing
from drill.standingrecord import to_json as standing_json

SCHEMA = "restore-forecast/1"
MOST_CUT_SETS = 20  # listed of one stage; how many there are is told


@dataclass(frozen=True, slots=True)
class CopyThen:
    """One copy of a shoot in a stage of its life; `through`: the media it came through, the camera's first."""

    medium: str
    kind: str
    place: str
    offsite: bool
    verified: bool
    through: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stage:
    """A stretch of a shoot's life in which its copies stay the same; `distinct` … `verified` are counts.

    `distinct`: a mirror without versions is one with what it mirrors. `offsite`: off-site places. `verified`: copies.
    `survivable`: failures of a medium, a place or an account that it survives whatever they are, as in a drill; -1:
    it is lost. `cut_sets`: the minimal sets of events of all kinds that lose it, smallest first, at most MOST_CUT_SETS;
    `ways` says each in words; `numbers`: how many there are, as (size, number) pairs.
    """

    begins_s: float
    ends_s: float
    begins: str
    ends: str
    away: bool
    copies: tuple[CopyThen, ...]
    distinct: int
    kinds: int
    places: int
    offsite: int
    verified: int
    survivable: int
    cut_sets: tuple[tuple[str, ...], ...]
    ways: tuple[str, ...]
    numbers: tuple[tuple[int, int], ...]

    @property
    def alone(self) -> int:
        """Return how many events there are any one of which loses it; a shoot on no copy needs none."""
        return sum(number for size, number in self.numbers if size <= 1)

    @property
    def in_all(self) -> int:
        """Return how many minimal cut sets there are."""
        return sum(number for _, number in self.numbers)


@dataclass(frozen=True, slots=True)
class First:
    """When something is first so (`what` in words), and from when on to the end of the first year; None: never."""

    what: str
    after_s: float | None
    at: str | None
    for_good_s: float | None


@dataclass(frozen=True, slots=True)
class Target:
    """A target of the studio file that a scheme can tell: what it asks for, whether a shoot meets it whichever day it
    is made on, and why in words, of the shoot of `day`."""

    name: str
    asked: str
    met: bool
    why: str
    day: str


@dataclass(frozen=True, slots=True)
class Exposure:
    """How long in its first year a shoot stands so (`what` in words): in all, the longest stretch, when that begins."""

    name: str
    what: str
    total_s: float
    longest_s: float
    longest_from_s: float | None


@dataclass(frozen=True, slots=True)
class Stretch:
    """What a scenario would come to from `begins_s` to `ends_s`: "held", "lost" or "not about it"; and what is left."""

    begins_s: float
    ends_s: float
    outcome: str
    left: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Band:
    """One scenario (and variant) over a shoot's first year."""

    scenario: str
    variant: str | None
    title: str
    stretches: tuple[Stretch, ...]

    def lost_s(self) -> float:
        """Return for how long in all the scenario would take the shoot."""
        return sum(one.ends_s - one.begins_s for one in self.stretches if one.outcome == "lost")


@dataclass(frozen=True, slots=True)
class Longer:
    """How much longer a shoot stands so in its first year (`what` in words) than the plan has it, in seconds."""

    name: str
    what: str
    more_s: float


@dataclass(frozen=True, slots=True)
class Missed:
    """A step forgotten once, the first time that it would have changed anything: when that was due, from when on all is
    as planned again (`apart_until_s`; None: not in the first year), whether the plan itself then lets go of the last
    copy, and what lacks for longer."""

    step: str
    due: str
    due_s: float
    apart_until_s: float | None
    lost: bool
    longer: tuple[Longer, ...]


@dataclass(frozen=True, slots=True)
class EditsThen:
    """The edits of one step in the first year of a shoot, as all goes by plan: `made` on a medium; how old they are
    when one failure can take them all for the last time (0: never, None: to the end), in words which one, and when
    first off-site (None: never); on which media they are at the end; at which age the plan itself leaves none of them
    (None: it does not). Of shoots of all days of a year: the worst day and that age then, and a day on which the plan
    leaves none. `met`: the targets on all days: `lose_at_most`, and where `further_failures` are asked for, that no
    single one takes them to the end; None where neither is set."""

    step: str
    medium: str
    made: str
    made_s: float
    one_failure_age_s: float | None
    one_failure: str
    offsite_age_s: float | None
    media: tuple[str, ...]
    lost_age_s: float | None
    worst_day: str
    worst_age_s: float | None
    lost_on: str | None
    met: bool | None


@dataclass(frozen=True, slots=True)
class LifeThen:
    """The first year of one shoot: made on `day`, away or at home; `worst` and `settled` are numbers of stages.
    `never_edited` names the steps that edit and that by plan come to nothing in that year."""

    day: str
    away: bool
    begins: str
    ends: str
    home_at: str
    stages: tuple[Stage, ...]
    worst: int
    worst_words: str
    settled: int
    firsts: tuple[First, ...]
    targets: tuple[Target, ...]
    exposures: tuple[Exposure, ...]
    bands: tuple[Band, ...]
    missed: tuple[Missed, ...] = ()
    edits: tuple[EditsThen, ...] = ()
    never_edited: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Day:
    """The worst or the best day of a year to shoot on, by one exposure: how long it lasts on that day."""

    name: str
    what: str
    away: bool
    worst_day: str
    worst_s: float
    best_day: str
    best_s: float


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance that a shoot is lost within `years` at low, middle and high rates; in words; what was left out."""

    which: str
    day: str
    away: bool
    years: int
    low: float
    middle: float
    high: float
    words: str
    left_out: float = 0.0


@dataclass(frozen=True, slots=True)
class Weight:
    """How much one event matters in a stage, if that lasted a year; `raw` or `rrw` is None where it has no end."""

    event: str
    words: str
    chance: float
    birnbaum: float
    criticality: float
    fussell_vesely: float
    raw: float | None
    rrw: float | None


@dataclass(frozen=True, slots=True)
class Weights:
    """The events of one stage of the life of one shoot, the weightiest first."""

    stage: str
    away: bool
    events: tuple[Weight, ...]


@dataclass(frozen=True, slots=True)
class Level:
    """A level that people quote: met once the shoot has settled or not, from when on, and why; its published source."""

    name: str
    row: str
    met: bool | None
    after_s: float | None
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class Rate:
    """How often an event is reckoned with, a year: low, middle, high; where the middle one is from."""

    event: str
    words: str
    low: float
    middle: float
    high: float
    source: str


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a scheme does to a shoot: the timeline of one, the days of a year, the odds, the levels, the advice.

    `verdict` is the first sentences of the report. Of a studio without a scheme only `standing` is told, how its
    shoots stand today: `lives` and what follows from them are empty. `standing`, `advice` and
    `comparison` are None where nobody asked. `zone` is that of local times, None: this computer's. `planned` are the
    media that the plan writes a shoot to, in the order of the studio file. `shoots_a_year` is how many the studio
    makes, `shoots_counted` whether its own shoots say so.
    """

    studio: str
    started: str
    now: str
    day: str
    verdict: str
    lives: tuple[LifeThen, ...]
    days: tuple[Day, ...]
    chances: tuple[Chance, ...]
    weights: tuple[Weights, ...]
    levels: tuple[Level, ...]
    rates: tuple[Rate, ...]
    assumptions: tuple[str, ...]
    unknown: tuple[str, ...]
    not_applicable: tuple[str, ...] = ()
    standing: Standing | None = None
    advice: Advice | None = None
    comparison: Comparison | None = None
    zone: str | None = None
    planned: tuple[str, ...] = ()
    shoots_a_year: int = 0
    shoots_counted: bool = False

    @property
    def falls_short(self) -> bool:
        """Say whether a target is missed, a scenario takes the settled shoot, the plan itself leaves no copy of a
        shoot of some day or of edits, or a shoot of today falls short."""
        today = self.standing is not None and self.standing.falls_short
        dropped = any(day.name == "no_copy" and day.worst_s for day in self.days)
        return today or dropped or any(_falls_short(life) for life in self.lives)


def _falls_short(life: LifeThen) -> bool:
    lost = any(band.stretches and band.stretches[-1].outcome == "lost" for band in life.bands)
    edits = any(one.lost_on is not None or one.met is False for one in life.edits)
    return lost or edits or any(not target.met for target in life.targets)


def to_json(found: Forecast) -> dict[str, Any]:
    """Return the forecast as the documented JSON value."""
    asked = {
        "standing": None if found.standing is None else standing_json(found.standing),
        "advice": None if found.advice is None else advice_json(found.advice),
        "comparison": None if found.comparison is None else comparison_json(found.comparison),
    }
    plain = asdict(replace(found, standing=None, advice=None, comparison=None))
    return {"schema": SCHEMA, "falls_short": found.falls_short, **plain, **asked}


def dump(found: Forecast) -> str:
    """Return the forecast as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(found), indent=1, ensure_ascii=True) + "\n"
