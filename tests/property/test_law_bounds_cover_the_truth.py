"""Law: whatever the truth, at least that many samples give a bound that holds. By counting all samples, exactly."""

import math
from fractions import Fraction

import pytest

from drill.sampling import bad_at_most, interval, sample_size


def chances(files: int, sampled: int, bad: int) -> list[Fraction]:
    """The chance of each number found, by counting samples."""
    ways = [math.comb(bad, x) * math.comb(files - bad, sampled - x) for x in range(sampled + 1)]
    return [Fraction(way, math.comb(files, sampled)) for way in ways]


@pytest.mark.parametrize("confidence", [Fraction(1, 2), Fraction(9, 10), Fraction(95, 100), Fraction(1)])
def test_bounds_cover_the_truth(confidence: Fraction) -> None:
    for files in range(15):
        for sampled in range(files + 1):
            one = [bad_at_most(files, sampled, x, confidence=confidence) for x in range(sampled + 1)]
            two = [interval(files, sampled, x, confidence=confidence) for x in range(sampled + 1)]
            for bad in range(files + 1):
                chance = chances(files, sampled, bad)
                assert sum(p for p, high in zip(chance, one, strict=True) if bad <= high) >= confidence
                assert sum(p for p, (low, high) in zip(chance, two, strict=True) if low <= bad <= high) >= confidence


@pytest.mark.parametrize("confidence", [Fraction(1, 2), Fraction(9, 10), Fraction(95, 100), Fraction(1)])
def test_a_clean_sample_of_that_size_shows_what_was_asked_and_no_smaller_one_does(confidence: Fraction) -> None:
    for files in range(1, 60):
        for tolerated in range(files):
            n = sample_size(files, confidence=confidence, at_most=Fraction(tolerated, files))
            assert bad_at_most(files, n, 0, confidence=confidence) <= tolerated
            assert n == 1 or bad_at_most(files, n - 1, 0, confidence=confidence) > tolerated
