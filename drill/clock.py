"""The one door to time: now, how long something took, and times as people write them (RFC 3339).

Flows in: the system's clock, texts. Flows out: aware datetimes, seconds. Must not know: any other room.
"""

import re
import time
from datetime import UTC, date, datetime

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")  # not by strftime: it follows the system's language
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def now() -> datetime:
    """Return the present moment in UTC."""
    return datetime.now(UTC)


def ticks_s() -> float:
    """Return a monotonic reading in seconds, for durations only."""
    return time.perf_counter()


def busy_s() -> float:
    """Return how many seconds of work this process has done, all its threads together, for differences only."""
    return time.process_time()


def pause(span_s: float) -> None:
    """Wait `span_s` seconds (between two tries of a server)."""
    time.sleep(span_s)


def moment(value: date | datetime) -> datetime:
    """Return the aware datetime that a date or datetime names; a date alone is its first moment, local time."""
    if not isinstance(value, datetime):
        value = datetime(value.year, value.month, value.day)
    return value if value.tzinfo else value.astimezone()


def parse_time(text: str) -> datetime:
    """Read an RFC 3339 time or a date alone; a leap second counts as the second before it. Errors: ValueError."""
    text = text.strip()
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return moment(date.fromisoformat(text))
    if len(text) < 19 or text[10] not in "Tt ":
        raise ValueError(f"{text!r} is not a time such as 2026-09-12T19:30:00Z")
    # datetime has no second 60 (RFC 3339, section 5.8 shows one); 59 keeps the order of events.
    if text[17:19] == "60":
        text = text[:17] + "59" + text[19:]
    when = moment(datetime.fromisoformat(text))
    try:
        when.astimezone(UTC)
    except OverflowError:
        raise ValueError(f"{text!r} is outside the calendar") from None
    return when


def rfc3339(when: datetime) -> str:
    """Write a moment as RFC 3339 in UTC, to the second."""
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
