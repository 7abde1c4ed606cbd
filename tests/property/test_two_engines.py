"""Two engines, one answer: the program's calendar, odds and cut sets against a simulation that shares no code with it.

Random schemes go through the studio file. Copies, proofs and being away are compared at every moment, exactly; the odds
with the simulation's chain, solved another way than the program's (to 1e-9), and with its dice, within their interval;
cut sets with every set of events tried by hand.

The interval is the exact one (C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial limits illustrated
in the case of the binomial", 1934; from memory) at 1 - 1e-7, and the seeds are fixed. Of 20,000 lives it is 2 % wide to
each side at most, so dice tell what adds that much to a chance; the chain tells any. Engines that are wrong on purpose,
one for every key and event there is, must be found out by dice alone.
"""

from collections import Counter
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from scipy.stats import binom
from simulation import struck
from simulation.blows import hit_by, rates_of
from simulation.chain import chances_at
from simulation.cuts import cut_sets
from simulation.days import Days, days_of
from simulation.planned import Copy, stretches
from simulation.play import Stage, Tally, simulate, stage, tally
from simulation.statuses import is_lost

from drill import bands, odds, stages, timeline
from drill.faulttree import minimal_cut_sets
from drill.model import Hazard, Scenario, Selector, Studio
from drill.testing.draft import DAYS, NAMES, RISKS, Draft, Table
from drill.testing.strategies import come_again_once, media_tables, scheme_tables, schemes, step_tables

SHOOT_DAYS = st.sampled_from(DAYS)
EXACT = 1e-9
MOST_LEFT_OUT = 1e-6  # what the program may leave out of a distribution
UNLIKELY = 5e-8  # on either side


def share(of_all: float) -> settings:
    """Return settings for a share of the examples that the profile asks for."""
    return settings(max_examples=max(1, round(settings.default.max_examples * of_all)))


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


@share(0.7)
@given(schemes(), SHOOT_DAYS, st.booleans(), st.sampled_from([1, 6, 6, 30]))
def test_every_moment_of_the_plan(draft: Draft, day: date, away: bool, weeks: int) -> None:
    check_plan(draft.load(), day, away=away, weeks=weeks)


def check_plan(studio: Studio, day: date, *, away: bool, weeks: int) -> None:
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


@share(0.05)
@given(schemes(most_steps=3), SHOOT_DAYS, st.booleans())
def test_ten_years(draft: Draft, day: date, away: bool) -> None:
    studio = draft.load()
    days = days_of(studio, day, away=away)
    assert timeline.life(studio, day, away=away).until == days.until
    assert planned_by_program(studio, day, days, away=away) == planned_by_hand(studio, days)


@pytest.mark.parametrize("day", DAYS)
def test_ten_years_end_at_one_moment(day: date) -> None:
    studio = EVERYTHING.load()
    for away in (True, False):
        assert timeline.life(studio, day, away=away).until == days_of(studio, day, away=away).until


def test_a_shoot_that_the_clocks_skip_is_one_moment_long() -> None:
    """In Berlin there is no 02:30 on 29 March 2026: it begins at 03:30, after its end."""
    draft = deepcopy(EVERYTHING)
    draft.scheme |= {"zone": "Europe/Berlin", "begins": "02:30", "ends": "03:06"}
    check_plan(draft.load(), date(2026, 3, 29), away=True, weeks=6)


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


@given(schemes(most_steps=1))
def test_rates_and_who_is_hit(draft: Draft) -> None:
    check_rates(draft.load())


def check_rates(studio: Studio) -> None:
    hits = {away: {event: hit_by(studio, event, away=away) for event in rates_of(studio)} for away in (True, False)}
    felt = {event: rate for event, rate in rates_of(studio).items() if hits[False][event][0]}
    for level, times in (("low", 1 / 3), ("middle", 1.0), ("high", 3.0)):
        assert dict(odds.rates(studio, level).per_year) == pytest.approx({e: rate * times for e, rate in felt.items()})
    for away in (True, False):
        told = {event: dict(pairs) for event, pairs in odds.blows(studio, away=away).items() if pairs}
        assert told == {event: dict.fromkeys(media, to) for event, (media, to) in hits[away].items() if media}


