"""Spot checks: sizes at the boundary, seeded draws, the order under a budget, and what people write."""

import random
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest

from drill import sampling
from drill.sampling import Budget, Candidate

SURE = Fraction(95, 100)
NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)


def test_the_boundary_itself_is_enough() -> None:
    # 5 of 100 unread leave a doubt of exactly 0.05; in floats 1 - 0.95 and 5 / 100 are two numbers.
    assert sampling.sample_size(100, confidence=SURE, at_most=Fraction(0)) == 95
    assert sampling.bad_at_most(100, 95, 0, confidence=SURE) == 0
    assert sampling.bad_at_most(100, 94, 0, confidence=SURE) == 1


def test_few_files_ask_for_nearly_all_and_certainty_for_the_rest() -> None:
    assert sampling.sample_size(30, confidence=SURE, at_most=Fraction(1, 100)) == 29
    assert sampling.sample_size(1, confidence=SURE, at_most=Fraction(1, 100)) == 1
    assert sampling.sample_size(0, confidence=SURE, at_most=Fraction(1, 100)) == 0
    assert sampling.sample_size(200, confidence=Fraction(1), at_most=Fraction(1, 100)) == 198


def test_all_read_is_certain_and_nothing_read_shows_nothing() -> None:
    assert sampling.interval(120, 120, 3, confidence=SURE) == (3, 3)
    assert sampling.bad_at_most(120, 120, 0, confidence=SURE) == 0
    assert sampling.interval(120, 0, 0, confidence=SURE) == (0, 120)
    with pytest.raises(ValueError, match="nothing was read"):
        sampling.estimate(120, 0, 0)


def test_the_interval_holds_the_estimate_and_what_is_known() -> None:
    low, high = sampling.interval(2_000_000, 300, 3, confidence=SURE)
    assert low < sampling.estimate(2_000_000, 300, 3) == 20_000 < high
    assert sampling.interval(10, 9, 9, confidence=SURE) == (9, 10)


def test_a_float_that_falls_on_the_boundary_is_left_to_integers() -> None:
    # Under 5 bad of 100 a sample of 1 is clean with exactly 0.95: not more than a doubt of 0.95.
    assert sampling.bad_at_most(100, 1, 0, confidence=Fraction(5, 100)) == 4
    assert sampling.bad_at_most(2_000_000, 1, 0, confidence=SURE) == 1_899_999


@pytest.mark.parametrize(("files", "sampled", "found"), [(10, 11, 0), (10, 5, 6), (10, -1, 0), (10, 5, -1)])
def test_numbers_that_cannot_be(files: int, sampled: int, found: int) -> None:
    with pytest.raises(ValueError, match="cannot be"):
        sampling.interval(files, sampled, found, confidence=SURE)


def test_a_float_share_is_refused() -> None:
    with pytest.raises(TypeError):
        sampling.sample_size(100, confidence=0.95, at_most=Fraction(0))  # type: ignore[arg-type]


NAMES = [f"DCIM/100REED_/R{n:04}.DNG" for n in range(500)] + ["heron/é.jpg", "heron/\udce9.jpg"]


def test_a_draw_is_the_same_everywhere_and_in_any_order() -> None:
    shuffled = list(NAMES)
    random.Random(3).shuffle(shuffled)
    assert sampling.draw(NAMES, 20, 7) == sampling.draw(shuffled, 20, 7) == sampling.draw(NAMES, 40, 7)[:20]
    assert sampling.draw(["kiln", "reed", "heron"], 2, 7) == ["kiln", "heron"]  # as sha256sum orders them
    assert sampling.draw(NAMES, 20, 8) != sampling.draw(NAMES, 20, 7)


def test_a_draw_is_without_replacement_and_never_more_than_there_is() -> None:
    assert sorted(sampling.draw([*NAMES, *NAMES], 10_000, 7)) == sorted(NAMES)


