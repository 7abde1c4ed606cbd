"""Two engines, one answer: the program's calendar, odds and cut sets against a simulation that shares no code with them.

Random schemes go through the studio file. Copies, proofs and being away are compared at every moment, exactly; the odds
with the simulation's chain, solved another way than the program's (to 1e-9), and with its dice, within their interval;
cut sets with every set of events tried by hand.

The interval is Wilson's (E. B. Wilson, "Probable inference, the law of succession, and statistical inference", 1927; from
memory) at five standard deviations: one comparison in two million would fail by chance, and the seeds are fixed. Of
20,000 lives it is 0.035 wide at most, so dice tell a loss forgotten that makes up 4 % of all; the chain tells any.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from itertools import combinations
from math import sqrt
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schemes import DAYS, Draft, drafts
from simulation.blows import hit_by, rates_of
from simulation.chain import chances_at
from simulation.cuts import cut_sets
from simulation.days import Days, days_of
from simulation.planned import Copy, stretches
from simulation.play import Stage, simulate, stage, tally
from simulation.statuses import is_lost

from drill import odds, stages, timeline
from drill.faulttree import minimal_cut_sets
from drill.model import Studio

SHOOT_DAYS = st.sampled_from(DAYS)
EXACT = 1e-9
MOST_LEFT_OUT = 1e-6  # what the program may leave out of a distribution
SIGMAS = 5.0


# --- states at every moment ------------------------------------------------------------------------------------------


def planned_by_program(studio: Studio, day: date, days: Days, *, away: bool) -> list[Any]:
    life = timeline.life(studio, day, away=away, until=days.until)
    return [
        (span.begins, span.ends, span.away, [(c.medium, c.since, c.made_from, c.verified) for c in span.copies])
        for span in timeline.spans(life, studio)
    ]


def planned_by_hand(studio: Studio, days: Days) -> list[Any]:
    return [
        (here.begins, here.ends, here.away, [(c.medium, c.since, c.made_from, c.verified) for c in here.copies])
        for here in stretches(studio, days)
    ]


def moment(day: date, weeks: int) -> datetime:
    return datetime(day.year, day.month, day.day, 23, 58, 57, tzinfo=UTC) + timedelta(weeks=weeks)


@given(drafts(), SHOOT_DAYS, st.booleans(), st.sampled_from([1, 6, 6, 30]))
def test_every_moment_of_the_plan(draft: Draft, day: date, away: bool, weeks: int) -> None:
    studio = draft.load()
    days = days_of(studio, day, away=away, until=moment(day, weeks))
    life = timeline.life(studio, day, away=away, until=days.until)
    assert (life.begins, life.ends, life.home_at, life.until) == (days.begins, days.ends, days.home_at, days.until)
    acts = [(act.at, act.due, act.step.id) for act in days.acts if act.step]
    assert [(instant.at, instant.due, instant.step.id) for instant in life.instants if instant.at <= days.until] == acts
    assert planned_by_program(studio, day, days, away=away) == planned_by_hand(studio, days)
    course = simulate(studio, day, away=away, until=days.until, chances=False)
    for span in timeline.spans(life, studio):
        held = {copy.medium for copy in span.copies}
        assert {id_ for id_, now in zip(studio.media, course.at(span.begins), strict=True) if now == "G"} == held


@settings(max_examples=3)
@given(drafts(most_steps=3), SHOOT_DAYS, st.booleans())
def test_ten_years(draft: Draft, day: date, away: bool) -> None:
    studio = draft.load()
    days = days_of(studio, day, away=away)
    assert timeline.life(studio, day, away=away).until == days.until
    assert planned_by_program(studio, day, days, away=away) == planned_by_hand(studio, days)


# --- odds ------------------------------------------------------------------------------------------------------------


def scenes(draft: Draft, day: date, *, away: bool, weeks: int) -> tuple[Stage, timeline.Life, list[datetime]]:
    """Return a life as both engines have it, and moments at which to compare: none of them is one of a step's."""
    studio = draft.load()
    scene = stage(studio, day, away=away, until=moment(day, weeks))
    life = timeline.life(studio, day, away=away, until=scene.days.until)
    length = scene.days.until - scene.days.begins
    marks = [scene.days.begins + length * share + timedelta(seconds=1.5) for share in (0.02, 0.1, 0.4)]
    return scene, life, [*marks, scene.days.until]


def one_lost(chances: Mapping[tuple[str, ...], float]) -> dict[tuple[str, ...], float]:
    """Return a distribution in which all that is lost is one."""
    found = {odds.LOST: 0.0}
    for statuses, chance in chances.items():
        key = odds.LOST if is_lost(statuses) else statuses
        found[key] = found.get(key, 0.0) + chance
    return found


