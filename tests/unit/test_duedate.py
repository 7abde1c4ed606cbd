"""When the next drill is due, and the event's text: escaped, folded, the same event for the same studio."""

from datetime import UTC, date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from drill.duedate import calendar_event, next_due

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)
DAY_S = 86400.0


def event(studio: str = "Saltmarsh Light", *, made: datetime = NOW, summary: str = "Drill", words: str = "") -> bytes:
    return calendar_event(studio, date(2027, 3, 4), made=made, summary=summary, description=words)


def test_the_sooner_of_two_spans_decides() -> None:
    last = NOW - timedelta(days=20)
    assert next_due(last, 100 * DAY_S, now=NOW) == last + timedelta(days=100)
    assert next_due(last, 100 * DAY_S, 90 * DAY_S, now=NOW) == last + timedelta(days=90)
    assert next_due(last, None, 10 * DAY_S, now=NOW) == NOW - timedelta(days=10)  # overdue is said as it is


def test_without_a_drill_it_is_due_now_and_without_a_span_never() -> None:
    assert next_due(None, 100 * DAY_S, now=NOW) == NOW
    assert next_due(NOW, None, now=NOW) is None
    assert next_due(None, None, now=NOW) is None
    assert next_due(NOW, 1e18, now=NOW) is None


def test_the_same_studio_has_the_same_event_and_a_later_one_replaces_it() -> None:
    def line(content: bytes, name: str) -> str:
        return next(line for line in content.decode().split("\r\n") if line.startswith(name))

    later = NOW + timedelta(minutes=1)
    assert line(event(), "UID:") == line(event(made=later), "UID:") != line(event("Kiln"), "UID:")
    assert int(line(event(), "SEQUENCE:")[9:]) < int(line(event(made=later), "SEQUENCE:")[9:]) < 2**31
    assert line(event(), "DTSTAMP:") == "DTSTAMP:20261124T200000Z"
    assert line(event(), "DTSTART") == "DTSTART;VALUE=DATE:20270304"


def test_the_alarm_can_be_left_out() -> None:
    made = calendar_event("Reed", date(2027, 3, 4), made=NOW, summary="Drill", description="", alarm_days=None)
    assert b"VALARM" not in made
    assert b"TRIGGER:-P7D\r\n" in event()


@given(words=st.text(max_size=400))
def test_no_line_is_longer_than_75_octets_and_no_sign_is_split(words: str) -> None:
    for line in event(words=words, summary=words).split(b"\r\n"):
        assert len(line) <= 75
        line.decode("utf-8")
        assert b"\n" not in line and b"\r" not in line
