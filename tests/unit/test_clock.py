"""Times as people write them: the examples of RFC 3339, section 5.8, with their epochs recomputed."""

from datetime import UTC, date, datetime

import pytest

from drill import clock


@pytest.mark.parametrize(
    ("text", "epoch_s"),
    [
        ("1985-04-12T23:20:50.52Z", 482196050.52),
        ("1996-12-19T16:39:57-08:00", 851042397),
        ("1937-01-01T12:00:27.87+00:20", -1041337172.13),
    ],
)
def test_examples_of_rfc_3339(text: str, epoch_s: float) -> None:
    assert clock.parse_time(text).timestamp() == pytest.approx(epoch_s, abs=1e-6)


def test_a_leap_second_counts_as_the_second_before_it() -> None:
    one, other = clock.parse_time("1990-12-31T23:59:60Z"), clock.parse_time("1990-12-31T15:59:60-08:00")
    assert one == other == datetime(1990, 12, 31, 23, 59, 59, tzinfo=UTC)


def test_a_date_alone_is_its_first_moment_local_time() -> None:
    assert clock.parse_time("2026-09-12") == clock.moment(date(2026, 9, 12)) == datetime(2026, 9, 12).astimezone()


@pytest.mark.parametrize("text", ["", "yesterday", "2026-13-01", "2026-09-12T25:00:00Z", "20260912"])
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        clock.parse_time(text)


def test_times_are_written_in_utc() -> None:
    assert clock.rfc3339(clock.parse_time("1996-12-19T16:39:57-08:00")) == "1996-12-20T00:39:57Z"
