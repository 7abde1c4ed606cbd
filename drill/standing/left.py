"""Left: what a scenario leaves of the copies, as bits: whole, damaged somewhere, or gone.

Flows in: a studio, scenarios. Flows out: for each scenario and variant the copies it leaves. Must not know: files.
The pessimistic reading: what damages bytes, or takes some files and not others, may have hit any file of that copy, as
nothing is drawn and nothing is looked at here.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from drill.faults import Fate, aim, applies, variants
from drill.masks import Left
from drill.model import Scenario, Studio


@dataclass(frozen=True, slots=True)
class Aimed:
    """A scenario in one of its variants, and what it leaves."""

    scenario: Scenario
    variant: str | None
    left: Left


def aimed(studio: Studio, scenarios: Iterable[Scenario]) -> list[Aimed]:
    """Aim all scenarios that apply, in all their variants; bit n is the n-th copy of the studio file."""
    return [
        Aimed(scenario, variant, left_of(aim(scenario, studio, variant).values()))
        for scenario in scenarios
        if applies(scenario, studio)
        for variant in variants(scenario, studio)
    ]


def left_of(fates: Iterable[Fate]) -> Left:
    """Return which of these copies, in the order of their bits, are whole and which are damaged."""
    whole = damaged = 0
    for bit, fate in enumerate(fates):
        if fate.removed is None and not fate.takes_all:
            if fate.blows:
                damaged |= 1 << bit
            else:
                whole |= 1 << bit
    return Left(whole, damaged)
