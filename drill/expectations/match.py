"""Match: what is expected of each exercise of a studio, and which expectations are of none.

Flows in: expectations, a studio, scenarios. Flows out: a sheet, every exercise with its expectations; mistakes. Must
not know: files, copies' contents, records.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from drill.columns import classes_of
from drill.errors import Mistake
from drill.expectations.demands import Accepted, Expected
from drill.faults import variants
from drill.model import Scenario, Shoot, Studio
from drill.rehearse import Exercise, exercises


@dataclass(frozen=True, slots=True, eq=False)
class Due:
    """One exercise, all that is expected of it, and the shortfall that is accepted for now, if any."""

    exercise: Exercise
    expected: tuple[Expected, ...]
    accepted: Accepted | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """A file of expectations, read and matched: what is due, shoot by shoot, and the scenarios (by shoot id) that are
    expected to be survived and hit nothing in this studio. Without a `seed` one is drawn for each run."""

    file: Path
    studio: Studio
    scenarios: tuple[Scenario, ...]
    seed: int | None
    due: tuple[tuple[Shoot, tuple[Due, ...]], ...]
    not_applicable: dict[str, tuple[Scenario, ...]]


class Matching:
    """Expectations held against the exercises of a studio. `applying` are the scenarios that hit anything."""

    def __init__(
        self,
        where: Path,
        studio: Studio,
        applying: Sequence[Scenario],
        scenarios: Sequence[Scenario],
        shoots: Sequence[Shoot],
    ) -> None:
        self._where, self._studio, self._shoots = where, studio, shoots
        self._applying, self._scenarios = applying, scenarios
        self._variants = {one.name: [v for v in variants(one, studio) if v is not None] for one in applying}
        self._classes = {shoot.id: set(classes_of(shoot.promise)) for shoot in shoots}

    def sheet(self, expected: Sequence[Expected], accepted: Sequence[Accepted], *, seed: int | None) -> Sheet:
        """Return what is due; an exercise of which nothing is expected is left out."""
        known = {(id_, a.scenario, v): a for a in accepted for id_ in a.shoots for v in a.variants or (None,)}
        due = tuple((shoot, self._due(shoot, expected, known)) for shoot in self._shoots)
        others = {shoot.id: self._not_applicable(shoot, expected) for shoot in self._shoots}
        return Sheet(self._where.absolute(), self._studio, tuple(self._scenarios), seed, due, others)

    def _due(
        self, shoot: Shoot, expected: Sequence[Expected], accepted: Mapping[tuple[str, str, str | None], Accepted]
    ) -> tuple[Due, ...]:
        of_shoot = [one for one in expected if self._is_of_shoot(one, shoot)]
        found = []
        for exercise in exercises(self._studio, self._applying, [shoot]) if of_shoot else ():
            name, variant = exercise.scenario.name, exercise.variant
            mine = tuple(one for one in of_shoot if _is_of(one, name, variant))
            settled = accepted.get((shoot.id, name, variant)) or accepted.get((shoot.id, name, None))
            found += [Due(exercise, mine, settled)] if mine else []
        return tuple(found)

    def _not_applicable(self, shoot: Shoot, expected: Sequence[Expected]) -> tuple[Scenario, ...]:
        """Return the scenarios of which something is expected and which hit nothing in this studio."""
        of_shoot = [one for one in expected if self._is_of_shoot(one, shoot) and not one.variants]
        others = [one for one in self._scenarios if one.name not in self._variants]
        return tuple(s for s in others if any(not one.scenarios or s.name in one.scenarios for one in of_shoot))

    def _is_of_shoot(self, one: Expected, shoot: Shoot) -> bool:
        if one.shoots and shoot.id not in one.shoots:
            return False
        return not one.classes or not self._classes[shoot.id].isdisjoint(one.classes)

    def mistakes_in(self, expected: Iterable[Expected]) -> list[Mistake]:
        """Return what the expectations name and this studio has not, and those that are of no exercise."""
        found: list[Mistake] = []
        for one in expected:
            named = self._unknown(one.at, one.shoots, one.scenarios, "shoots", "scenarios")
            named += self._unknown_variants(one.at, one.variants, one.scenarios, "variants")
            classes = list(self._studio.weights)
            named += self._wrong(f"{one.at}.classes", one.classes, classes, "no class has this name")
            for id_ in one.shoots if one.classes and not named else ():
                if self._classes[id_].isdisjoint(one.classes):
                    what = f"{id_} promises no file of these classes, so nothing could fail"
                    named.append(Mistake(str(self._where), f"{one.at}.classes", what, "add them to its list"))
            found += named
            if not named and self._shoots and not any(self._is_of_shoot(one, shoot) for shoot in self._shoots):
                what = "no shoot promises a file of these classes, so nothing could fail"
                found.append(Mistake(str(self._where), f"{one.at}.classes", what, "leave this table out for now"))
        return found

    def mistakes_accepted(self, accepted: Sequence[Accepted], expected: Sequence[Expected] | None) -> list[Mistake]:
        """Return what is accepted in vain: of nothing that this studio has, of no expectation, or twice.

        `expected` None: it could not be read as a whole, and nothing is said of what it covers.
        """
        found: list[Mistake] = []
        seen: set[tuple[str, str, str | None]] = set()
        for one in accepted:
            named = self._unknown(one.at, one.shoots, (one.scenario,), "shoot", "scenario")
            if not named and one.scenario not in self._variants:
                what = f"{one.scenario} hits nothing in this studio, so nothing falls short in it"
                named.append(Mistake(str(self._where), f"{one.at}.scenario", what, "take this table out"))
            named += self._unknown_variants(one.at, one.variants, (one.scenario,), "variant")
            for id_ in one.shoots if not named and expected is not None else ():
                if not any(self._covers(e, one, id_) for e in expected or ()):
                    what, advice = (
                        f"nothing is expected of {id_} in {one.scenario}",
                        "take it out, or add an [[expect]]",
                    )
                    named.append(Mistake(str(self._where), one.at, what, advice))
            reach = set(one.variants or self._variants.get(one.scenario) or (None,))
            keys = {(id_, one.scenario, variant) for id_ in one.shoots for variant in reach}
            if not named and keys & seen:
                named.append(
                    Mistake(str(self._where), one.at, "accepts what another table accepts", "keep one of them")
                )
            seen |= keys
            found += named
        return found

    def _covers(self, one: Expected, accepted: Accepted, id_: str) -> bool:
        shoot = next(shoot for shoot in self._shoots if shoot.id == id_)
        reach = accepted.variants or self._variants[accepted.scenario] or (None,)
        return self._is_of_shoot(one, shoot) and any(_is_of(one, accepted.scenario, variant) for variant in reach)

    def _unknown(
        self, at: str, shoots: Iterable[str], scenarios: Iterable[str], shoot_key: str, scenario_key: str
    ) -> list[Mistake]:
        ids = [shoot.id for shoot in self._shoots]
        names = [scenario.name for scenario in self._scenarios]
        return [
            *self._wrong(f"{at}.{shoot_key}", shoots, ids, "no shoot of this file has this id"),
            *self._wrong(f"{at}.{scenario_key}", scenarios, names, "no scenario of this file has this name"),
        ]

    def _unknown_variants(self, at: str, ids: Sequence[str], scenarios: Sequence[str], key: str) -> list[Mistake]:
        known = [v for name, all_of in self._variants.items() if not scenarios or name in scenarios for v in all_of]
        return self._wrong(f"{at}.{key}", ids, list(dict.fromkeys(known)), "no drill of these has this variant")

    def _wrong(self, at: str, asked: Iterable[str], known: Sequence[str], what: str) -> list[Mistake]:
        advice = f"there are: {', '.join(known) or 'none'}"
        return [Mistake(str(self._where), at, f"{id_!r}: {what}", advice) for id_ in asked if id_ not in known]


def _is_of(one: Expected, scenario: str, variant: str | None) -> bool:
    return (not one.scenarios or scenario in one.scenarios) and (not one.variants or variant in one.variants)
