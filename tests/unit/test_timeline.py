"""The calendar of a scheme: which moments a step comes at, and what is held from moment to moment."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from planned import DAY, HOUR, MEDIA, copy, dues, medium, studio, utc

from drill.model import Promised, Rhythm, Shoot, Step, Studio, Targets
from drill.timeline import Life, horizon, life, local_moment, spans, takes_s, usual, years_after

FRIDAY = date(2026, 9, 11)


def test_a_day_away_in_summer_time() -> None:
    found = life(studio(), FRIDAY, away=True)
    assert (found.begins, found.ends) == (utc("2026-09-11T08:00"), utc("2026-09-11T17:00"))
    assert found.home_at == utc("2026-09-14T17:00")
    assert found.until == utc("2036-09-11T08:00")


def test_a_shoot_past_midnight_ends_the_next_day_also_when_the_clock_changes() -> None:
    plain = studio(copy("in", "card", "tablet", after_s=HOUR))
    assert plain.scheme is not None
    late = replace(plain, scheme=replace(plain.scheme, begins_s=14 * HOUR, ends_s=26 * HOUR))
    found = life(late, FRIDAY, away=True)
    assert (found.begins, found.ends) == (utc("2026-09-11T13:00"), utc("2026-09-12T01:00"))
    assert found.instants[0].due == utc("2026-09-12T02:00") and found.home_at == utc("2026-09-15T01:00")
    assert life(late, date(2026, 10, 24), away=False).ends == utc("2026-10-25T02:00")  # winter time has begun


def test_at_home_one_is_home_all_the_time() -> None:
    found = life(studio(copy("in", "card", "tablet")), FRIDAY, away=False)
    assert found.home_at == found.begins
    assert not any(span.away for span in spans(found, studio(copy("in", "card", "tablet"))))


def test_after_the_shoot_and_after_another_step_which_takes_its_time() -> None:
    first = replace(copy("in", "card", "tablet", after_s=HOUR), takes_s=HOUR / 2)
    then = copy("up", "tablet", "cloud", follows="in", after_s=2 * HOUR)
    found = life(studio(then, first), FRIDAY, away=False)
    assert [(i.step.id, i.due, i.at) for i in found.instants] == [
        ("in", utc("2026-09-11T18:00"), utc("2026-09-11T18:30")),
        ("up", utc("2026-09-11T20:30"), utc("2026-09-11T20:30")),
    ]


def test_what_waits_for_home_waits_and_what_is_done_away_is_not_done_at_home() -> None:
    waits, away = copy("w", "card", "kiln", only_when="home"), copy("a", "card", "tablet", only_when="away")
    assert dues(life(studio(waits), FRIDAY, away=True), "w") == ["2026-09-14 17:00"]
    assert dues(life(studio(waits), FRIDAY, away=False), "w") == ["2026-09-11 17:00"]
    assert dues(life(studio(away), FRIDAY, away=True), "a") == ["2026-09-11 17:00"]
    assert dues(life(studio(away), FRIDAY, away=False), "a") == []
    assert dues(life(studio(replace(away, after_s=4 * DAY)), FRIDAY, away=True), "a") == []


def test_tried_again_sixty_times_and_only_while_away_where_it_says_so() -> None:
    again = copy("a", "card", "tablet", again_s=DAY)
    found = dues(life(studio(again), FRIDAY, away=True), "a")
    assert (len(found), found[1], found[-1]) == (61, "2026-09-12 17:00", "2026-11-10 17:00")
    assert len(dues(life(studio(replace(again, only_when="away")), FRIDAY, away=True), "a")) == 3  # home at the fourth
    home = dues(life(studio(replace(again, only_when="home")), FRIDAY, away=True), "a")
    assert (len(home), home[0]) == (61, "2026-09-14 17:00")


def test_a_monthly_rhythm_keeps_local_time_over_the_clock_change() -> None:
    monthly = copy("up", "card", "cloud", rhythm=Rhythm("month", (1,), 20 * HOUR))
    found = dues(life(studio(monthly), FRIDAY, away=False, until=utc("2027-01-15T00:00")), "up")
    assert found == ["2026-10-01 19:00", "2026-11-01 20:00", "2026-12-01 20:00", "2027-01-01 20:00"]


def test_a_rhythm_comes_from_its_start_on_and_not_at_the_wrong_time() -> None:
    weekly = copy("w", "card", "kiln", rhythm=Rhythm("week", (6,), 20 * HOUR))  # Sundays, the 13th first
    soon = utc("2026-10-01T00:00")
    assert dues(life(studio(weekly), FRIDAY, away=True, until=soon), "w")[0] == "2026-09-13 19:00"
    home = replace(weekly, only_when="home")
    assert dues(life(studio(home), FRIDAY, away=True, until=soon), "w")[0] == "2026-09-20 19:00"
    away = replace(weekly, only_when="away")
    assert dues(life(studio(away), FRIDAY, away=True, until=soon), "w") == ["2026-09-13 19:00"]
    late = replace(weekly, after_s=5 * DAY)
    assert dues(life(studio(late), FRIDAY, away=True, until=soon), "w")[0] == "2026-09-20 19:00"


def test_a_rhythm_that_follows_begins_with_the_first_end_of_what_it_follows() -> None:
    first = replace(copy("in", "card", "tablet"), takes_s=2 * DAY, again_s=DAY)
    weekly = copy("w", "tablet", "kiln", follows="in", after_s=HOUR, rhythm=Rhythm("week", (6,), 20 * HOUR))
    assert dues(life(studio(weekly, first), FRIDAY, away=True), "w")[0] == "2026-09-13 19:00"
    late = replace(first, takes_s=3 * DAY)
    assert dues(life(studio(weekly, late), FRIDAY, away=True), "w")[0] == "2026-09-20 19:00"
    never = replace(first, only_when="away")
    assert dues(life(studio(weekly, never), FRIDAY, away=False), "w") == []


def test_a_step_follows_each_time_of_a_rhythm() -> None:
    monthly = copy("up", "card", "cloud", rhythm=Rhythm("month", (1,), 12 * HOUR))
    look = Step(id="look", do="verify", target="cloud", follows="up", after_s=DAY, takes_s=0.0)
    found = dues(life(studio(monthly, look), FRIDAY, away=False, until=utc("2026-12-15T00:00")), "look")
    assert found == ["2026-10-02 11:00", "2026-11-02 12:00", "2026-12-02 12:00"]
    home = replace(look, only_when="home")  # one moment counts once, however many times lead to it
    daily = replace(monthly, rhythm=Rhythm("day", (), 12 * HOUR))
    found = dues(life(studio(daily, home), FRIDAY, away=True, until=utc("2026-09-17T00:00")), "look")
    assert found == ["2026-09-14 17:00", "2026-09-15 11:00", "2026-09-16 11:00"]


@pytest.mark.parametrize(
    ("rhythm", "expected"),
    [
        (Rhythm("month", (30, 31), 0.0), ["2028-01-30", "2028-01-31", "2028-02-29", "2028-03-30", "2028-03-31"]),
        (Rhythm("quarter", (1, 15), 0.0), ["2028-01-01", "2028-01-15", "2028-04-01", "2028-04-15", "2028-07-01"]),
        (Rhythm("year", (229,), 0.0), ["2028-02-29", "2029-02-28", "2030-02-28", "2031-02-28", "2032-02-29"]),
        (Rhythm("week", (0, 6), 0.0), ["2028-01-02", "2028-01-03", "2028-01-09", "2028-01-10", "2028-01-16"]),
        (Rhythm("day", (), 0.0), ["2028-01-01", "2028-01-02", "2028-01-03", "2028-01-04", "2028-01-05"]),
    ],
)
def test_rhythms(rhythm: Rhythm, expected: list[str]) -> None:
    step = copy("up", "card", "cloud", rhythm=rhythm)
    found = dues(life(studio(step, zone="UTC"), date(2027, 12, 31), away=False), "up")
    assert [text[:10] for text in found[:5]] == expected


def test_the_order_of_one_moment_is_that_of_the_file() -> None:
    erase = Step(id="format", do="erase", source="card", after_s=HOUR)
    keep = copy("keep", "card", "kiln", after_s=HOUR)
    for steps, kept in (((erase, keep), ()), ((keep, erase), ("kiln",))):
        made = studio(*steps)
        found = life(made, FRIDAY, away=False)
        assert [i.step.id for i in found.instants] == [step.id for step in steps]
        assert tuple(h.medium for h in spans(found, made)[-1].copies) == kept


def test_ten_years_on_and_the_leap_day() -> None:
    assert years_after(date(2028, 2, 29), 10) == date(2038, 3, 1)
    assert years_after(date(2028, 2, 29), 4) == date(2032, 2, 29)
    assert years_after(date(2028, 3, 1), 1) == date(2029, 3, 1)
    scheme = studio().scheme
    assert scheme is not None
    assert horizon(scheme, date(2028, 2, 29), 1) == utc("2029-03-01T09:00")


def test_a_shoot_over_a_clock_change_does_not_end_before_it_begins() -> None:
    short = studio(zone="Europe/Berlin", begins_s=2.5 * HOUR, ends_s=3.1 * HOUR)
    found = life(short, date(2026, 3, 29), away=True)
    assert found.begins == found.ends == utc("2026-03-29T01:30")


# --- how long it takes


def test_bytes_and_files_by_the_slower_of_both() -> None:
    step = replace(copy("in", "card", "tablet"), takes_s=None)
    assert takes_s(step, studio(step)) == 1000 * 0.005 + 60e9 / 40e6  # a card 80 MB/s, a tablet 40 MB/s
    kiln = replace(copy("in", "card", "kiln"), takes_s=None)
    assert takes_s(kiln, studio(kiln)) == 1000 * 0.01 + 60e9 / 80e6
    verify = Step(id="look", do="verify", target="kiln")
    assert takes_s(verify, studio(verify)) == 1000 * 0.01 + 60e9 / 120e6
    assert takes_s(replace(verify, takes_s=5.0), studio(verify)) == 5.0
    assert takes_s(Step(id="format", do="erase", source="card"), studio()) == 0


def test_a_step_that_would_take_for_ever_is_never_done() -> None:
    step = replace(copy("in", "card", "tablet"), takes_s=None)
    made = studio(step, files=10**9, media=(medium("card", "card", per_file_s=10 * 365.25 * DAY), medium("tablet")))
    assert takes_s(step, made) == 100 * 365.25 * DAY
    assert [held.medium for held in spans(life(made, date(2026, 7, 4), away=True), made)[-1].copies] == ["card"]


def test_two_media_on_one_bus_share_it() -> None:
    step = replace(copy("in", "card", "kiln"), takes_s=None)
    both = (medium("card", "card", bus="hub"), medium("kiln", bus="hub"))
    assert takes_s(step, studio(step, media=both)) == 1000 * 0.01 + 60e9 / 25e6
    one = (medium("card", "card"), medium("kiln", bus="hub"))
    assert takes_s(step, studio(step, media=one)) == 1000 * 0.01 + 60e9 / 50e6


def test_a_usual_shoot_is_the_mean_of_what_is_promised() -> None:
    def shoot(*sizes: int | None) -> Shoot:
        promise = [Promised(f"raw/{n}.dng", (), size, "other") for n, size in enumerate(sizes)]
        return Shoot("reed", FRIDAY, None, promise, Targets())

    plain = studio(size=None, files=None)
    assert usual(plain) == (40_000_000_000, 1500)
    assert usual(replace(plain, shoots=(shoot(10, 20), shoot(31), shoot(4, None, 4, 4), shoot()))) == (31, 3)
    assert usual(replace(studio(size=7, files=None), shoots=(shoot(10, 20),))) == (7, 2)


# --- what is held


def told(life_: Life, made: Studio) -> list[tuple[str, bool, list[str]]]:
    return [
        (f"{s.begins:%m-%d %H}", s.away, [h.medium + ("+" if h.verified else "") for h in s.copies])
        for s in spans(life_, made)
    ]


def test_spans_from_the_first_picture_to_the_horizon() -> None:
    made = studio(
        copy("in", "card", "tablet", after_s=HOUR),
        Step(id="shelve", do="move", source="tablet", target="kiln", takes_s=0.0, after_s=5 * DAY),
        Step(id="look", do="verify", target="kiln", takes_s=0.0, after_s=6 * DAY),
        Step(id="format", do="erase", source="card", only_once_on=("kiln",), after_s=HOUR, again_s=DAY),
    )
    found = life(made, FRIDAY, away=True, until=utc("2026-12-01T00:00"))
    assert told(found, made) == [
        ("09-11 08", True, ["card"]),
        ("09-11 18", True, ["card", "tablet"]),
        ("09-14 17", False, ["card", "tablet"]),
        ("09-16 17", False, ["card", "kiln"]),
        ("09-16 18", False, ["kiln"]),
        ("09-17 17", False, ["kiln+"]),
    ]
    last = spans(found, made)[-1]
    assert (last.ends, last.copies[0].since) == (found.until, utc("2026-09-16T17:00"))
    assert last.copies[0].made_from == ("card", "tablet")
    assert last.copies[0].verified == utc("2026-09-17T17:00")


def test_spans_have_no_gap_and_no_neighbour_of_the_same() -> None:
    daily = Rhythm("day", (), 12 * HOUR)
    made = studio(
        copy("in", "card", "tablet", rhythm=daily),
        Step(id="look", do="verify", target="tablet", rhythm=Rhythm("month", (1,), 0.0), takes_s=HOUR),
    )
    found = life(made, FRIDAY, away=True)
    parts = spans(found, made)
    assert (parts[0].begins, parts[-1].ends) == (found.begins, found.until)
    assert len(parts) == 3 + 120  # the copy, coming home, a proof each month
    for one, next_ in pairwise(parts):
        assert one.ends == next_.begins
        assert (one.away, one.copies) != (next_.away, next_.copies)


def test_mirrors_follow_a_copy_and_an_erasing_unless_they_keep_versions() -> None:
    media = (
        *MEDIA[:2],
        medium("loft", mirrors="kiln"),
        medium("kiln"),
        medium("cloud", "cloud", mirrors="loft", keeps_versions_s=30 * DAY),
    )
    keep = copy("keep", "card", "kiln", after_s=HOUR)
    drop = Step(id="drop", do="erase", source="kiln", after_s=2 * HOUR)
    made = studio(keep, drop, media=media)
    found = spans(life(made, FRIDAY, away=False), made)
    assert [[h.medium for h in span.copies] for span in found] == [
        ["card"],
        ["card", "loft", "kiln", "cloud"],
        ["card", "cloud"],
    ]
    assert [h.made_from for h in found[1].copies] == [(), ("card", "kiln"), ("card",), ("card", "kiln", "loft")]


def test_a_move_leaves_nothing_behind_where_the_target_holds_it_and_all_where_it_does_not() -> None:
    keep = copy("keep", "card", "kiln")
    move = Step(id="shelve", do="move", source="card", target="kiln", takes_s=0.0, after_s=HOUR)
    made = studio(keep, move)
    assert told(life(made, FRIDAY, away=False), made)[-1][2] == ["kiln"]
    nothing = studio(Step(id="shelve", do="move", source="tablet", target="kiln", takes_s=0.0))
    assert told(life(nothing, FRIDAY, away=False), nothing)[-1][2] == ["card"]


def test_a_copy_made_anew_is_not_proven() -> None:
    made = studio(
        copy("keep", "card", "kiln", after_s=HOUR),
        Step(id="look", do="verify", target="kiln", takes_s=0.0, after_s=2 * HOUR),
        Step(id="drop", do="erase", source="kiln", after_s=3 * HOUR),
        copy("anew", "card", "kiln", after_s=4 * HOUR),
    )
    parts = told(life(made, FRIDAY, away=False), made)
    assert [copies for _, _, copies in parts] == [
        ["card"],
        ["card", "kiln"],
        ["card", "kiln+"],
        ["card"],
        ["card", "kiln"],
    ]


def test_a_studio_without_a_scheme_has_no_life() -> None:
    with pytest.raises(ValueError, match="no scheme"):
        life(replace(studio(), scheme=None), FRIDAY, away=False)


def test_a_local_moment_is_whole_seconds_after_midnight_by_the_wall_clock() -> None:
    assert local_moment(date(2026, 3, 29), 12 * HOUR, "Europe/Berlin") == utc("2026-03-29T10:00")
    assert local_moment(date(2026, 3, 29), 1.5 * HOUR, "UTC") - utc("2026-03-29T00:00") == timedelta(hours=1.5)


def test_a_copy_that_came_back_did_not_come_through_itself() -> None:
    made = studio(
        copy("in", "card", "tablet"),
        Step(id="format", do="erase", source="card", after_s=HOUR),
        copy("back", "tablet", "card", after_s=2 * HOUR),
        copy("keep", "card", "kiln", after_s=3 * HOUR),
    )
    last = spans(life(made, FRIDAY, away=False), made)[-1]
    assert {held.medium: held.made_from for held in last.copies} == {
        "card": ("tablet",),
        "tablet": ("card",),
        "kiln": ("tablet", "card"),
    }


def test_what_begins_before_its_source_has_the_shoot_finds_nothing_there() -> None:
    """An upload that begins at 20:00 does not take along what comes to the drive at 20:25."""
    late = replace(copy("in", "card", "kiln", after_s=2 * HOUR), takes_s=25 * 60.0)  # 20:00 to 20:25 local time
    nightly = copy("up", "kiln", "cloud", rhythm=Rhythm("day", (), 20 * HOUR))
    upload = replace(nightly, takes_s=10 * HOUR)
    of = studio(late, upload)
    found = life(of, FRIDAY, away=False, until=utc("2026-09-14T12:00"))
    assert [i.due for i in found.instants if i.step.id == "up"] == [utc("2026-09-12T19:00"), utc("2026-09-13T19:00")]
    in_cloud = next(held for held in spans(found, of)[-1].copies if held.medium == "cloud")
    assert in_cloud.since == utc("2026-09-13T05:00")


def test_a_check_that_began_before_the_copy_came_proves_nothing() -> None:
    brought = copy("in", "card", "kiln", after_s=3 * HOUR)
    check = Step(id="check", do="verify", target="kiln", after_s=2 * HOUR, takes_s=2 * HOUR)
    of = studio(brought, check)
    last = spans(life(of, FRIDAY, away=False, until=utc("2026-09-14T12:00")), of)[-1]
    assert [(held.medium, held.verified) for held in last.copies] == [("card", None), ("kiln", None)]
