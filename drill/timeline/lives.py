"""The life of a shoot: every moment at which a step of the scheme is done with it, up to a horizon.

Flows in: a studio, a day, whether the shoot is away. Flows out: instants in order. Must not know: whether a step is
forgotten, or changes anything. The rules:

- A shoot made at home is at home all the time. One away is away from its first picture to `away_for` after its end.
- A step without rhythm is due `after` the shoot's end, or after each time the step it follows was done; where it has
  to wait until one is home it is due then, and where it can only be done away and nobody is, never. With `again` it is
  due 60 times more, but for those times at which `only_when` does not hold. What falls on one moment is done once.
- A step with a rhythm is due whenever that comes, from `after` the shoot's end on, or from `after` the first time that
  the step it follows was done. When it comes at the wrong time for `only_when`, that time is left out.
- What a step does holds from its end (`at`): a copy is none before it is whole. What was begun before the plan had the
  shoot on the medium that it reads is left out: it found nothing there.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from operator import attrgetter

from drill.model import Scheme, Step, Studio
from drill.timeline.doing import at_first, do, is_too_early
from drill.timeline.moments import local_moment, rhythm_moments, years_after
from drill.timeline.takes import takes_s

AGAIN = 60  # how often a step is tried again at most
_HORIZON_YEARS = 10


@dataclass(frozen=True, slots=True)
class Instant:
    """One time that a step is done: it starts when it is `due`, and its effect holds from `at` on. Both UTC."""

    at: datetime
    due: datetime
    step: Step


@dataclass(frozen=True, slots=True)
class Life:
    """A shoot of one day, from its first picture to `until`; all moments UTC. `home_at` is `begins` where never away.

    `instants` are in order of `at`; at one moment as the steps stand in the studio file.
    """

    day: date
    away: bool
    begins: datetime
    ends: datetime
    home_at: datetime
    until: datetime
    instants: tuple[Instant, ...]


def horizon(scheme: Scheme, day: date, years: int) -> datetime:
    """Return the moment when a shoot's first picture is so many years old (the same local date and time)."""
    return local_moment(years_after(day, years), scheme.begins_s, scheme.zone)


def life(studio: Studio, day: date, *, away: bool, until: datetime | None = None) -> Life:
    """Return the life of a shoot made on `day`, with what is done up to `until` (default: ten years on).

    Errors: ValueError for a studio without a scheme, or where the calendar ends before the life does.
    """
    scheme = studio.scheme
    if scheme is None:
        raise ValueError("this studio has no scheme")
    begins = local_moment(day, scheme.begins_s, scheme.zone)
    ends = max(begins, local_moment(day, scheme.ends_s, scheme.zone))  # a clock change may lie between
    home_at = ends + timedelta(seconds=scheme.away_for_s) if away else begins
    until = horizon(scheme, day, _HORIZON_YEARS) if until is None else until
    walk = _Walk(scheme, {step.id: takes_s(step, studio) for step in scheme.steps}, ends, home_at, until, away=away)
    found = [instant for step in scheme.steps for instant in walk.instants(step)]
    found.sort(key=attrgetter("at"))  # the sort is stable: the file's order holds within one moment
    return Life(day, away, begins, ends, home_at, until, tuple(not_too_early(found, begins, studio)))


def not_too_early(instants: Iterable[Instant], begins: datetime, studio: Studio) -> Iterator[Instant]:
    """Yield, in order, the instants not begun before the plan had the shoot on the medium that they read."""
    held = at_first(studio, begins)
    for instant in instants:
        if not is_too_early(instant.step, instant.due, held):
            do(instant.step, instant.at, held, studio.media)
            yield instant


class _Walk:
    """One life under way: the instants of each step, once the steps they follow are known."""

    def __init__(
        self,
        scheme: Scheme,
        takes: Mapping[str, float],
        ends: datetime,
        home_at: datetime,
        until: datetime,
        *,
        away: bool,
    ) -> None:
        self._steps = {step.id: step for step in scheme.steps}
        self._zone, self._takes = scheme.zone, takes
        self._ends, self._home_at, self._until, self._away = ends, home_at, until, away
        self._known: dict[str, Sequence[Instant]] = {}

    def instants(self, step: Step) -> Sequence[Instant]:
        """Return when a step is done, in order, up to the horizon."""
        if step.id not in self._known:
            starts = self._starts(step)
            self._known[step.id] = self._in_rhythm(step, min(starts)) if starts and step.rhythm else ()
            if not step.rhythm:
                self._known[step.id] = self._once(step, starts)
        return self._known[step.id]

    def _starts(self, step: Step) -> list[datetime]:
        """Return the moments from which a step counts: `after` the shoot's end, or each end of the step it follows."""
        ends = [self._ends] if step.follows is None else [i.at for i in self.instants(self._steps[step.follows])]
        return [end + timedelta(seconds=step.after_s) for end in ends]

    def _in_rhythm(self, step: Step, start: datetime) -> Sequence[Instant]:
        found: list[Instant] = []
        if start > self._until:
            return found
        # A local year may begin a day before or after that of UTC.
        for year in range(start.year - 1, self._until.year + 2):
            of_year = _of_year(step, self._takes[step.id], year, self._zone)
            first = bisect_left(of_year, start, key=attrgetter("due"))
            found += of_year[first : bisect_right(of_year, self._until, key=attrgetter("at"))]
        return found if step.only_when is None else [i for i in found if self._fits(step, i.due)]

    def _once(self, step: Step, starts: Iterable[datetime]) -> Sequence[Instant]:
        takes = timedelta(seconds=self._takes[step.id])
        dues: set[datetime] = set()
        for start in starts:
            due = max(start, self._home_at) if step.only_when == "home" else start
            if due > self._until:
                continue
            dues.add(due)
            again_s = step.again_s or 0.0
            tries = min(AGAIN, int((self._until - due).total_seconds() // again_s)) if again_s else 0
            dues |= {due + timedelta(seconds=again_s * n) for n in range(1, tries + 1)}
        return [Instant(d + takes, d, step) for d in sorted(dues) if d + takes <= self._until and self._fits(step, d)]

    def _fits(self, step: Step, due: datetime) -> bool:
        if step.only_when is None:
            return True
        return (step.only_when == "away") == (self._away and due < self._home_at)


@lru_cache(maxsize=4096)
def _of_year(step: Step, takes: float, year: int, zone: str | None) -> tuple[Instant, ...]:
    """Return a rhythm's instants of a year, whatever the shoot: hundreds of lives share them."""
    assert step.rhythm is not None
    return tuple(Instant(d + timedelta(seconds=takes), d, step) for d in rhythm_moments(step.rhythm, year, zone))