@share(0.4)
@given(schemes(), SHOOT_DAYS, st.booleans(), st.sampled_from([1, 3, 6]))
def test_odds_are_those_of_the_chain(draft: Draft, day: date, away: bool, weeks: int) -> None:
    check_odds(*scenes(draft, day, away=away, weeks=weeks))


# --- dice ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Told:
    """What the program tells: P(lost) at each mark, and how likely which statuses are at the third."""

    lost: tuple[float, ...]
    chances: Mapping[tuple[str, ...], float]
    left_out: float


def told_by_program(studio: Studio, life: timeline.Life, rates: dict[str, float], marks: list[datetime]) -> Told:
    per_year = odds.Rates(rates, {})
    lost, chances = odds.odds(life, studio, per_year, marks).lost, odds.distribution(life, studio, per_year, marks[2])
    return Told(lost, chances, max(0.0, 1 - sum(chances.values())))


def differences(told: Told, seen: Tally) -> list[str]:
    """Return what is told and lies outside the interval of many lives played out."""
    found = [f"lost: {p}" for lost, p in zip(seen.lost, told.lost, strict=True) if outside(p, told, lost, seen.runs)]
    played: Counter[tuple[str, ...]] = Counter()
    for statuses, count in seen.seen.items():
        played[odds.LOST if is_lost(statuses) else statuses] += count
    chances = {statuses: told.chances.get(statuses, 0.0) for statuses in told.chances.keys() | played.keys()}
    return found + [f"{s}: {p}" for s, p in chances.items() if outside(p, told, played[s], seen.runs)]


def outside(p: float, told: Told, count: int, runs: int) -> bool:
    """Say whether so few, or so many, of all lives have a chance below UNLIKELY; a little more than `p` is left out."""
    few, many = binom.cdf(count, runs, p), binom.sf(count - 1, runs, min(p + told.left_out, 1.0))
    return bool(min(few, many) < UNLIKELY)


def check_dice(draft: Draft, day: date, *, away: bool, weeks: int, runs: int, seed: int) -> None:
    scene, life, marks = scenes(draft, day, away=away, weeks=weeks)
    seen = tally(scene, runs=runs, seed=seed, marks=marks, at=marks[2])
    assert not differences(told_by_program(scene.studio, life, scene.rates, marks), seen)


@share(0.15)
@given(schemes(), SHOOT_DAYS, st.booleans(), st.integers(0, 1000))
def test_odds_are_those_of_a_few_thousand_lives(draft: Draft, day: date, away: bool, seed: int) -> None:
    check_dice(draft, day, away=away, weeks=6, runs=2000, seed=seed)


@pytest.mark.deep
@settings(max_examples=6)
@given(schemes(), SHOOT_DAYS, st.booleans(), st.sampled_from([1, 6, 20]), st.integers(0, 1000))
def test_odds_are_those_of_tens_of_thousands_of_lives(
    draft: Draft, day: date, away: bool, weeks: int, seed: int
) -> None:
    check_dice(draft, day, away=away, weeks=weeks, runs=40_000, seed=seed)


# --- engines that are wrong are found out ----------------------------------------------------------------------------

