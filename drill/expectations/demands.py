"""Demands: the [[expect]] and [[accepted]] tables of an expectation file.

Flows in: tables under strict reading. Flows out: frozen values. Must not know: studios, scenarios, records.
"""

from dataclasses import dataclass
from datetime import datetime

from drill import clock
from drill.tables import Table


@dataclass(frozen=True, slots=True)
class Expected:
    """What must hold of the exercises it is of: all where an id is not narrowed down. `at` is its key in the file.

    Without a demand it asks what exit code 0 of a run means: restored, and every target of the studio file met.
    """

    at: str = ""
    shoots: tuple[str, ...] = ()
    scenarios: tuple[str, ...] = ()
    variants: tuple[str, ...] = ()
    classes: tuple[str, ...] = ()
    comes_back: bool = False
    further_failures: int | None = None
    restored_within_s: float | None = None
    verified_within_s: float | None = None

    @property
    def has_demands(self) -> bool:
        """Say whether it says itself what must hold."""
        spans = (self.further_failures, self.restored_within_s, self.verified_within_s)
        return self.comes_back or bool(self.classes) or any(span is not None for span in spans)


@dataclass(frozen=True, slots=True)
class Accepted:
    """A shortfall that is known and accepted until a moment, with the reason; `at` is its key in the file."""

    at: str
    scenario: str
    variants: tuple[str, ...]
    shoots: tuple[str, ...]
    reason: str
    until: datetime


def read_expected(table: Table) -> Expected:
    """Read one [[expect]] table; its mistakes are noted there."""
    expected = Expected(
        at=table.at,
        shoots=table.texts("shoots") or (),
        scenarios=table.texts("scenarios") or (),
        variants=table.texts("variants") or (),
        classes=table.texts("classes") or (),
        comes_back=table.flag("comes_back") or False,
        further_failures=table.whole("further_failures"),
        restored_within_s=table.span_s("restored_within"),
        verified_within_s=table.span_s("verified_within"),
    )
    table.finish()
    if table.raw("comes_back") is False:
        table.wrong("comes_back", "false expects nothing", "leave it out; a known loss is written as [[accepted]]")
    for key in ("further_failures", "restored_within", "verified_within") if expected.classes else ():
        if table.has(key):
            advice = "write it in an [[expect]] of its own, without classes"
            table.wrong(key, "is about a whole shoot, and this table about some classes of its files", advice)
    return expected


def read_accepted(table: Table) -> Accepted | None:
    """Read one [[accepted]] table; its mistakes are noted there, and None is returned where it says too little."""
    scenario, variants = table.text("scenario", required=True), table.texts("variant") or ()
    shoots = table.texts("shoot", required=True)
    reason, until = table.text("reason", required=True), table.time("until", required=True)
    table.finish()
    if scenario is None or shoots is None or reason is None or until is None:
        return None
    return Accepted(table.at, scenario, variants, shoots, " ".join(reason.split()), clock.moment(until))