def check_odds(scene: Stage, life: timeline.Life, marks: list[datetime]) -> None:
    studio = scene.studio
    rates = odds.Rates(scene.rates, {})
    told = odds.odds(life, studio, rates, marks)
    for mark, lost in zip(marks, told.lost, strict=True):
        by_hand = one_lost(chances_at(scene, mark))
        assert by_hand[odds.LOST] - EXACT - told.left_out <= lost <= by_hand[odds.LOST] + EXACT
        by_program = odds.distribution(life, studio, rates, mark)
        left_out = 1 - sum(by_program.values())
        assert left_out < MOST_LEFT_OUT
        for statuses in by_hand.keys() | by_program.keys():
            missed = by_hand.get(statuses, 0.0) - by_program.get(statuses, 0.0)
            assert -EXACT < missed < EXACT + left_out, statuses


@given(drafts(most_steps=1))
def test_rates_and_who_is_hit(draft: Draft) -> None:
    studio = draft.load()
    hits = {away: {event: hit_by(studio, event, away=away) for event in rates_of(studio)} for away in (True, False)}
    felt = {event: rate for event, rate in rates_of(studio).items() if hits[False][event][0]}
    for level, times in (("low", 1 / 3), ("middle", 1.0), ("high", 3.0)):
        assert dict(odds.rates(studio, level).per_year) == pytest.approx({e: rate * times for e, rate in felt.items()})
    for away in (True, False):
        told = {event: dict(pairs) for event, pairs in odds.blows(studio, away=away).items() if pairs}
        assert told == {event: dict.fromkeys(media, to) for event, (media, to) in hits[away].items() if media}


@given(drafts(), SHOOT_DAYS, st.booleans(), st.sampled_from([1, 3, 6]))
def test_odds_are_those_of_the_chain(draft: Draft, day: date, away: bool, weeks: int) -> None:
    check_odds(*scenes(draft, day, away=away, weeks=weeks))


# --- dice ------------------------------------------------------------------------------------------------------------


def interval(seen: int, runs: int) -> tuple[float, float]:
    """Return Wilson's interval for a chance, in SIGMAS standard deviations."""
    share, z2 = seen / runs, SIGMAS**2 / runs
    middle, half = share + z2 / 2, SIGMAS * sqrt(share * (1 - share) / runs + z2 / (4 * runs))
    return (middle - half) / (1 + z2), (middle + half) / (1 + z2)


def check_dice(scene: Stage, life: timeline.Life, marks: list[datetime], *, runs: int, seed: int) -> None:
    """Hold the program's odds and its distribution at the third mark against many lives played out."""
    studio, rates = scene.studio, odds.Rates(scene.rates, {})
    seen = tally(scene, runs=runs, seed=seed, marks=marks, at=marks[2])
    told = odds.odds(life, studio, rates, marks)
    for lost, chance in zip(seen.lost, told.lost, strict=True):
        least, most = interval(lost, runs)
        assert least <= chance <= most
    by_program = odds.distribution(life, studio, rates, marks[2])
    played = {statuses: count / runs for statuses, count in seen.seen.items()}
    for statuses, share in one_lost(played).items():
        least, most = interval(round(share * runs), runs)
        assert least <= by_program.get(statuses, 0.0) <= most, statuses


@settings(max_examples=12)
@given(drafts(), SHOOT_DAYS, st.booleans(), st.integers(0, 1000))
def test_odds_are_those_of_a_few_thousand_lives(draft: Draft, day: date, away: bool, seed: int) -> None:
    check_dice(*scenes(draft, day, away=away, weeks=6), runs=2000, seed=seed)


@pytest.mark.deep
@settings(max_examples=60)
@given(drafts(), SHOOT_DAYS, st.booleans(), st.sampled_from([1, 6, 20]), st.integers(0, 1000))
def test_odds_are_those_of_tens_of_thousands_of_lives(
    draft: Draft, day: date, away: bool, weeks: int, seed: int
) -> None:
    check_dice(*scenes(draft, day, away=away, weeks=weeks), runs=40_000, seed=seed)


# --- what each stage stands ------------------------------------------------------------------------------------------


@settings(max_examples=30)
@given(drafts(), SHOOT_DAYS, st.booleans())
def test_cut_sets_of_every_stage(draft: Draft, day: date, away: bool) -> None:
    studio = draft.load()
    life = timeline.life(studio, day, away=away, until=moment(day, 6))
    stood = {(span.away, span.copies): span for span in timeline.spans(life, studio) if span.copies}
    for span in list(stood.values())[:8]:
        top, gates = stages.stage_tree(span, studio)
        copies = [Copy(held.medium, held.since, held.made_from, held.verified) for held in span.copies]
        by_hand = cut_sets(studio, copies, away=span.away)
        assert minimal_cut_sets(top, gates) == by_hand
        told = stages.cut_sets(span, studio)
        assert set(map(frozenset, told.sets)) <= by_hand
        assert dict(told.numbers) == Counter(map(len, by_hand))
