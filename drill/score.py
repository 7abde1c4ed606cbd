"""The score, the verdict, the counts: what the outcomes of a drill's files come to.

Flows in: each promised file's class, outcome and size, targets. Flows out: parts of the record. Must not know:
copies, views.
"""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from enum import IntEnum
from fractions import Fraction

from drill import clock
from drill.model import Shoot
from drill.record import ByteCount, Count, LostWork


class Outcome(IntEnum):
    """What a drill found of one promised file."""

    LOST = 0
    ON_PAPER = 1
    VERIFIED = 2


def count_files(outcomes: Iterable[Outcome]) -> Count:
    """Count files by outcome."""
    found = Counter(outcomes)
    return Count(sum(found.values()), found[Outcome.VERIFIED], found[Outcome.ON_PAPER], found[Outcome.LOST])


def count_classes(kinds: Sequence[str], outcomes: Sequence[Outcome]) -> dict[str, Count]:
    """Count files by class, in order of first appearance."""
    return {
        kind: count_files(o for k, o in zip(kinds, outcomes, strict=True) if k == kind) for kind in dict.fromkeys(kinds)
    }


def count_bytes(sizes: Sequence[int | None], outcomes: Sequence[Outcome]) -> ByteCount:
    """Count bytes by outcome; files of unknown size count 0 bytes."""
    found: Counter[Outcome] = Counter()
    for size, outcome in zip(sizes, outcomes, strict=True):
        found[outcome] += size or 0
    return ByteCount(
        sum(found.values()),
        found[Outcome.VERIFIED],
        found[Outcome.ON_PAPER],
        found[Outcome.LOST],
        sum(1 for size in sizes if size is None),
    )


def score(by_class: Mapping[str, Count], weights: Mapping[str, float]) -> float:
    """Return 100 × the weighted mean, over the classes present, of the verified share; one decimal, rounded down."""
    total = sum((Fraction(str(weights[kind])) for kind in by_class), Fraction(0))
    shares = (Fraction(str(weights[kind])) * Fraction(c.verified, c.promised) for kind, c in by_class.items())
    mean = sum(shares, Fraction(0)) / total if total else Fraction(0)
    return math.floor(mean * 1000) / 10


def verdict(files: Count, *, projected_s: float, target_s: float | None) -> str:
    """Return one word for a drill."""
    if files.verified == files.promised:
        # The sum of many short times is off by less than a microsecond.
        return "restored" if target_s is None or projected_s <= target_s + 1e-6 else "late"
    if files.verified == 0 and files.on_paper == 0:
        return "lost"
    return "partial" if files.lost else "unproven"


def lost_work(files: Count, shoot: Shoot, now: datetime) -> LostWork:
    """Return how far back lost work reaches; a file's time is its shoot's date."""
    target_s = shoot.targets.lose_at_most_s
    if not files.lost:
        return LostWork(None, target_s, met=True)
    age_s = (now - clock.moment(shoot.date)).total_seconds()
    return LostWork(say_date(shoot.date), target_s, met=target_s is None or age_s <= target_s)


def say_date(when: date | datetime) -> str:
    """Write a date as it was given, or a time as RFC 3339."""
    return clock.rfc3339(clock.moment(when)) if isinstance(when, datetime) else when.isoformat()
