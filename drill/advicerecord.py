"""The record of the advice on a scheme, and of two schemes side by side: plain values, parts of `drill forecast`'s
JSON.

Flows in: numbers and sentences. Flows out: values and JSON values. Must not know: schemes, engines, terminals.
"""

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Tried:
    """One single change, tried: `kind` groups changes alike, `what` is a sentence that says what to do.

    `before` and `after` are the chances that the shoot is lost within its first year, `ten_before` and `ten_after`
    within ten years (None: not reckoned for this one), all at middle rates; `words_before` and `words_after` the first
    two in words. `one_copy_s` and `onsite_s` say how much less of that year it stands on one copy alone, and with
    nothing off-site, in seconds. `money` is what it costs a year, None where no price is given; `minutes` of one's
    own time a year. `room`: bytes more that it keeps on media that are there, at any time, or each year where it is
    kept for good (`money` is None then: how much a medium holds is not known).
    """

    kind: str
    what: str
    before: float
    after: float
    words_before: str
    words_after: str
    ten_before: float | None
    ten_after: float | None
    one_copy_s: float
    onsite_s: float
    money: float | None
    minutes: float
    room: int = 0

    @property
    def removes(self) -> float:
        """Return the share of the first year's risk that it removes; below 0 where it adds some."""
        return 1 - self.after / self.before if self.before > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Advice:
    """Single changes to a scheme, for a shoot made on `day`: those that help, the best first, and those that do not.

    `priced`: the order is by risk removed for what it costs; else, as the studio file has no [costs], by risk removed
    alone. `shoots_a_year` is what minutes are reckoned with, `counted` whether the studio's own shoots say so.
    """

    day: str
    away: bool
    currency: str
    hour: float
    priced: bool
    shoots_a_year: int
    counted: bool
    helps: tuple[Tried, ...]
    hardly: tuple[Tried, ...]

    @property
    def most(self) -> Tried | None:
        """Return the change that removes most of the risk, whatever it costs; None where none helps."""
        return max(self.helps, key=lambda one: one.removes, default=None)


@dataclass(frozen=True, slots=True)
class Compared:
    """One measure of two schemes. `unit`: "chance", "seconds", "moment" (seconds from the first picture; null is
    never), "failures" or "met" (0 or 1). `change` says what the other scheme makes of it: "better", "worse", "same", or
    "not both", where only one of them can be asked (its value in the other is null)."""

    group: str
    what: str
    unit: str
    one: float | None
    other: float | None
    change: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two schemes side by side, by the names of their studios, on every measure and scenario."""

    one: str
    other: str
    rows: tuple[Compared, ...]

    def of(self, change: str) -> tuple[Compared, ...]:
        """Return the measures that changed in a way."""
        return tuple(row for row in self.rows if row.change == change)


def advice_json(advice: Advice) -> dict[str, Any]:
    """Return the documented JSON value of the advice."""

    def tried(changes: tuple[Tried, ...]) -> list[dict[str, Any]]:
        return [{**asdict(change), "removes": change.removes} for change in changes]

    return {**asdict(advice), "helps": tried(advice.helps), "hardly": tried(advice.hardly)}


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """Return the documented JSON value of a comparison."""
    return asdict(comparison)
