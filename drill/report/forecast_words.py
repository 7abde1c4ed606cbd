"""Words of a forecast: spans and moments of a shoot's life, and what a scenario comes to over time.

Flows in: values of the record. Flows out: texts. Must not know: how they are laid out.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from drill import units
from drill.clock import MONTHS, WEEKDAYS
from drill.forecastrecord import Band, LifeThen, Stretch
from drill.units import DAY_S, YEAR_S

_HOUR_S = 3600.0
_BADNESS = ("lost", "held", "not about it")


def where(life: LifeThen) -> str:
    """Write where a shoot was made."""
    return "away" if life.away else "at home"


def span_words(span_s: float) -> str:
    """Write how long something lasts: hours with minutes, days with hours, then days alone, then years."""
    if span_s >= 2 * YEAR_S:
        return f"{span_s / YEAR_S:.0f} years"
    if span_s >= 10 * DAY_S:
        return f"{span_s / DAY_S:.0f} days"
    return units.say_span(span_s)


def local(life: LifeThen, after_s: float, zone: str | None) -> datetime:
    """Return the local time so long after a life's first picture. `zone` None: this computer's."""
    when = datetime.fromisoformat(life.begins) + timedelta(seconds=after_s)
    return when.astimezone(ZoneInfo(zone) if zone else None)


def say_day(when: datetime) -> str:
    """Write a day without its year: "31 Dec"; the names of months are ours, whatever the computer speaks."""
    return f"{when.day} {MONTHS[when.month - 1]}"


def say_local(life: LifeThen, after_s: float, zone: str | None) -> str:
    """Write a local time so long after a life's first picture: "Thu 31 Dec, 22:46"."""
    when = local(life, after_s, zone)
    return f"{WEEKDAYS[when.weekday()]} {say_day(when)}, {when:%H:%M}"


def say_moment(after_s: float) -> str:
    """Write when something is, after the first picture."""
    return "first picture" if after_s <= 0 else span_words(after_s)


def merged(stretches: Sequence[Stretch]) -> list[Stretch]:
    """Return stretches with neighbours of one outcome put together; what is left then is that of the last."""
    joined: list[Stretch] = []
    for one in stretches:
        begins_s = joined.pop().begins_s if joined and joined[-1].outcome == one.outcome else one.begins_s
        joined.append(Stretch(begins_s, one.ends_s, one.outcome, one.left))
    return joined


@dataclass(frozen=True, slots=True)
class Worst:
    """A scenario over a shoot's year, at each moment by its worst variant; the variants that ever take the shoot."""

    scenario: str
    stretches: tuple[Stretch, ...]
    variants: int
    taking: tuple[str, ...]

    def lost_s(self) -> float:
        """Return for how long in all it would take the shoot."""
        return sum(one.ends_s - one.begins_s for one in self.stretches if one.outcome == "lost")

    @property
    def at_last(self) -> bool:
        """Say whether it would still take the shoot as the year ends."""
        return bool(self.stretches) and self.stretches[-1].outcome == "lost"


def worst_bands(bands: Iterable[Band]) -> dict[str, Worst]:
    """Return each scenario's worst, by its name, that which takes the shoot for longest first."""
    groups: dict[str, list[Band]] = {}
    for band in bands:
        if band.stretches:
            groups.setdefault(band.scenario, []).append(band)
    found = [_worst(name, group) for name, group in groups.items()]
    return {worst.scenario: worst for worst in sorted(found, key=lambda one: (not one.at_last, -one.lost_s()))}


def _worst(name: str, group: Sequence[Band]) -> Worst:
    cuts = sorted({edge for band in group for one in band.stretches for edge in (one.begins_s, one.ends_s)})
    stretches = []
    for begins_s, ends_s in pairwise(cuts):
        now = [one for band in group for one in band.stretches if one.begins_s <= begins_s < one.ends_s]
        worst = min(now, key=lambda one: _BADNESS.index(one.outcome))
        stretches.append(Stretch(begins_s, ends_s, worst.outcome, worst.left))
    taking = [band.variant for band in group if band.variant and band.lost_s()]
    return Worst(name, tuple(merged(stretches)), len(group), tuple(taking))


def say_band(stretches: Sequence[Stretch]) -> str:
    """Write when a scenario takes the shoot: "lost in its first 4 days, then held"."""
    pieces = merged(stretches)
    lost = [number for number, one in enumerate(pieces) if one.outcome == "lost"]
    if not lost:
        return "held throughout" if any(one.outcome == "held" for one in pieces) else "not about it"
    said = [_lost(pieces[number], is_last=number == len(pieces) - 1) for number in lost]
    end = "" if lost[-1] == len(pieces) - 1 else ", then held"
    return "lost " + " and ".join(said) + end


def _lost(one: Stretch, *, is_last: bool) -> str:
    if one.begins_s <= 0:
        return "always" if is_last else f"in its first {span_words(one.ends_s)}"
    return f"from {span_words(one.begins_s)} " + ("on" if is_last else f"to {span_words(one.ends_s)}")
