"""From local dates and times of day to moments in UTC, and the dates on which a rhythm comes.

Flows in: dates, seconds after local midnight, the name of a zone, rhythms. Flows out: moments in UTC. Must not know:
shoots. A time that a clock change leaves out counts by the offset before it, so it moves forward; one that is there
twice is the first. Both as RFC 5545, section 3.3.5 has it, and as Python's `fold=0` does it (PEP 495).
"""

from calendar import monthrange
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from drill.errors import Mistake, Mistakes
from drill.model import Rhythm

# A life of ten years, with spans of a hundred, ends before the calendar does. Without a zone the computer's own clock
# is asked, which on Windows knows the years from 1970 to 3000 alone and says so by an OSError (from memory).
_SURE_YEARS = range(1971, 2700)
_MONTHS = range(1, 13)
_QUARTERS = (1, 4, 7, 10)


@contextmanager
def within_calendar(day: date) -> Iterator[None]:
    """Have the errors that a shoot too near an end of the calendar leads to raised as Mistakes about its day."""
    try:
        yield
    except (OverflowError, ValueError, OSError) as error:
        if day.year in _SURE_YEARS:
            raise
        what = f"{day} is too near an end of the calendar ({error})"
        raise Mistakes([Mistake("--day", str(day), what, "name a day nearer to ours")]) from None


def local_moment(day: date, at_s: float, zone: str | None) -> datetime:
    """Return the moment (UTC) when local clocks show `at_s` seconds after midnight. `zone` None: this computer's."""
    wall = datetime(day.year, day.month, day.day) + timedelta(seconds=at_s)
    return (wall.replace(tzinfo=ZoneInfo(zone)) if zone else wall.astimezone()).astimezone(UTC)


def years_after(day: date, years: int) -> date:
    """Return the same date so many years later; for 29 February 1 March, where that year has none."""
    if (day.month, day.day) == (2, 29) and monthrange(day.year + years, 2)[1] == 28:
        return date(day.year + years, 3, 1)
    return day.replace(year=day.year + years)


def rhythm_dates(rhythm: Rhythm, year: int) -> list[date]:
    """Return the local dates of a year on which a rhythm comes, in order; a day past a month's end is its last."""
    first = date(year, 1, 1)
    days = (first + timedelta(days=n) for n in range((date(year, 12, 31) - first).days + 1))
    if rhythm.every == "day":
        return list(days)
    if rhythm.every == "week":
        return [day for day in days if day.weekday() in rhythm.on]
    return sorted({date(year, month, min(n, monthrange(year, month)[1])) for month, n in _month_days(rhythm)})


def _month_days(rhythm: Rhythm) -> Iterator[tuple[int, int]]:
    for number in rhythm.on:
        if rhythm.every == "year":
            yield divmod(number, 100)
        else:
            yield from ((month, number) for month in (_MONTHS if rhythm.every == "month" else _QUARTERS))


@lru_cache(maxsize=4096)
def rhythm_moments(rhythm: Rhythm, year: int, zone: str | None) -> tuple[datetime, ...]:
    """Return the moments (UTC) of a local year at which a rhythm comes, in order, each once."""
    return tuple(sorted({local_moment(day, rhythm.at_s, zone) for day in rhythm_dates(rhythm, year)}))
