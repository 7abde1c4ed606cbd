"""A shoot's days: when each step is begun and done, and when what was lost is replaced.

A step without a rhythm that has `again` keeps to `only_when` in every try. A step that follows one with several
instants has its own for each of them; several at one moment are one. What begins to read a medium before the shoot is
there, by the plan, is left out. Rates are those of the README, written down anew.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from drill.model import Medium, Scheme, Step, Studio

from .statuses import after_step, at_first
from .wallclock import moment_of, starts

TRIES = 60
KIND_BPS = {
    "card": 80e6,
    "tablet": 40e6,
    "phone": 40e6,
    "computer": 100e6,
    "ssd": 400e6,
    "hard-disk": 120e6,
    "network-storage": 80e6,
    "optical": 20e6,
    "tape": 100e6,
    "cloud": 10e6,
}
KIND_FILE_S = {"cloud": 0.2, "optical": 0.1, "tape": 0.05, "hard-disk": 0.01, "network-storage": 0.01}


@dataclass(frozen=True, slots=True)
class Act:
    """One thing that happens at a moment: a step's effect, or (`step` None) the replacement of what was lost."""

    at: datetime
    due: datetime
    step: Step | None


@dataclass(frozen=True, slots=True)
class Days:
    """A shoot's moments and all its acts in the order they happen."""

    begins: datetime
    ends: datetime
    home_at: datetime
    until: datetime
    acts: tuple[Act, ...]

    def is_away(self, moment: datetime) -> bool:
        """Say whether the shoot is still under way."""
        return self.begins <= moment < self.home_at


def days_of(studio: Studio, day: date, *, away: bool, until: datetime | None = None) -> Days:
    """Return the days of a shoot made on `day`; until ten years after its first picture, unless said otherwise."""
    scheme = scheme_of(studio)
    begins = moment_of(day, scheme.begins_s, scheme.zone)
    ends = max(begins, moment_of(day, scheme.ends_s, scheme.zone))  # what the clocks skip may come after it
    home_at = ends + timedelta(seconds=scheme.away_for_s) if away else begins
    last = until or moment_of(_years_on(day, 10), scheme.begins_s, scheme.zone)
    bare = Days(begins, ends, home_at, last, ())
    place = {step.id: number for number, step in enumerate(scheme.steps)}
    acts = [act for step in scheme.steps for act in _acts(studio, step, bare)]
    moment = begins
    while (moment := moment + timedelta(seconds=scheme.replaced_within_s)) <= last:
        acts.append(Act(moment, moment, None))
    acts.sort(key=lambda act: (act.at, place[act.step.id] if act.step else len(place), act.due))
    return Days(
        begins, ends, home_at, last, tuple(_found_something(studio, [act for act in acts if act.at <= last], begins))
    )


def _found_something(studio: Studio, acts: list[Act], begins: datetime) -> Iterator[Act]:
    """Leave out what was begun before what it reads had come there, as long as all goes by plan."""
    names, now = tuple(studio.media), at_first(studio)
    came = dict.fromkeys(names, begins)
    for act in acts:
        if act.step and act.step.do != "erase":
            reads = act.step.target if act.step.do in ("verify", "edit") else act.step.source
            assert reads is not None
            if now[names.index(reads)] == "G" and came[reads] > act.due:
                continue
        if act.step:
            held = frozenset(id_ for id_, status in zip(names, now, strict=True) if status == "G")
            before, now = now, after_step(studio, act.step, now, held)
            came |= {id_: act.at for id_, old, new in zip(names, before, now, strict=True) if (old, new) == ("N", "G")}
        yield act


def scheme_of(studio: Studio) -> Scheme:
    """Return a studio's scheme, which is there."""
    assert studio.scheme is not None
    return studio.scheme


def _years_on(day: date, years: int) -> date:
    """Return the same date in a later year; a leap day that is not there is the day after it, so that no day is cut."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def _acts(studio: Studio, step: Step, days: Days) -> list[Act]:
    takes = timedelta(seconds=takes_s(studio, step))
    return [Act(due + takes, due, step) for due in sorted(set(_dues(studio, step, days)))]


def _dues(studio: Studio, step: Step, days: Days) -> Iterator[datetime]:
    scheme, after = scheme_of(studio), timedelta(seconds=step.after_s)
    bases = [days.ends]
    if step.follows:
        followed = next(other for other in scheme.steps if other.id == step.follows)
        bases = [act.at for act in _acts(studio, followed, days)]
    if step.rhythm and bases:
        for due in starts(step.rhythm, min(bases) + after, days.until, scheme.zone):
            if _allowed(step, due, days):
                yield due
    elif not step.rhythm:
        for base in bases:
            first = max(base + after, days.home_at) if step.only_when == "home" else base + after
            tries = TRIES if step.again_s else 0
            dues = (first + n * timedelta(seconds=step.again_s or 0) for n in range(tries + 1))
            yield from (due for due in dues if due <= days.until and _allowed(step, due, days))


def _allowed(step: Step, due: datetime, days: Days) -> bool:
    return step.only_when is None or (step.only_when == "away") == days.is_away(due)


def takes_s(studio: Studio, step: Step) -> float:
    """Return how long a step takes, in seconds."""
    scheme = scheme_of(studio)
    if step.takes_s is not None:
        return step.takes_s
    if step.do in ("erase", "edit"):
        return 0.0
    promises = [shoot.promise for shoot in studio.shoots]
    files = 1500.0 if not promises else sum(map(len, promises)) / len(promises)
    assert scheme.size is not None or not promises, "give the size: what promises come to is not worked out here"
    files, size = scheme.files if scheme.files is not None else files, 40e9 if scheme.size is None else scheme.size
    media = [studio.media[id_] for id_ in (step.source, step.target) if id_]
    return files * max(map(_file_s, media)) + size / min(_bps(studio, medium, media) for medium in media)


def _file_s(medium: Medium) -> float:
    return KIND_FILE_S.get(medium.kind, 0.005) if medium.per_file_s is None else medium.per_file_s


def _bps(studio: Studio, medium: Medium, media: list[Medium]) -> float:
    own = medium.reads_at_bps or KIND_BPS[medium.kind]
    if medium.bus is None:
        return own
    return min(own, studio.buses[medium.bus].carries_bps / sum(other.bus == medium.bus for other in media))
