"""The calendar event against the package icalendar (a parser of RFC 5545), and against that standard's own examples."""

from datetime import UTC, date, datetime, timedelta

import icalendar
from hypothesis import given
from hypothesis import strategies as st

from drill.duedate import calendar_event

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)
# TEXT may hold no control characters but tab and line break (section 3.3.11); what else is no character at all.
WORDS = st.text(st.characters(exclude_categories=("Cc", "Cs")) | st.sampled_from('\n\t;,\\:"é漢😀'), max_size=300)


def made(summary: str, description: str) -> bytes:
    return calendar_event("Saltmarsh", date(2027, 3, 4), made=NOW, summary=summary, description=description)


@given(summary=WORDS, description=WORDS)
def test_another_parser_reads_back_what_was_meant(summary: str, description: str) -> None:
    calendar = icalendar.Calendar.from_ical(made(summary, description))
    assert calendar["VERSION"] == "2.0" and calendar["PRODID"]
    (event,) = calendar.events
    assert not event.errors
    assert (str(event["SUMMARY"]), str(event["DESCRIPTION"])) == (summary, description)
    assert (event.start, event.end, event.DTSTAMP) == (date(2027, 3, 4), date(2027, 3, 5), NOW)
    (alarm,) = event.alarms.times
    assert alarm.trigger == date(2027, 2, 25) or alarm.trigger == datetime(2027, 2, 25)
    assert event.walk("VALARM")[0]["TRIGGER"].dt == timedelta(days=-7)
    assert event.walk("VALARM")[0]["ACTION"] == "DISPLAY"


def test_the_standards_own_example_of_text() -> None:
    """RFC 5545, section 3.3.11 (from memory): line breaks as a backslash and n."""
    content = made("Review", "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.")
    unfolded = content.replace(b"\r\n ", b"")  # section 3.1
    assert rb"DESCRIPTION:Project XYZ Final Review\nConference Room - 3B\nCome Prepared." in unfolded
    assert b"SUMMARY:reed\\, kiln\\; heron\\\\saltmarsh\r\n" in made("reed, kiln; heron\\saltmarsh", "")


def test_what_an_event_must_have() -> None:
    """RFC 5545, sections 3.6 and 3.6.1; RFC 6321 errata 3892 and 4149: UID, DTSTAMP, and VALUE=DATE on a date."""
    lines = made("Drill", "").split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR" and lines[-2:] == [b"END:VCALENDAR", b""]
    for once in (b"VERSION:2.0", b"PRODID:", b"UID:", b"DTSTAMP:", b"DTSTART;VALUE=DATE:"):
        assert sum(line.startswith(once) for line in lines) == 1
