"""The forecast's second engine, held against cases worked out by hand: a judge that nods is worse than none."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from math import comb, exp, isclose
from pathlib import Path
from random import Random
from typing import Any

import pytest
from simulation.blows import YEAR_S, after_blow, hit_by, rates_of
from simulation.chain import chances_at, lost_by
from simulation.days import days_of, takes_s
from simulation.planned import Copy, stretches
from simulation.play import play, simulate, stage, tally
from simulation.statuses import after_step
from simulation.wallclock import falls_on, moment_of, shown

from drill.model import Bus, Costs, Medium, Place, Rhythm, Risks, Scheme, Step, Studio

HOUR, DAY = 3600.0, 86400.0
REED = date(2026, 10, 20)
NOTHING = Risks(theft=0, fire=0, lockout=0, deletion=0, attack=0, rot=0)


def _medium(id_: str, kind: str = "ssd", place: str | None = None, **more: Any) -> Medium:
    defaults: dict[str, Any] = {"attached": False, "offsite": False, "carried": False, "fails_per_year": 0.0}
    return Medium(id_, kind, place or f"at-{id_}", **(defaults | more))


def _studio(*media: Medium, steps: tuple[Step, ...] = (), places: tuple[Place, ...] = (), **more: Any) -> Studio:
    buses = more.pop("buses", {})
    settings: dict[str, Any] = {
        "made_on": (media[0].id,),
        "begins_s": 9 * HOUR,
        "ends_s": 18 * HOUR,
        "zone": "UTC",
        "away_for_s": 3 * DAY,
        "home": None,
        "size": None,
        "files": None,
        "replaced_within_s": 30 * DAY,
        "risks": NOTHING,
        "costs": Costs(),
    }
    scheme = Scheme(steps=steps, **(settings | more))
    known = {place.id: place for place in places}
    file = Path("reed.toml")
    return Studio(
        file=file,
        name="Reed",
        scratch=None,
        ledger=file,
        reports=file,
        weights={},
        places=known | {m.place: Place(m.place) for m in media if m.place not in known},
        media={medium.id: medium for medium in media},
        buses=buses,
        shoots=(),
        copies=(),
        scheme=scheme,
    )


def _utc(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc]


COPY = Step("import", "copy", "card", "drive", after_s=2 * HOUR, takes_s=HOUR)


# --- the calendar ----------------------------------------------------------------------------------------------------


def test_a_night_on_which_the_clocks_change() -> None:
    """Lisbon 2026 (Directive 2000/84/EC): forward on 29 March at 01:00 UTC, back on 25 October at 01:00 UTC."""
    lisbon = "Europe/Lisbon"
    assert moment_of(date(2026, 3, 28), 20 * HOUR, lisbon) == _utc(2026, 3, 28, 20)
    assert moment_of(date(2026, 3, 29), 20 * HOUR, lisbon) == _utc(2026, 3, 29, 19)
    assert moment_of(date(2026, 3, 29), 1.5 * HOUR, lisbon) == _utc(2026, 3, 29, 1, 30)  # 01:30 is not there: 02:30
    assert moment_of(date(2026, 10, 25), 1.5 * HOUR, lisbon) == _utc(2026, 10, 25, 0, 30)  # there twice: the first
    assert shown(_utc(2026, 10, 25, 1, 30), lisbon) == datetime(2026, 10, 25, 1, 30)  # the second


def test_half_an_hour_of_clock_change_and_a_day_that_was_not() -> None:
    """Lord Howe Island changes by 30 minutes; Apia had no 30 December 2011 (both: the tz database)."""
    assert moment_of(date(2026, 10, 4), 2.25 * HOUR, "Australia/Lord_Howe") == _utc(2026, 10, 3, 15, 45)  # 02:45 there
    assert moment_of(date(2011, 12, 30), 12 * HOUR, "Pacific/Apia") == _utc(2011, 12, 30, 22)  # the 31st, at noon


@pytest.mark.parametrize(
    ("every", "on", "days"),
    [
        ("month", (31,), ["2028-01-31", "2028-02-29", "2028-03-31", "2028-04-30"]),
        ("month", (1, 30), ["2028-01-01", "2028-01-30", "2028-02-01", "2028-02-29", "2028-03-01", "2028-03-30"]),
        ("quarter", (1,), ["2028-01-01", "2028-04-01", "2028-07-01", "2028-10-01", "2029-01-01"]),
        ("year", (229,), ["2028-02-29", "2029-02-28", "2030-02-28"]),
        ("year", (331, 1231), ["2028-03-31", "2028-12-31", "2029-03-31"]),
        ("week", (0, 6), ["2028-01-02", "2028-01-03", "2028-01-09", "2028-01-10"]),
        ("day", (), ["2028-01-01", "2028-01-02", "2028-01-03"]),
    ],
)
def test_the_days_of_a_rhythm(every: str, on: tuple[int, ...], days: list[str]) -> None:
    rhythm = Rhythm(every, on, 12 * HOUR)
    calendar = (date(2028, 1, 1) + timedelta(days=n) for n in range(1200))
    found = (day.isoformat() for day in calendar if falls_on(rhythm, day))
    assert [next(found) for _ in days] == days


def test_a_monthly_upload_leaves_a_shoot_up_to_a_month_from_its_first_off_site_copy() -> None:
    """Common practice, no source: made in the evening of 1 January after the upload at noon, it waits to 1 February."""
    upload = Step("upload", "copy", "card", "cloud", rhythm=Rhythm("month", (1,), 12 * HOUR), takes_s=0.0)
    studio = _studio(_medium("card"), _medium("cloud", "cloud"), steps=(upload,))
    january = [days_of(studio, date(2026, 1, day), away=False, until=_utc(2026, 3, 2)) for day in (1, 31)]
    waits = [stretches(studio, days)[0] for days in january]
    assert [wait.ends for wait in waits] == [_utc(2026, 2, 1, 12)] * 2
    assert waits[0].ends - waits[0].begins == timedelta(days=31, hours=3)


def test_ten_years_of_a_shoot_made_on_a_leap_day() -> None:
    studio = _studio(_medium("card"))
    assert days_of(studio, date(2028, 2, 29), away=False).until == _utc(2038, 3, 1, 9)


def test_when_a_step_is_due() -> None:
    """By hand, for a shoot on a Tuesday, away until Friday 18:00."""

    def due(*steps: Step, away: bool = True) -> list[str]:
        studio = _studio(_medium("card"), _medium("drive"), steps=steps)
        days = days_of(studio, REED, away=away, until=_utc(2026, 10, 31))
        last = steps[-1].id
        return [f"{act.due:%d %H:%M}" for act in days.acts if act.step and act.step.id == last]

    def step(**settings: Any) -> Step:
        return Step("last", "copy", "card", "drive", takes_s=0.0, **settings)

    assert due(step(after_s=HOUR)) == ["20 19:00"]
    assert due(step(only_when="home")) == ["23 18:00"]
    assert due(step(only_when="home"), away=False) == ["20 18:00"]
    assert due(step(only_when="away", after_s=3 * DAY)) == []
    assert due(step(only_when="away"), away=False) == []
    assert due(step(only_when="home", again_s=3 * DAY)) == ["23 18:00", "26 18:00", "29 18:00"]
    assert due(step(only_when="away", again_s=DAY)) == ["20 18:00", "21 18:00", "22 18:00"]
    sundays = Rhythm("week", (6,), 20 * HOUR)
    assert due(step(rhythm=sundays)) == ["25 20:00"]
    assert due(step(rhythm=sundays, after_s=6 * DAY)) == []
    daily = Rhythm("day", (), 18 * HOUR)
    assert due(step(rhythm=daily, only_when="away")) == ["20 18:00", "21 18:00", "22 18:00"]
    assert due(COPY, step(follows="import", after_s=HOUR)) == ["20 22:00"]
    twice = Step("first", "verify", None, "drive", takes_s=0.0, rhythm=sundays)
    assert due(twice, step(follows="first", rhythm=daily))[:2] == ["26 18:00", "27 18:00"]


def test_how_long_a_step_takes() -> None:
    """40 GB and 1500 files where nobody said: 80 MB/s from a card 500 s, 60 MB/s each on a bus of 120."""
    a, b = _medium("card", "card"), _medium("drive", "ssd", reads_at_bps=200e6)
    free, on_bus = Step("s", "copy", "card", "drive"), {"bus": "hub"}
    assert takes_s(_studio(a, b), free) == pytest.approx(500 + 7.5)
    assert takes_s(_studio(a, b), Step("s", "verify", None, "drive")) == pytest.approx(200 + 7.5)
    assert takes_s(_studio(a, b), Step("s", "erase", "card")) == 0
    hub = {"hub": Bus("hub", 120e6)}
    shared = _studio(_medium("card", "ssd", **on_bus), _medium("drive", "ssd", per_file_s=0.1, **on_bus), buses=hub)
    assert takes_s(shared, free) == pytest.approx(40e9 / 60e6 + 150)


# --- the plan --------------------------------------------------------------------------------------------------------


def test_the_plan_of_a_card_that_is_erased() -> None:
    steps = (
        COPY,
        Step("upload", "copy", "drive", "cloud", follows="import", takes_s=DAY),
        Step("check", "verify", None, "cloud", follows="upload", takes_s=0.0),
        Step("format", "erase", "card", after_s=7 * DAY, only_once_on=("drive", "cloud")),
    )
    studio = _studio(_medium("card"), _medium("drive"), _medium("cloud"), steps=steps)
    begins, until = _utc(2026, 10, 20, 9), _utc(2026, 12, 1)
    found = stretches(studio, days_of(studio, REED, away=False, until=until))
    at = [begins, _utc(2026, 10, 20, 21), _utc(2026, 10, 21, 21), _utc(2026, 10, 27, 18), until]
    card, drive = Copy("card", begins), Copy("drive", at[1], ("card",))
    cloud = Copy("cloud", at[2], ("card", "drive"), at[2])
    assert [(stretch.begins, stretch.ends) for stretch in found] == list(pairwise(at))
    assert [stretch.copies for stretch in found] == [(card,), (card, drive), (card, drive, cloud), (drive, cloud)]


def test_mirrors_follow_copies_and_erasures_unless_they_keep_versions() -> None:
    steps = (COPY, Step("tidy", "erase", "drive", after_s=DAY))
    media = (
        _medium("card"),
        _medium("drive"),
        _medium("twin", mirrors="drive"),
        _medium("vault", mirrors="twin", keeps_versions_s=DAY),
    )
    studio = _studio(*media, steps=steps)
    found = stretches(studio, days_of(studio, REED, away=False, until=_utc(2026, 10, 30)))
    held = [{copy.medium: copy.made_from for copy in stretch.copies} for stretch in found]
    through = ("card", "drive", "twin")
    assert held == [
        {"card": ()},
        {"card": (), "drive": ("card",), "twin": ("card", "drive"), "vault": through},
        {"card": (), "vault": through},
    ]


def test_coming_home_cuts_the_plan() -> None:
    studio = _studio(_medium("card"))
    found = stretches(studio, days_of(studio, REED, away=True, until=_utc(2026, 11, 20)))
    cuts = [(stretch.ends, stretch.away) for stretch in found]
    assert cuts == [(_utc(2026, 10, 23, 18), True), (_utc(2026, 11, 20), False)]


# --- what steps and events do ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "before", "after"),
    [
        (COPY, "GN", "GG"),
        (COPY, "RN", "RR"),
        (COPY, "GR", "GR"),
        (COPY, "GF", "GF"),
        (COPY, "FN", "FN"),
        (Step("s", "move", "card", "drive"), "RN", "NR"),
        (Step("s", "move", "card", "drive"), "GR", "NR"),
        (Step("s", "move", "card", "drive"), "GF", "GF"),
        (Step("s", "erase", "card"), "FG", "NG"),
        (Step("s", "erase", "card"), "GN", "NN"),
        (Step("s", "erase", "card", only_once_on=("drive",)), "GF", "GF"),
        (Step("s", "erase", "card", only_once_on=("drive",)), "GR", "NR"),
        (Step("s", "verify", None, "drive"), "GR", "GG"),
        (Step("s", "verify", None, "drive"), "RR", "RR"),
        (Step("s", "verify", None, "drive"), "GN", "GN"),
        (Step("s", "verify", None, "drive"), "GF", "GF"),
    ],
)
def test_one_step(step: Step, before: str, after: str) -> None:
    studio = _studio(_medium("card"), _medium("drive"), steps=(step,))
    assert after_step(studio, step, tuple(before), frozenset({"card"})) == tuple(after)


def test_a_check_makes_up_for_a_copy_that_was_forgotten_where_the_plan_has_one() -> None:
    steps = (COPY, Step("check", "verify", None, "drive", after_s=DAY))
    studio = _studio(_medium("card"), _medium("drive"), steps=steps)

    def forgetful(act: Any) -> bool:
        return bool(act.step.id != "import")

    course = simulate(studio, REED, away=False, until=_utc(2026, 10, 30), chances=False, outcome=forgetful)
    assert [statuses for _, statuses in course.changes] == [("G", "N"), ("G", "G")]
    assert course.lost_at is None


def test_what_is_forgotten_and_then_erased_is_lost_at_that_moment() -> None:
    steps = (COPY, Step("format", "erase", "card", after_s=DAY))
    studio = _studio(_medium("card"), _medium("drive"), steps=steps)

    def forgetful(act: Any) -> bool:
        return bool(act.step.id != "import")

    course = simulate(studio, REED, away=False, until=_utc(2026, 10, 30), chances=False, outcome=forgetful)
    assert course.lost_at == _utc(2026, 10, 21, 18)


def test_who_is_hit_by_what() -> None:
    media = (
        _medium("card", place="bag", carried=True),
        _medium("desk", place="house", attached=True),
        _medium("twin", place="attic", mirrors="desk"),
        _medium("vault", place="attic", mirrors="desk", keeps_versions_s=DAY),
        _medium("cloud", place="sky", account="login", needs=("key",)),
        _medium("key", place="bag", carried=True),
    )
    studio = _studio(*media, places=(Place("bag", carried=True),), home="house")

    def hit(event: str, *, away: bool = False) -> str:
        found, to = hit_by(studio, event, away=away)
        return " ".join(sorted(found)) + f" {to}"

    assert hit("medium:key") == "cloud key F"
    assert hit("place:house") == "card cloud desk key F"
    assert hit("place:house", away=True) == "desk F"
    assert hit("place:bag") == "card cloud key F"
    assert hit("account:login") == "cloud F"
    assert hit("deleted:desk") == "desk twin N"
    assert hit("attack") == "desk twin F"
    assert hit("rot:desk") == "desk twin R"
    assert after_blow(studio, "rot:desk", tuple("GFNGGG"), away=False) == tuple("GFNGGG")
    assert after_blow(studio, "deleted:desk", tuple("GFFGGG"), away=False) == tuple("GNNGGG")
    risks = Risks(theft=1, fire=2, lockout=3, deletion=4, attack=5, rot=6)
    rates = rates_of(_studio(*media, places=(Place("bag", carried=True),), risks=risks))
    buildings = {"place:house": 2, "place:attic": 2, "place:sky": 2}
    rest = {"place:bag": 1, "account:login": 3, "deleted:desk": 4, "attack": 5}
    assert {event: rate for event, rate in rates.items() if rate and event[:3] != "rot"} == buildings | rest


# --- closed forms ----------------------------------------------------------------------------------------------------

MARK = _utc(2027, 4, 20, 9)  # 182 days after the first picture of REED


def _years() -> float:
    return (MARK - _utc(2026, 10, 20, 9)).total_seconds() / YEAR_S


def test_one_medium_is_lost_as_an_exponential_says() -> None:
    studio = _studio(_medium("card", fails_per_year=2.0))
    chain = stage(studio, REED, away=False, until=MARK)
    assert lost_by(chain, MARK) == pytest.approx(1 - exp(-2 * _years()), abs=1e-12)


def test_two_media_without_replacement_are_lost_together_as_a_product_says() -> None:
    media = (_medium("card", fails_per_year=2.0), _medium("drive", fails_per_year=3.0))
    studio = _studio(*media, made_on=("card", "drive"), replaced_within_s=1000 * DAY)
    chain = stage(studio, REED, away=False, until=MARK)
    expected = (1 - exp(-2 * _years())) * (1 - exp(-3 * _years()))
    assert lost_by(chain, MARK) == pytest.approx(expected, abs=1e-12)


def test_two_media_replaced_every_month_are_lost_month_by_month() -> None:
    """Within each whole month both are good at its beginning, or all is over."""
    media = (_medium("card", fails_per_year=2.0), _medium("drive", fails_per_year=3.0))
    studio = _studio(*media, made_on=("card", "drive"))
    chain = stage(studio, REED, away=False, until=MARK)

    def both(days: float) -> float:
        return (1 - exp(-2 * days * DAY / YEAR_S)) * (1 - exp(-3 * days * DAY / YEAR_S))

    assert lost_by(chain, MARK) == pytest.approx(1 - (1 - both(30)) ** 6 * (1 - both(2)), abs=1e-12)


def test_a_step_tried_again_and_again_is_done_as_a_geometric_says() -> None:
    steps = (Step("import", "copy", "card", "drive", takes_s=0.0, done=0.3, again_s=DAY),)
    studio = _studio(_medium("card"), _medium("drive"), steps=steps)
    chain = stage(studio, REED, away=False, until=_utc(2026, 10, 24))  # tries on four evenings
    chances = chances_at(chain, _utc(2026, 10, 24))
    assert chances[("G", "N")] == pytest.approx(0.7**4)


def test_dice_and_chain_agree() -> None:
    """Twenty thousand lives of a scheme with a bit of everything, within five standard deviations in every number."""
    steps = (
        Step("import", "copy", "card", "desk", takes_s=0.0, done=0.8, again_s=DAY),
        Step("upload", "copy", "desk", "cloud", rhythm=Rhythm("week", (6,), 20 * HOUR), takes_s=HOUR, done=0.6),
        Step("format", "erase", "card", after_s=10 * DAY, only_once_on=("desk",)),
        Step("check", "verify", None, "desk", rhythm=Rhythm("month", (31,), 0.0), takes_s=HOUR),
    )
    media = (
        _medium("card", place="bag", carried=True, fails_per_year=1.0),
        _medium("desk", place="house", attached=True, fails_per_year=0.5),
        _medium("cloud", place="sky", account="login", needs=("key",), fails_per_year=0.2),
        _medium("key", place="bag", carried=True, fails_per_year=0.5),
    )
    risks = Risks(theft=2, fire=1, lockout=1, deletion=1, attack=1, rot=2)
    studio = _studio(*media, steps=steps, places=(Place("bag", carried=True),), risks=risks, home="house")
    scene = stage(studio, REED, away=True, until=_utc(2026, 12, 20))
    marks = [_utc(2026, 10, 22), _utc(2026, 11, 5), _utc(2026, 12, 20)]
    runs = 20_000
    found = tally(scene, runs=runs, seed=6, marks=marks, at=marks[1])
    for mark, lost in zip(marks, found.lost, strict=True):
        assert _near(lost, runs, lost_by(scene, mark))
    chances = chances_at(scene, marks[1])
    assert isclose(sum(chances.values()), 1, abs_tol=1e-12)
    assert set(found.seen) <= set(chances)
    assert all(_near(found.seen[statuses], runs, chance) for statuses, chance in chances.items())


def _near(seen: int, runs: int, chance: float) -> bool:
    if runs * chance < 20:  # too few for a normal law: the chance of so many is added up
        fewer = sum(comb(runs, n) * chance**n * (1 - chance) ** (runs - n) for n in range(seen))
        return 1 - fewer > 1e-6
    return abs(seen - runs * chance) <= 5 * (runs * chance * (1 - chance)) ** 0.5


def test_the_same_seed_plays_the_same_life() -> None:
    studio = _studio(_medium("card", fails_per_year=50.0), _medium("drive", fails_per_year=50.0), steps=(COPY,))
    scene = stage(studio, REED, away=False, until=MARK)
    assert play(scene, Random(3)) == play(scene, Random(3)) == simulate(studio, REED, away=False, until=MARK, seed=3)
    assert len({play(scene, Random(seed)).lost_at for seed in range(20)}) == 20
