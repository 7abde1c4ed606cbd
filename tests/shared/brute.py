"""The shortest story that loses a shoot, by trying every set of mishaps at every time, each played to its end.

By the second engine of the forecast (`simulation`), which shares no code with the program: no state is remembered, and
nothing is left out. For a few weeks, and one or two mishaps.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import combinations, pairwise

from simulation.blows import after_blow, events_of
from simulation.days import Act, Days
from simulation.planned import planned_before
from simulation.statuses import Statuses, after_replacement, after_step, at_first, is_lost

from drill.model import Studio

Option = tuple[int, int, str]  # the stretch or act, which of a stretch's, the mishap


def mishaps_there_are(
    studio: Studio, days: Days, without: Iterable[str], *, since: datetime | None = None
) -> list[Option]:
    """Return every mishap at every time, or at those `since` a moment: events and erasing by mistake in each stretch
    that begins then or later, forgetting at each act."""
    left_out = set(without)
    steps = studio.scheme.steps if studio.scheme else ()
    befall = [*events_of(studio), *(f"early:{step.id}" for step in steps if step.do == "erase")]
    found: list[Option] = []
    points = points_of(days)
    for number in range(len(points) - 1):
        begins, ends = points[number], points[number + 1]
        found += [(number, 0, name) for name in befall if since is None or since <= begins]
        acts = _acts_at(days, ends) if since is None or since <= ends else []
        found += [(number, 1 + n, f"forget:{act.step.id}") for n, act in acts if act.step]
    return [one for one in found if not {one[2], one[2].partition(":")[0]} & left_out]


def fewest(
    studio: Studio, days: Days, *, most: int, without: Iterable[str] = (), since: datetime | None = None
) -> int | None:
    """Return the fewest mishaps that lose the shoot, up to `most`, none before `since`; None where they do not."""
    options = mishaps_there_are(studio, days, without, since=since)
    planned = planned_before(studio, days)
    for size in range(most + 1):
        if any(is_lost(_played(studio, days, planned, chosen)) for chosen in combinations(options, size)):
            return size
    return None


def points_of(days: Days) -> list[datetime]:
    """Return the moments between which nothing is done."""
    return sorted({days.begins, days.home_at, days.until, *(act.at for act in days.acts)})


def _acts_at(days: Days, moment: object) -> list[tuple[int, Act]]:
    return [(number, act) for number, act in enumerate(days.acts) if act.at == moment]


def _played(studio: Studio, days: Days, planned: Sequence[frozenset[str]], chosen: Sequence[Option]) -> Statuses:
    now = at_first(studio)
    for number, (begins, ends) in enumerate(pairwise(points_of(days))):
        here = [option for option in chosen if option[0] == number]
        for _, act, name in here:
            if not act and not is_lost(now):
                now = _befallen(studio, name, now, away=days.is_away(begins))
        for act, turn in _acts_at(days, ends):
            if (number, 1 + act) not in {option[:2] for option in here} and not is_lost(now):
                now = _done(studio, turn, now, planned[act])
    return now


def _befallen(studio: Studio, name: str, now: Statuses, *, away: bool) -> Statuses:
    if not name.startswith("early:"):
        return after_blow(studio, name, now, away=away)
    assert studio.scheme
    step = next(step for step in studio.scheme.steps if f"early:{step.id}" == name)
    return after_step(studio, replace(step, only_once_on=()), now, frozenset())


def _done(studio: Studio, turn: Act, now: Statuses, planned: frozenset[str]) -> Statuses:
    return after_replacement(studio, now, planned) if turn.step is None else after_step(studio, turn.step, now, planned)
