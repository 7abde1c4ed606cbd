"""When the next drill is due, and that day as an event for any calendar (iCalendar, RFC 5545).

Flows in: moments, spans, words. Flows out: a moment; the bytes of a file. Must not know: ledgers, files, whose words
these are. Written by hand: a library would be a dependency for fifteen lines of output; tests hold them against one.
"""

import re
from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid5

_LINE_OCTETS = 75  # RFC 5545, section 3.1, without the line break
_STUDIOS = UUID("6a0f7f3e-52f0-4c1b-9a55-0f2f5a1c7d10")  # drawn once: the same studio has the same UID for ever
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")  # not allowed in TEXT (section 3.3.11), save tab and line break


def next_due(
    last_complete: datetime | None, verified_within_s: float | None, every_s: float | None = None, *, now: datetime
) -> datetime | None:
    """Return when the next drill is due: when the oldest proof would be too old, or `every_s` has passed, the sooner.

    Without a complete one so far it is due now. None where neither span is set, or the day is outside the calendar.
    """
    spans_s = [span_s for span_s in (verified_within_s, every_s) if span_s is not None]
    if not spans_s:
        return None
    if last_complete is None:
        return now
    try:
        return last_complete + timedelta(seconds=min(spans_s))
    except OverflowError:
        return None


def calendar_event(
    studio: str, due: date, *, made: datetime, summary: str, description: str, alarm_days: int | None = 7
) -> bytes:
    """Return a calendar file of one all-day event, with an alarm so many days before (None: no alarm).

    The UID depends on `studio` alone, and a file made later has a higher SEQUENCE, so that a calendar that takes it in
    moves the event it has.
    """
    title = _text(summary)
    lines = [
        *("BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//restore-drill//drill//EN", "BEGIN:VEVENT"),
        f"UID:{uuid5(_STUDIOS, studio)}",
        f"SEQUENCE:{max(0, int(made.timestamp()) // 60)}",
        f"DTSTAMP:{made.astimezone(UTC):%Y%m%dT%H%M%SZ}",
        f"DTSTART;VALUE=DATE:{due:%Y%m%d}",
        *(f"SUMMARY:{title}", f"DESCRIPTION:{_text(description)}", "TRANSP:TRANSPARENT"),
    ]
    if alarm_days is not None:
        alarm = ("ACTION:DISPLAY", f"DESCRIPTION:{title}", f"TRIGGER:-P{alarm_days}D")
        lines += ["BEGIN:VALARM", *alarm, "END:VALARM"]
    return b"".join(_folded(line) for line in [*lines, "END:VEVENT", "END:VCALENDAR"])


def _text(words: str) -> str:
    """Write words as TEXT (section 3.3.11)."""
    words = _CONTROL.sub("", words.replace("\r\n", "\n").replace("\r", "\n"))
    for sign in ("\\", ";", ","):
        words = words.replace(sign, f"\\{sign}")
    return words.replace("\n", "\\n")


def _folded(line: str) -> bytes:
    """Write a line in pieces of 75 octets at most, no sign split in two."""
    pieces, piece = [], b""
    for sign in line:
        octets = sign.encode("utf-8", "replace")
        if len(piece) + len(octets) > _LINE_OCTETS:
            pieces.append(piece)
            piece = b" "
        piece += octets
    return b"\r\n".join([*pieces, piece]) + b"\r\n"