EVERYTHING = Draft(
    media=[
        {"id": "card", "kind": "card", "place": "bag", "fails_per_year": 2},
        {"id": "desk", "kind": "computer", "place": "house", "fails_per_year": 2},
        {"id": "twin", "kind": "hard-disk", "place": "house", "mirrors": "desk", "fails_per_year": 1},
        {"id": "vault", "kind": "cloud", "place": "barn", "account": "login", "needs": ["key"], "fails_per_year": 4},
        {"id": "key", "kind": "phone", "place": "bag", "attached": False, "fails_per_year": 3},
    ],
    steps=[
        {
            "id": "import",
            "do": "copy",
            "from": "card",
            "to": "desk",
            "again": "1 day",
            "only_when": "home",
            "done": 0.6,
        },
        {"id": "upload", "do": "copy", "from": "desk", "to": "vault", "every": "day", "done": 0.3},
        {"id": "format", "do": "erase", "from": "card", "after": "8 days", "only_once_on": ["desk"]},
        {"id": "check", "do": "verify", "to": "desk", "every": "month", "on": 15},
    ],
    scheme={"made_on": ["card"], "zone": "UTC", "home": "house", "away_for": "4 days", "replaced_within": "9 days"},
    risks={"theft": 2, "fire": 3, "lockout": 3, "deletion": 2, "attack": 2, "rot": 2},
)


def without_key(table: str, key: str) -> Draft:
    """Return the draft as it would be if a key of one kind of table were not known."""
    draft = deepcopy(EVERYTHING)
    found: Any = getattr(draft, table)
    for row in [found] if isinstance(found, dict) else found:
        row.pop(key, None)
    return draft


@cache
def everything() -> tuple[Stage, timeline.Life, list[datetime], Tally]:
    """Return the scheme of everything, played out."""
    scene, life, marks = scenes(EVERYTHING, DAYS[1], away=True, weeks=6)
    return scene, life, marks, tally(scene, runs=20_000, seed=6, marks=marks, at=marks[2])


@pytest.mark.deep
def test_the_scheme_of_everything_agrees() -> None:
    scene, life, marks, seen = everything()
    check_odds(scene, life, marks[2:])
    assert not differences(told_by_program(scene.studio, life, scene.rates, marks), seen)


def must_differ(draft: Draft, *, away: bool = True, rates: dict[str, float] | None = None) -> None:
    """Hold the program's odds of another draft against lives of the scheme of everything: the dice must tell."""
    _, _, marks, seen = everything()
    other, life, _ = scenes(draft, DAYS[1], away=away, weeks=6)
    assert differences(told_by_program(other.studio, life, rates or other.rates, marks), seen)


@pytest.mark.parametrize(
    ("table", "key"),
    [
        ("media", "mirrors"),
        ("media", "needs"),
        ("scheme", "home"),
        ("scheme", "replaced_within"),
        ("steps", "done"),
        ("steps", "again"),
        ("steps", "only_once_on"),
        ("steps", "only_when"),
    ],
)
def test_an_engine_that_forgets_a_key_is_found_out(table: str, key: str) -> None:
    must_differ(without_key(table, key))


@pytest.mark.parametrize("event", [event for event in rates_of(EVERYTHING.load()) if event != "rot:key"])  # holds none
def test_an_engine_that_forgets_an_event_is_found_out(event: str) -> None:
    rates = rates_of(EVERYTHING.load())
    must_differ(EVERYTHING, rates={name: 0.0 if name == event else rate for name, rate in rates.items()})


def test_an_engine_that_forgets_who_is_away_is_found_out() -> None:
    must_differ(EVERYTHING, away=False)


# --- what each stage stands ------------------------------------------------------------------------------------------


@share(0.4)
@given(schemes(), SHOOT_DAYS, st.booleans())
def test_cut_sets_of_every_stage(draft: Draft, day: date, away: bool) -> None:
    studio = draft.load()
    check_cut_sets(studio, timeline.life(studio, day, away=away, until=moment(day, 6)))


def check_cut_sets(studio: Studio, life: timeline.Life) -> None:
    stood = {(span.away, span.copies): span for span in timeline.spans(life, studio) if span.copies}
    for span in list(stood.values())[:8]:
        top, gates = stages.stage_tree(span, studio)
        copies = [Copy(held.medium, held.since, held.made_from, held.verified) for held in span.copies]
        by_hand = cut_sets(studio, copies, away=span.away)
        assert minimal_cut_sets(top, gates) == by_hand
        told = stages.cut_sets(span, studio)
        assert set(map(frozenset, told.sets)) <= by_hand
        assert dict(told.numbers) == Counter(map(len, by_hand))


