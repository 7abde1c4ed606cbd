"""Compare: two forecasts side by side, on every measure and scenario: what gets better, what gets worse.

Flows in: the records of two forecasts. Flows out: the record of the comparison. Must not know: schemes, engines.
Media and places are named differently in two studios, so a scenario counts by its worst variant in each.
"""

from collections.abc import Iterable, Iterator, Mapping
from math import inf

from drill.advicerecord import Compared, Comparison
from drill.forecastrecord import Forecast, LifeThen

_ALIKE = 0.01  # the share by which chances may differ and count as the same
_ALIKE_S = 60.0
_FEWER_IS_BETTER = frozenset({"chance", "seconds", "moment"})

Key = tuple[str, str, str]  # group, what, unit; its value: None where it does not apply, infinite for never


def compare(one: Forecast, other: Forecast) -> Comparison:
    """Hold one forecast against another. Measures come in the order of the first, then what only the second has."""
    ours, theirs = dict(_measures(one)), dict(_measures(other))
    rows = [_compared(key, ours, theirs) for key in dict.fromkeys((*ours, *theirs))]
    return Comparison(one.studio, other.studio, tuple(rows))


def _compared(key: Key, ours: Mapping[Key, float | None], theirs: Mapping[Key, float | None]) -> Compared:
    group, what, unit = key
    one, other = ours.get(key), theirs.get(key)
    return Compared(group, what, unit, _finite(one), _finite(other), _change(unit, one, other))


def _finite(number: float | None) -> float | None:
    return None if number is None or number == inf else number


def _change(unit: str, one: float | None, other: float | None) -> str:
    if one is None or other is None:
        return "same" if one is other else "not both"
    if one == other or (unit in ("seconds", "moment") and abs(one - other) < _ALIKE_S):
        return "same"
    if unit == "chance" and abs(one - other) <= _ALIKE * max(one, other):
        return "same"
    return "better" if (other < one) == (unit in _FEWER_IS_BETTER) else "worse"


# --- measures ----------------------------------------------------------------------------------------------------


def _measures(found: Forecast) -> Iterator[tuple[Key, float | None]]:
    for chance in found.chances:
        years = f"{chance.years} year{'s' if chance.years > 1 else ''}"
        alike = ("worst day", "best day") if chance.which == "any day" else (chance.which,)
        for which in alike[: 2 if chance.years == 1 else 1]:
            yield ("odds", f"lost within {years}: {which}, {_where(chance.away)}", "chance"), chance.middle
    for life in found.lives:
        yield from _of_life(life)
    for day in found.days:
        yield ("worst day", f"{day.what} ({_where(day.away)})", "seconds"), day.worst_s
    for level in found.levels:
        yield (
            ("levels", " ".join((level.name, level.row)).strip(), "met"),
            None if level.met is None else float(level.met),
        )
    for life in found.lives:
        yield from _bands(life)


def _of_life(life: LifeThen) -> Iterator[tuple[Key, float | None]]:
    where = _where(life.away)
    if life.stages:
        at_worst = min(stage.survivable for stage in life.stages)
        yield ("failures survived", f"at the worst moment ({where})", "failures"), at_worst
        yield ("failures survived", f"once settled ({where})", "failures"), life.stages[life.settled].survivable
    for first in life.firsts:
        yield ("from when on", f"{first.what} ({where})", "moment"), inf if first.after_s is None else first.after_s
    for target in life.targets:
        yield ("targets", f"{target.name} ({where})", "met"), float(target.met)
    if life.edits:
        ages = [inf if one.worst_age_s is None or one.lost_on else one.worst_age_s for one in life.edits]
        yield ("edits", f"at worst, no single failure takes them once they are so old ({where})", "moment"), max(ages)
    for exposure in life.exposures:
        yield ("in the first year", f"{exposure.what} ({where})", "seconds"), exposure.total_s
        yield ("longest stretch", f"{exposure.what} ({where})", "seconds"), exposure.longest_s


def _bands(life: LifeThen) -> Iterable[tuple[Key, float | None]]:
    worst: dict[str, float | None] = {}
    for band in life.bands:
        told = any(stretch.outcome != "not about it" for stretch in band.stretches)
        lost_s = band.lost_s() if told else None
        known = worst.get(band.scenario)
        worst[band.scenario] = known if lost_s is None else max(lost_s, known or 0.0)
    for scenario, lost_s in worst.items():
        yield ("scenarios", f"{scenario} would take it ({_where(life.away)})", "seconds"), lost_s


def _where(away: bool) -> str:
    return "away" if away else "at home"
