"""Local dates and times of day as moments, by trying; and the dates of a rhythm, by asking every day.

A time that the clocks skip counts as if they had not been put forward yet, so it comes later by what was skipped (as
RFC 5545, section 3.3.5 has it); a time that is there twice is its first one.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from drill.model import Rhythm

NEAR_H = range(-26, 27)  # no zone is further from UTC, and clocks change at most once in such a time


def shown(moment: datetime, zone: str | None) -> datetime:
    """Return what a clock on the wall shows at a moment, without a zone; `zone` None is this computer's."""
    return moment.astimezone(ZoneInfo(zone) if zone else None).replace(tzinfo=None)


@cache
def moment_of(day: date, at_s: float, zone: str | None) -> datetime:
    """Return the moment at which a clock on the wall shows `at_s` seconds of a day."""
    wanted = datetime(day.year, day.month, day.day) + timedelta(seconds=at_s)
    as_utc = wanted.replace(tzinfo=UTC)
    near = [as_utc + timedelta(hours=hours) for hours in NEAR_H]
    offsets = {shown(moment, zone) - moment.replace(tzinfo=None) for moment in near}
    tries = [as_utc - offset for offset in offsets]
    right = [moment for moment in tries if shown(moment, zone) == wanted]
    return min(right) if right else max(tries)


def falls_on(rhythm: Rhythm, day: date) -> bool:
    """Say whether a day is one of the rhythm's; a day that a month does not have is its last one."""
    if rhythm.every == "day":
        return True
    if rhythm.every == "week":
        return day.weekday() in rhythm.on
    if rhythm.every == "year":
        wanted = [on % 100 for on in rhythm.on if on // 100 == day.month]
    else:
        wanted = list(rhythm.on) if rhythm.every == "month" or day.month in (1, 4, 7, 10) else []
    last = (day + timedelta(days=1)).month != day.month
    return day.day in wanted or (last and any(number > day.day for number in wanted))


def starts(rhythm: Rhythm, since: datetime, until: datetime, zone: str | None) -> Iterator[datetime]:
    """Yield every moment of a rhythm from `since` to `until`, both among them."""
    day = shown(since, zone).date() - timedelta(days=1)
    while day <= shown(until, zone).date() + timedelta(days=1):
        moment = moment_of(day, rhythm.at_s, zone) if falls_on(rhythm, day) else None
        if moment is not None and since <= moment <= until:
            yield moment
        day += timedelta(days=1)
