"""The calendar against published facts and a second program: leap days, clock changes, the dates on which rhythms come.

Sources: beside each. Seen there, unless it says from memory.
"""

import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import pytest
from dateutil import rrule, tz
from hypothesis import given, settings
from hypothesis import strategies as st
from planned import HOUR, copy, dues, studio, utc

from drill.model import Rhythm
from drill.timeline import life, local_moment, years_after
from drill.timeline.moments import rhythm_dates

# Commission communication under article 4 of Directive 2000/84/EC, OJ C 61, 17.2.2016, p. 1: changes at 1.00 UTC.
EU_SUMMER = (
    (date(2017, 3, 26), date(2017, 10, 29)),
    (date(2018, 3, 25), date(2018, 10, 28)),
    (date(2019, 3, 31), date(2019, 10, 27)),
    (date(2020, 3, 29), date(2020, 10, 25)),
    (date(2021, 3, 28), date(2021, 10, 31)),
)
# Energy Policy Act of 2005, section 110 (second Sunday of March, first of November, 2 a.m. local); the dates as printed
# at https://www.worldtimezone.com/dst_news/dst_news_usa00.html
US_SUMMER = (
    (date(2007, 3, 11), date(2007, 11, 4)),
    (date(2008, 3, 9), date(2008, 11, 2)),
    (date(2009, 3, 8), date(2009, 11, 1)),
    (date(2010, 3, 14), date(2010, 11, 7)),
    (date(2011, 3, 13), date(2011, 11, 6)),
    (date(2012, 3, 11), date(2012, 11, 4)),
    (date(2013, 3, 10), date(2013, 11, 3)),
    (date(2014, 3, 9), date(2014, 11, 2)),
    (date(2015, 3, 8), date(2015, 11, 1)),
)


@pytest.mark.parametrize(("begins", "ends"), EU_SUMMER)
@pytest.mark.parametrize(("zone", "hours"), [("Europe/Lisbon", 0), ("Europe/Berlin", 1), ("Europe/Helsinki", 2)])
def test_summer_time_in_the_european_union(begins: date, ends: date, zone: str, hours: int) -> None:
    def at_noon(day: date) -> float:
        return (local_moment(day, 12 * HOUR, zone) - utc(f"{day}T12:00")) / timedelta(hours=1)

    day = timedelta(days=1)
    assert [at_noon(begins - day), at_noon(begins), at_noon(ends - day), at_noon(ends)] == [
        -hours,
        -hours - 1,
        -hours - 1,
        -hours,
    ]
    assert local_moment(begins, hours * HOUR, zone) == local_moment(begins, hours * HOUR + HOUR, zone) - timedelta(
        hours=1
    )
    skipped_s = (hours + 1.5) * HOUR  # the hour from 1.00 UTC on is not on any clock
    assert (
        local_moment(begins, skipped_s, zone) == local_moment(begins, skipped_s + HOUR, zone) == utc(f"{begins}T01:30")
    )
    assert local_moment(ends, skipped_s, zone) == utc(f"{ends}T00:30")  # there twice: the first


@pytest.mark.parametrize(("begins", "ends"), US_SUMMER)
def test_summer_time_in_new_york(begins: date, ends: date) -> None:
    assert local_moment(begins, 1.5 * HOUR, "America/New_York") == utc(f"{begins}T06:30")
    assert local_moment(begins, 3.5 * HOUR, "America/New_York") == utc(f"{begins}T07:30")
    assert local_moment(ends, 0.5 * HOUR, "America/New_York") == utc(f"{ends}T04:30")
    assert local_moment(ends, 2.5 * HOUR, "America/New_York") == utc(f"{ends}T07:30")


def test_times_that_are_not_there_and_there_twice() -> None:
    """RFC 5545, section 3.3.5: 2007-03-11 02:30 in New York is 3:30 EDT, 2007-11-04 01:30 is 1:30 EDT (UTC-04:00)."""
    assert local_moment(date(2007, 3, 11), 2.5 * HOUR, "America/New_York") == utc("2007-03-11T07:30")
    assert local_moment(date(2007, 11, 4), 1.5 * HOUR, "America/New_York") == utc("2007-11-04T05:30")


def test_leap_days() -> None:
    """The Gregorian rule, which ISO 8601 takes over (from memory): 2000 had one, 1900, 2100 and 2200 have none."""
    last = Rhythm("year", (229,), 0.0)
    found = {year: rhythm_dates(last, year)[0].day for year in (1900, 2000, 2023, 2024, 2028, 2100, 2200, 2400)}
    assert found == {1900: 28, 2000: 29, 2023: 28, 2024: 29, 2028: 29, 2100: 28, 2200: 28, 2400: 29}
    assert len(rhythm_dates(Rhythm("day", (), 0.0), 2028)) == 366
    assert [d.month for d in rhythm_dates(Rhythm("month", (31,), 0.0), 2100)] == list(range(1, 13))
    assert years_after(date(2096, 2, 29), 4) == date(2100, 3, 1)


def test_a_monthly_upload_leaves_a_shoot_up_to_31_days() -> None:
    """Common practice, no source: what is shot just after the upload waits for the next, a whole long month."""
    upload = copy("up", "card", "cloud", rhythm=Rhythm("month", (1,), 18 * HOUR))

    def waits(zone: str) -> dict[date, timedelta]:
        made = studio(upload, zone=zone, ends_s=18 * HOUR + 60)
        found = {}
        for n in range(366):
            day = date(2028, 1, 1) + timedelta(days=n)
            lived = life(made, day, away=False, until=local_moment(day + timedelta(days=40), 0.0, zone))
            found[day] = lived.instants[0].at - lived.ends
        return found

    everywhere = waits("UTC")
    longest = timedelta(days=31) - timedelta(minutes=1)
    assert max(everywhere.values()) == longest
    assert [d.month for d, wait in everywhere.items() if wait == longest] == [1, 3, 5, 7, 8, 10, 12]
    assert everywhere[date(2028, 2, 1)] == timedelta(days=29) - timedelta(minutes=1)  # a leap year's February
    berlin = waits("Europe/Berlin")
    assert berlin[date(2028, 10, 1)] == longest + timedelta(hours=1)  # the long October of the clock change
    assert berlin[date(2028, 3, 1)] == longest - timedelta(hours=1)