def test_every_file_is_drawn_equally_often() -> None:
    counts = dict.fromkeys(NAMES[:20], 0)
    for seed in range(2000):
        for name in sampling.draw(counts, 5, seed):
            counts[name] += 1
    # 500 expected each; chi-square with 19 degrees of freedom is over 43.8 once in 1000 (published tables, from memory)
    assert sum((count - 500) ** 2 / 500 for count in counts.values()) < 43.8


def candidate(
    key: str, *, days: float | None = None, others: int = 0, cost_s: float = 1.0, size: int = 10
) -> Candidate:
    return Candidate(key, size, cost_s, None if days is None else NOW - timedelta(days=days), others)


def order(*candidates: Candidate, seed: int = 7) -> list[str]:
    return [one.key for one in sampling.budget_order(candidates, seed, now=NOW)]


def test_never_verified_comes_first_then_the_oldest_proof() -> None:
    some = candidate("old", days=900), candidate("new", days=3), candidate("never", others=4, cost_s=60)
    assert order(*some) == ["never", "old", "new"]


def test_a_file_that_no_other_copy_is_proven_to_have_comes_before_a_little_older_ones() -> None:
    assert order(candidate("two", days=150, others=1), candidate("only", days=100)) == ["only", "two"]
    assert order(candidate("two", days=250, others=1), candidate("only", days=100)) == ["two", "only"]


def test_what_costs_less_reading_comes_first_where_the_rest_is_alike() -> None:
    assert order(candidate("film", cost_s=600), candidate("raw", cost_s=0.2)) == ["raw", "film"]


def test_equals_come_in_seeded_order() -> None:
    some = [candidate(name) for name in NAMES[:30]]
    assert order(*some) == order(*reversed(some)) != order(*some, seed=8)


def test_a_proof_from_a_clock_that_was_ahead_is_taken_as_new() -> None:
    assert order(candidate("ahead", days=-5), candidate("yesterday", days=2)) == ["yesterday", "ahead"]


def test_a_budget_is_kept_and_filled() -> None:
    some = [candidate("a", cost_s=40, size=5), candidate("b", cost_s=50, size=90), candidate("c", cost_s=20, size=9)]
    assert [one.key for one in sampling.within_budget(some, budget_s=60)] == ["a", "c"]
    assert [one.key for one in sampling.within_budget(some, budget_bytes=95)] == ["a", "b"]
    assert sampling.within_budget(some, budget_s=60, budget_bytes=8) == some[:1]
    assert sampling.within_budget(some) == some


@pytest.mark.parametrize(
    ("text", "budget"),
    [("2 h", Budget(7200.0, None)), ("90 min", Budget(5400.0, None)), ("500 GB", Budget(None, 500_000_000_000))],
)
def test_budgets_as_people_write_them(text: str, budget: Budget) -> None:
    assert sampling.parse_budget(text) == budget


@pytest.mark.parametrize("text", ["", "2", "two hours", "0 h", "0 GB", "-1 h", "500 GB/s", "10%"])
def test_what_is_no_budget_is_said(text: str) -> None:
    with pytest.raises(ValueError, match='write a time such as "2 h" or an amount such as "500 GB"'):
        sampling.parse_budget(text)


def test_shares_are_read_exactly() -> None:
    assert sampling.parse_confidence("95%") == Fraction(19, 20)
    assert sampling.parse_confidence(" 99.9 % ") == Fraction(999, 1000)
    assert sampling.parse_confidence("100%") == 1
    assert sampling.parse_at_most("0.1%") == Fraction(1, 1000)
    assert sampling.parse_at_most("0%") == 0


@pytest.mark.parametrize("text", ["0%", "95", "0.95", "101%", "", "-5%"])
def test_what_is_no_confidence_is_said(text: str) -> None:
    with pytest.raises(ValueError):
        sampling.parse_confidence(text)


@pytest.mark.parametrize("text", ["100%", "1", "200%", "one"])
def test_what_is_no_share_of_bad_files_is_said(text: str) -> None:
    with pytest.raises(ValueError):
        sampling.parse_at_most(text)
