"""The stage: all copies under one scenario and variant, set once and used for every shoot.

Flows in: opened copies, a scenario, the seed. Flows out: for each copy whether it can be used, is on paper, or is
out, and why. Must not know: shoots, verdicts.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from drill.faults import Fate, Faulted, Worst, aim, lay_over
from drill.faults.apply import hides
from drill.globs import matcher
from drill.model import Entry, Scenario, Studio
from drill.shelf import OpenCopy, State


@dataclass(frozen=True, slots=True)
class Stage:
    """One scenario's world: usable copies under their faults, copies on paper with what is hidden, the rest and why."""

    scenario: Scenario
    variant: str | None
    fates: Mapping[str, Fate]
    usable: Mapping[str, Faulted]
    away: frozenset[str]  # cannot be reached, and left by the scenario
    takes: Mapping[str, Callable[[str], bool]]  # id → whether the scenario takes a listed path away from paper
    out: Mapping[str, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Return the scenario's name with its variant, as folders and messages use it."""
        return folder_name(self.scenario.name, self.variant)


def folder_name(scenario: str, variant: str | None) -> str:
    """Return a drill's name as folders and messages use it."""
    return scenario if variant is None else f"{scenario}--{variant}"


def set_stage(
    studio: Studio,
    scenario: Scenario,
    variant: str | None,
    *,
    copies: Mapping[str, OpenCopy],
    seed: int,
    worst: Worst,
) -> Stage:
    """Lay a scenario over all copies."""
    fates = aim(scenario, studio, variant)
    usable: dict[str, Faulted] = {}
    away: set[str] = set()
    out: dict[str, str] = {}
    for id_, found in copies.items():
        fate = fates[id_]
        if fate.removed is not None:
            out[id_] = fate.removed
        elif found.state is State.REFUSES:
            out[id_] = f"{id_}: {found.reason}"
        elif found.state is State.HERE:
            usable[id_] = lay_over(found, fate, seed=f"{seed}\x1f{scenario.name}", others=copies, worst=worst)
        elif fate.takes_all:
            out[id_] = f"{id_} is taken as a whole"
        else:
            away.add(id_)
    takes = {id_: _taken_from_paper(copies[id_], fates[id_]) for id_ in (*away, *usable)}
    return Stage(scenario, variant, fates, usable, frozenset(away), takes, out)


def _taken_from_paper(found: OpenCopy, fate: Fate) -> Callable[[str], bool]:
    """Say of a listed name whether the scenario takes it away. Byte effects leave it: what they hit is not known."""
    if fate.takes_all:
        return lambda path: True
    listed = [Entry(item.path, item.size) for item in found.copy.listed or ()]
    gone = hides(listed, found, fate.blows)
    covers = [matcher(b.hazard.files) for b in fate.blows if b.hazard.effect == "encrypted" and b.hazard.files]
    return lambda path: path in gone or any(matches(path) for matches in covers)