# --- scenarios at every moment ---------------------------------------------------------------------------------------

EFFECTS = ("gone", "refused", "expired", "unreadable", "altered", "truncated", "deleted", "encrypted", "stale", "slow")


@st.composite
def hazards(draw: st.DrawFn, day: date) -> Hazard:
    some = {
        "medium": st.lists(st.sampled_from(NAMES[:2]), min_size=1, max_size=2).map(tuple),
        "kind": st.sampled_from([("card",), ("ssd", "computer")]),
        "place": st.sampled_from([("bag",), ("house", "barn")]),
        "account": st.just(("login",)),
        "attached": st.booleans(),
        "carried": st.booleans(),
        "offsite": st.booleans(),
    }
    keys = draw(st.lists(st.sampled_from(sorted(some)), max_size=2, unique=True))
    return Hazard(
        draw(st.sampled_from(EFFECTS)),
        Selector(**{key: draw(some[key]) for key in keys}),
        files=draw(st.sampled_from([None, ("*.dng",)])),
        before=moment(day, draw(st.integers(-1, 3))),
        count=1,
        factor=0.5,
    )


@st.composite
def days_and_scenarios(draw: st.DrawFn) -> tuple[date, Scenario]:
    day = draw(SHOOT_DAYS)
    found = draw(st.lists(hazards(day), min_size=1, max_size=2))
    each = draw(st.sampled_from([None, None, "medium", "place", "account", "copy"]))
    found = [replace(found[0], each=each)] if each else found
    return day, Scenario("reed", "A bad day", "", tuple(found))


@share(0.6)
@given(schemes(), days_and_scenarios(), st.booleans())
def test_scenarios_at_every_moment(draft: Draft, drawn: tuple[date, Scenario], away: bool) -> None:
    (day, scenario), studio = drawn, draft.load()
    spans = timeline.spans(timeline.life(studio, day, away=away, until=moment(day, 4)), studio)
    told = {band.variant: band for band in bands.scenario_bands(spans, studio, [scenario])}
    asked: set[str | None] = set()
    for span in spans:
        copies = [Copy(held.medium, held.since) for held in span.copies]
        there = struck.variants(studio, copies, scenario.hazards, away=span.away)
        asked |= there
        for variant, band in told.items():
            (here,) = [part for part in band.stretches if part.begins <= span.begins < part.ends]
            left = struck.left_after(studio, copies, scenario.hazards, variant, away=span.away)
            if variant in there and copies:
                assert (here.outcome, set(here.left)) == (bands.HELD if left else bands.LOST, left)
            elif copies:
                assert here.outcome == bands.NOT_ABOUT
    assert set(told) == (asked or {None})


# --- what was found this way -----------------------------------------------------------------------------------------


def plain(*steps: Table, **scheme: Any) -> Draft:
    """Return two drives in the bag, the camera writing to both, and steps."""
    media = [{"id": id_, "kind": "ssd", "place": "bag", "fails_per_year": 2} for id_ in ("kiln", "reed")]
    settled = {"made_on": ["kiln", "reed"], "zone": "UTC"} | scheme
    return Draft(media=media, steps=list(steps), scheme=settled, risks=dict.fromkeys(RISKS, 0.5))


def test_a_fire_takes_the_bag_at_home_where_nothing_else_is() -> None:
    draft = plain({"id": "copy", "do": "copy", "from": "kiln", "to": "reed"}, home="house")
    check_rates(draft.load())
    check_odds(*scenes(draft, DAYS[0], away=True, weeks=3))


def test_a_check_finds_nothing_missing_that_a_step_of_the_same_moment_is_yet_to_copy() -> None:
    draft = plain(
        {"id": "let-go", "do": "move", "from": "kiln", "to": "reed", "takes": "0 h"},
        {"id": "check", "do": "verify", "to": "kiln", "after": "1 day", "takes": "0 h"},
        {"id": "back", "do": "copy", "from": "reed", "to": "kiln", "after": "1 day", "takes": "0 h", "done": 0.1},
    )
    check_odds(*scenes(draft, DAYS[0], away=True, weeks=3))


