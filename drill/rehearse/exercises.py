"""Exercises: which drills a studio and scenarios come to, before anything is opened.

Flows in: a studio, scenarios, shoots. Flows out: one exercise for each shoot, scenario and variant. Must not know:
copies' contents, records.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from drill.errors import Mistake, Mistakes
from drill.faults import applies, variants
from drill.model import Scenario, Shoot, Studio
from drill.rehearse.stage import folder_name
from drill.tables import repeated


@dataclass(frozen=True, slots=True, eq=False)
class Exercise:
    """A drill still to be made: one shoot under one scenario, and its variant where the scenario has any."""

    shoot: Shoot
    scenario: Scenario
    variant: str | None

    @property
    def key(self) -> tuple[str, str, str | None]:
        """Return the ids of shoot, scenario and variant, which no other exercise of a run has."""
        return self.shoot.id, self.scenario.name, self.variant


def fitting(studio: Studio, scenarios: Sequence[Scenario]) -> list[Scenario]:
    """Return the scenarios that hit anything in this studio. Errors: Mistakes, where none does or names collide."""
    found = [scenario for scenario in scenarios if applies(scenario, studio)]
    if not found:
        what = "no scenario hits anything in this studio: " + ", ".join(s.name for s in scenarios)
        raise Mistakes([Mistake(str(studio.file), "--scenario", what, "name others, or add the media they are about")])
    # Kept files of two drills would lie in one folder: x--m beside x with variant m.
    same = repeated(folder_name(s.name, variant) for s in found for variant in variants(s, studio))
    if same:
        raise Mistakes(
            [Mistake("--scenario", name, "is the name of two drills", "rename one scenario") for name in same]
        )
    return found


def exercises(studio: Studio, scenarios: Sequence[Scenario], shoots: Sequence[Shoot]) -> list[Exercise]:
    """Return every exercise of the scenarios that apply, shoot by shoot; no copy is opened for that."""
    drills = [(one, variant) for one in scenarios if applies(one, studio) for variant in variants(one, studio)]
    return [Exercise(shoot, scenario, variant) for shoot in shoots for scenario, variant in drills]