# RFC 5545, section 3.8.5.3, examples that a rhythm can say: every start is 2 September 1997, 9:00 in New York.
PUBLISHED = [
    (
        "FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH",
        Rhythm("week", (1, 3), 9 * HOUR),
        "09-02 09-04 09-09 09-11 09-16 09-18 09-23 09-25 09-30 10-02",
    ),
    (
        "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15",
        Rhythm("month", (2, 15), 9 * HOUR),
        "09-02 09-15 10-02 10-15 11-02 11-15 12-02 12-15 01-02 01-15",
    ),
]


@pytest.mark.parametrize(("rule", "rhythm", "printed"), PUBLISHED)
def test_recurrences_that_are_printed(rule: str, rhythm: Rhythm, printed: str) -> None:
    made = studio(copy("up", "card", "cloud", rhythm=rhythm), zone="America/New_York")
    found = life(made, date(1997, 9, 1), away=False, until=utc("1998-02-01T00:00")).instants
    new_york = tz.gettz("America/New_York")
    local = [f"{instant.due.astimezone(new_york):%m-%d %H:%M}" for instant in found]
    expected = [f"{day} 09:00" for day in printed.split()]
    assert local[: len(expected)] == expected, rule


def test_where_a_date_does_not_exist_we_differ_from_the_published_rule() -> None:
    """RFC 5545, section 3.8.5.3 leaves such a date out (15 and 30 of each month: no 30 February); here the last day
    stands for it, as nobody skips the month's upload because February is short."""
    made = studio(copy("up", "card", "cloud", rhythm=Rhythm("month", (15, 30), 9 * HOUR)), zone="America/New_York")
    found = dues(life(made, date(2007, 1, 1), away=False, until=utc("2007-04-01T00:00")), "up")
    assert [text[5:10] for text in found] == ["01-15", "01-30", "02-15", "02-28", "03-15", "03-30"]


_WEEKDAYS = st.sets(st.integers(0, 6), min_size=1).map(sorted)
_DAYS = st.sets(st.integers(1, 31), min_size=1, max_size=3).map(sorted)
_YEAR_DAYS = st.dates(date(2000, 1, 1), date(2000, 12, 31)).map(lambda d: [d.month * 100 + d.day])
RHYTHMS = st.one_of(
    st.tuples(st.just("day"), st.just([])),
    st.tuples(st.just("week"), _WEEKDAYS),
    st.tuples(st.sampled_from(["month", "quarter"]), _DAYS),
    st.tuples(st.just("year"), _YEAR_DAYS),
)


def second_opinion(every: str, on: list[int], year: int) -> Iterator[date]:
    """Yield the dates as dateutil's rules give them: of the days up to the one asked for, the last that is there."""
    span = {"dtstart": datetime(year, 1, 1), "until": datetime(year, 12, 31)}
    if every == "day":
        yield from (at.date() for at in rrule.rrule(rrule.DAILY, **span))
    if every == "week":
        yield from (at.date() for at in rrule.rrule(rrule.WEEKLY, byweekday=on, **span))
    months = {"month": range(1, 13), "quarter": (1, 4, 7, 10)}
    for number in on if every in ("month", "quarter", "year") else ():
        month, day = divmod(number, 100) if every == "year" else (months[every], number)
        up_to = range(1, day + 1)
        yield from (
            at.date() for at in rrule.rrule(rrule.MONTHLY, bymonth=month, bymonthday=up_to, bysetpos=-1, **span)
        )


@settings(deadline=None)
@given(RHYTHMS, st.integers(1971, 2400))
def test_the_dates_of_every_rhythm_as_another_program_gives_them(chosen: tuple[str, list[int]], year: int) -> None:
    every, on = chosen
    assert rhythm_dates(Rhythm(every, tuple(on), 0.0), year) == sorted(set(second_opinion(every, on, year)))


ZONES = (
    "Europe/Lisbon",
    "America/New_York",
    "Australia/Lord_Howe",
    "Asia/Kathmandu",
    "Pacific/Apia",
    "America/St_Johns",
)


@settings(deadline=None)
@given(st.sampled_from(ZONES), st.dates(date(1996, 1, 1), date(2036, 12, 31)), st.integers(0, 24 * 60 - 1))
def test_moments_as_another_program_gives_them(zone: str, day: date, minute: int) -> None:
    wall = datetime(day.year, day.month, day.day, tzinfo=tz.gettz(zone)) + timedelta(minutes=minute)
    assert local_moment(day, minute * 60.0, zone) == tz.resolve_imaginary(wall).astimezone(UTC)


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="this system cannot be told another zone for one process")
@pytest.mark.parametrize("zone", ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe"])
def test_the_zone_of_this_computer_is_as_good_as_one_by_name(zone: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        for n in range(0, 366 * 24, 5):  # every fifth half hour of a year, at every time of day
            day, half_hour = date(2026, 1, 1) + timedelta(days=n // 24), (n * 7) % 48
            assert local_moment(day, half_hour * 1800.0, None) == local_moment(day, half_hour * 1800.0, zone)
    finally:
        monkeypatch.undo()
        time.tzset()