def test_bytes_that_were_bad_on_a_drive_take_its_own_copy_unless_it_was_checked_afterwards() -> None:
    draft = plain(
        {"id": "check", "do": "verify", "to": "kiln", "takes": "0 h"},
        {"id": "copy", "do": "copy", "from": "kiln", "to": "reed", "after": "1 day", "takes": "0 h"},
        {"id": "again", "do": "verify", "to": "kiln", "after": "3 days", "takes": "0 h"},
        made_on=["kiln"],
    )
    studio = draft.load()
    check_cut_sets(studio, timeline.life(studio, DAYS[0], away=True, until=moment(DAYS[0], 3)))


# --- a scheme that grows ---------------------------------------------------------------------------------------------


class Growing(RuleBasedStateMachine):
    """A scheme built up from a card and a drive, held against the second engine after every change."""

    @initialize(scheme=scheme_tables(["kiln", "reed"]), day=SHOOT_DAYS, away=st.booleans())
    def begin(self, scheme: Table, day: date, away: bool) -> None:
        self.day, self.away = day, away
        media = [{"id": id_, "kind": "ssd", "place": "bag", "fails_per_year": 2} for id_ in ("kiln", "reed")]
        self.draft = Draft(media=media, scheme=scheme, risks=dict.fromkeys(RISKS, 0.5))
        self.draft.steps.append({"id": "step-0", "do": "copy", "from": "kiln", "to": "reed", "after": "2 h"})

    def names(self, tables: list[Table]) -> list[str]:
        return [table["id"] for table in tables]

    @precondition(lambda self: len(self.draft.media) < 4)
    @rule(data=st.data())
    def buy_a_medium(self, data: st.DataObject) -> None:
        names = self.names(self.draft.media)
        self.draft.media.append(data.draw(media_tables(names, NAMES[len(names)])))

    @precondition(lambda self: len(self.draft.steps) < 6)
    @rule(data=st.data())
    def add_a_step(self, data: st.DataObject) -> None:
        media, steps = self.names(self.draft.media), self.names(self.draft.steps)
        self.draft.steps.append(data.draw(step_tables(media, steps, f"step-{len(steps)}")))
        come_again_once(self.draft.steps)

    @rule(data=st.data(), done=st.sampled_from([1, 0.7, 0.1]))
    def forget_more_or_less(self, data: st.DataObject, done: float) -> None:
        may_be_forgotten = [step for step in self.draft.steps if step["do"] != "edit"]
        data.draw(st.sampled_from(may_be_forgotten))["done"] = done

    @rule(data=st.data())
    def keep_it_elsewhere(self, data: st.DataObject) -> None:
        data.draw(st.sampled_from(self.draft.media))["place"] = data.draw(st.sampled_from(["bag", "house", "barn"]))

    @rule(risk=st.sampled_from(RISKS), rate=st.sampled_from([0, 0.7, 5]))
    def fear_more_or_less(self, risk: str, rate: float) -> None:
        self.draft.risks[risk] = rate

    @rule(home=st.sampled_from(["house", "barn"]))
    def move_house(self, home: str) -> None:
        self.draft.scheme["home"] = home

    @rule()
    def go_away_or_stay(self) -> None:
        self.away = not self.away

    @invariant()
    def both_engines_agree(self) -> None:
        scene, life, marks = scenes(self.draft, self.day, away=self.away, weeks=2)
        check_plan(scene.studio, self.day, away=self.away, weeks=2)
        check_rates(scene.studio)
        check_cut_sets(scene.studio, life)
        check_odds(scene, life, marks[2:])


TestGrowing = Growing.TestCase
TestGrowing.settings = settings(max_examples=5, stateful_step_count=8)


@pytest.mark.deep
class TestGrowingLong(Growing.TestCase):  # type: ignore[misc, name-defined]
    settings = settings(max_examples=15, stateful_step_count=15)
