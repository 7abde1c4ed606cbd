"""Law: a life is in order, nothing is done before the shoot's end or at the wrong time, and the plan has no gap."""

from datetime import date, timedelta
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st
from planned import DAY, HOUR, medium, studio

from drill.model import Rhythm, Step, Studio
from drill.timeline import Life, horizon, life, spans

MEDIA = (
    medium("card", "card"),
    medium("tablet", "tablet"),
    medium("kiln"),
    medium("loft", mirrors="kiln"),
    medium("cloud", "cloud", mirrors="loft", keeps_versions_s=30 * DAY),
)
IDS = [m.id for m in MEDIA]
SPANS_S = st.sampled_from([0.0, HOUR / 3, HOUR, 5 * HOUR, DAY, 3 * DAY, 20 * DAY])
RHYTHMS = st.builds(
    lambda pair, at_s: Rhythm(*pair, at_s),
    st.sampled_from(
        [("day", ()), ("week", (0, 6)), ("month", (1, 31)), ("quarter", (30,)), ("year", (229, 1231))],
    ),
    st.sampled_from([0.0, 1.5 * HOUR, 2.5 * HOUR, 12 * HOUR, 23.5 * HOUR]),
)


@st.composite
def steps(draw: st.DrawFn) -> list[Step]:
    found: list[Step] = []
    for number in range(draw(st.integers(1, 6))):
        do = draw(st.sampled_from(["copy", "copy", "copy", "move", "verify", "erase"]))
        source, target = draw(st.permutations(IDS))[:2]
        rhythm = draw(st.none() | RHYTHMS)
        step = Step(
            id=f"step-{number}",
            do=do,
            source=None if do == "verify" else source,
            target=None if do == "erase" else target,
            after_s=draw(SPANS_S),
            follows=draw(st.none() | st.sampled_from([s.id for s in found])) if found else None,
            rhythm=rhythm,
            only_when=draw(st.sampled_from([None, None, "away", "home"])),
            only_once_on=draw(st.sampled_from([(), (), ("kiln",), ("tablet", "cloud")])),
            takes_s=draw(st.none() | SPANS_S),
            again_s=draw(st.none() | st.sampled_from([5 * HOUR, DAY, 7 * DAY])) if rhythm is None else None,
        )
        found.append(step)
    return draw(st.permutations(found))


@st.composite
def lives(draw: st.DrawFn) -> tuple[Life, Studio]:
    zone = draw(st.sampled_from(["UTC", "Europe/Berlin", "America/New_York", "Australia/Lord_Howe"]))
    made = studio(*draw(steps()), media=MEDIA, zone=zone)
    assert made.scheme is not None
    day = draw(st.dates(date(2027, 1, 1), date(2028, 12, 31)))
    return life(made, day, away=draw(st.booleans()), until=horizon(made.scheme, day, 1)), made


@settings(deadline=None)
@given(lives())
def test_instants_are_in_order_within_the_life_and_only_when_they_may(case: tuple[Life, Studio]) -> None:
    lived, made = case
    assert made.scheme is not None
    order = [step.id for step in made.scheme.steps]
    keys = [(instant.at, order.index(instant.step.id)) for instant in lived.instants]
    assert keys == sorted(keys)
    assert len({(instant.due, instant.step.id) for instant in lived.instants}) == len(lived.instants)
    for instant in lived.instants:
        assert lived.begins < lived.ends <= instant.due <= instant.at <= lived.until
        away = lived.away and instant.due < lived.home_at
        assert instant.step.only_when in (None, "away" if away else "home")


@settings(deadline=None)
@given(lives())
def test_what_follows_comes_after_what_it_follows(case: tuple[Life, Studio]) -> None:
    lived, _ = case
    first = {instant.step.id: instant.at for instant in reversed(lived.instants)}
    for instant in lived.instants:
        start = first[instant.step.follows] if instant.step.follows else lived.ends
        assert instant.due >= start + timedelta(seconds=instant.step.after_s)


@settings(deadline=None)
@given(lives())
def test_spans_have_no_gap_and_each_differs_from_the_one_before(case: tuple[Life, Studio]) -> None:
    lived, made = case
    parts = spans(lived, made)
    assert (parts[0].begins, parts[-1].ends) == (lived.begins, lived.until)
    assert [held.medium for held in parts[0].copies] == ["card"]
    for before, after in pairwise(parts):
        assert before.begins < before.ends == after.begins < after.ends
        assert (before.away, before.copies) != (after.away, after.copies)
    for span in parts:
        assert span.away == (lived.away and span.ends <= lived.home_at)
        ids = [held.medium for held in span.copies]
        assert ids == [id_ for id_ in made.media if id_ in ids]
        for held in span.copies:
            assert held.since <= span.begins and (held.verified or held.since) >= held.since
            assert held.medium == "card" or "card" in held.made_from
            assert len({held.medium, *held.made_from}) == 1 + len(held.made_from)


@settings(deadline=None)
@given(lives())
def test_a_shorter_life_is_the_beginning_of_a_longer_one(case: tuple[Life, Studio]) -> None:
    lived, made = case
    until = lived.begins + (lived.until - lived.begins) / 3
    short = life(made, lived.day, away=lived.away, until=until)
    assert short.instants == tuple(instant for instant in lived.instants if instant.at <= until)
