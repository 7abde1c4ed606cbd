"""What a shoot lacks in its first year, how long, and from when on it has what is asked.

Flows in: the spans of a life, its studio, targets. Flows out: an Exposure. Must not know: how likely anything is,
words. Spans beyond the first 365 days are left out, so that all days of a year compare.

`lose_at_most` is the recovery point objective, as NIST SP 800-34 Rev. 1 is quoted "the point in time, prior to a
disruption or system outage, to which mission/business process data can be recovered (given the most recent backup
copy of the data)". Of a shoot that one failure takes nothing is left, so the work lost reaches back to its first
picture. `lost_back_s` is how old that picture is when a single failure (of a medium, a place, an account) can take
the shoot for the last time.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from drill.model import Studio, Targets
from drill.stages.facts import facts
from drill.stages.ground import CutSets, Facts, Ground, ground
from drill.stages.tree import FAILURES, cut_sets
from drill.timeline import Span

FIRST_YEAR = timedelta(days=365)
LACKS: Mapping[str, Callable[[Facts], bool]] = {
    "one_failure": lambda has: has.survivable <= 0,  # one failure is enough to lose it
    "no_copy": lambda has: has.copies == 0,  # the plan itself has let go of the last one
    "one_copy": lambda has: has.copies <= 1,
    "one_place": lambda has: has.places <= 1,
    "one_kind": lambda has: has.kinds <= 1,
    "nothing_offsite": lambda has: has.offsite == 0,
    "nothing_verified": lambda has: has.verified == 0,
}
GOALS: Mapping[str, Callable[[Facts], bool]] = {
    "two_copies": lambda has: has.copies >= 2,
    "three_copies": lambda has: has.copies >= 3,
    "two_kinds": lambda has: has.kinds >= 2,
    "two_places": lambda has: has.places >= 2,
    "offsite": lambda has: has.offsite >= 1,
    "verified": lambda has: has.verified >= 1,
}


@dataclass(frozen=True, slots=True)
class Lack:
    """How long a shoot stands so in its first year, in all and at a stretch, in seconds; when the longest stretch
    begins."""

    total_s: float
    longest_s: float
    longest_from: datetime | None


@dataclass(frozen=True, slots=True)
class Met:
    """When something is first so, and from when on it stays so to the end of the first year; None: never."""

    first: datetime | None
    for_good: datetime | None


@dataclass(frozen=True, slots=True)
class Moment:
    """A stretch in which the smallest sets of failures (of a medium, a place, an account) that take a shoot stay the
    same; its cut sets as it begins: of `failures`, and of all `events`."""

    begins: datetime
    ends: datetime
    failures: CutSets
    events: CutSets


@dataclass(frozen=True, slots=True)
class Exposure:
    """How a shoot stands in its first year: `lacks` by LACKS; `goals` by GOALS, and "further_failures" where that is
    a target.

    `lost_back_s`: how far back lost work may reach (see above), 0 where one failure never takes it, None where it can
    to the end. `proof_age_s`: how old the newest proof of any copy grows, counted from the first picture while there
    is none; None where nothing is ever verified. `targets`: those that are set and can be told from a scheme, met or
    not as the year ends. `worst`: the stretch with the fewest survivable failures, the longest of these, the first of
    equals.
    """

    lacks: Mapping[str, Lack]
    goals: Mapping[str, Met]
    lost_back_s: float | None
    proof_age_s: float | None
    targets: Mapping[str, bool]
    worst: Moment


def measure(spans: Sequence[Span], on: Studio | Ground, targets: Targets) -> Exposure:
    """Return how a shoot with these spans stands in its first year, and whether it meets targets.

    Errors: ValueError without a span.
    """
    here = ground(on)
    year = first_year(spans)
    if not year:
        raise ValueError("a life without a span cannot be measured")
    stands = [facts(span, here) for span in year]
    back_s, age_s = _lost_back_s(year, stands), _proof_age_s(year)
    goals = {name: met(year, [holds(has) for has in stands]) for name, holds in GOALS.items()}
    if targets.further_failures is not None:
        least = targets.further_failures
        goals["further_failures"] = met(year, [has.survivable >= least for has in stands])
    return Exposure(
        lacks={name: _lack(year, [lacking(has) for has in stands]) for name, lacking in LACKS.items()},
        goals=goals,
        lost_back_s=back_s,
        proof_age_s=age_s,
        targets=_targets(targets, stands[-1], back_s, age_s),
        worst=_worst(year, stands, here),
    )


def first_year(spans: Iterable[Span]) -> list[Span]:
    """Return the spans of the first 365 days, the last one cut there."""
    found: list[Span] = []
    for span in spans:
        until = (found[0] if found else span).begins + FIRST_YEAR
        if span.begins >= until:
            break
        found.append(span if span.ends <= until else Span(span.begins, until, span.away, span.copies))
    return found


def met(spans: Sequence[Span], holds: Sequence[bool]) -> Met:
    """Return when something holds first, and from when on it holds to the end."""
    first = next((span.begins for span, so in zip(spans, holds, strict=True) if so), None)
    for_good = None
    for span, so in zip(reversed(spans), reversed(holds), strict=True):
        if not so:
            break
        for_good = span.begins
    return Met(first, for_good)


def _runs(spans: Sequence[Span], holds: Sequence[bool]) -> list[tuple[datetime, datetime]]:
    """Return the stretches, as long as they last, in which something holds."""
    runs: list[tuple[datetime, datetime]] = []
    for span, so in zip(spans, holds, strict=True):
        if so and runs and runs[-1][1] == span.begins:
            runs[-1] = (runs[-1][0], span.ends)
        elif so:
            runs.append((span.begins, span.ends))
    return runs


def _lack(spans: Sequence[Span], holds: Sequence[bool]) -> Lack:
    lasts = [((ends - begins).total_seconds(), begins) for begins, ends in _runs(spans, holds)]
    longest_s, begins = max(lasts, key=lambda run: run[0], default=(0.0, None))
    return Lack(sum(run[0] for run in lasts), longest_s, begins)


def _lost_back_s(spans: Sequence[Span], stands: Sequence[Facts]) -> float | None:
    runs = _runs(spans, [has.survivable <= 0 for has in stands])
    if not runs:
        return 0.0
    last = runs[-1][1]
    return None if last == spans[-1].ends else (last - spans[0].begins).total_seconds()


def _proof_age_s(spans: Sequence[Span]) -> float | None:
    """Return how old the newest proof becomes. Within a span it ages; a copy that goes takes its proof along."""
    oldest_s, ever = 0.0, False
    for span in spans:
        proofs = [held.verified for held in span.copies if held.verified is not None]
        ever = ever or bool(proofs)
        oldest_s = max(oldest_s, (span.ends - max(proofs, default=spans[0].begins)).total_seconds())
    return oldest_s if ever else None


def _targets(targets: Targets, settled: Facts, back_s: float | None, age_s: float | None) -> dict[str, bool]:
    found: dict[str, bool] = {}
    if targets.further_failures is not None:
        found["further_failures"] = settled.survivable >= targets.further_failures
    if targets.lose_at_most_s is not None:
        found["lose_at_most"] = back_s is not None and back_s <= targets.lose_at_most_s
    if targets.verified_within_s is not None:
        found["verified_within"] = age_s is not None and age_s <= targets.verified_within_s
    return found


def _worst(spans: Sequence[Span], stands: Sequence[Facts], here: Ground) -> Moment:
    least = min(has.survivable for has in stands)
    worst = [has.survivable == least for has in stands]
    ways = [
        cut_sets(span, here, kinds=FAILURES).smallest if so else None for span, so in zip(spans, worst, strict=True)
    ]
    found: list[tuple[Span, datetime]] = []
    for way, stretch in groupby(zip(spans, ways, strict=True), key=lambda each: each[1]):
        (first, _), *more = stretch
        if way is not None:
            found.append((first, more[-1][0].ends if more else first.ends))
    span, ends = max(found, key=lambda each: each[1] - each[0].begins)
    return Moment(span.begins, ends, cut_sets(span, here, kinds=FAILURES), cut_sets(span, here))
