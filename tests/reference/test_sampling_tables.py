"""Sample sizes and bounds against published tables and against scipy.stats.hypergeom (test extra)."""

import math
from fractions import Fraction
from random import Random

import pytest
from scipy.stats import hypergeom

from drill.sampling import bad_at_most, interval, sample_size

SURE = Fraction(95, 100)

# Smallest samples that find at least one of D bad ones among N with 95 %: C(N-D, n) / C(N, n) <= 0.05. Computed for
# the references (section 7) from the procedure that a public answer quotes from a Sandia report; the closed
# approximation n = (1 - 0.05^(1/D)) (N - (D - 1) / 2) (Cannon & Roe 1982, from memory) rounds up to the same in each.
SMALLEST = {
    **{(100, 1): 95, (100, 2): 78, (100, 5): 45, (100, 10): 25, (500, 5): 225},
    **{(1000, 1): 950, (1000, 5): 450, (1000, 10): 258, (1000, 50): 57},
    **{(10000, 1): 9500, (10000, 10): 2588, (10000, 100): 294},
}


@pytest.mark.parametrize(("files", "bad"), SMALLEST)
def test_the_published_sample_sizes(files: int, bad: int) -> None:
    n = sample_size(files, confidence=SURE, at_most=Fraction(bad - 1, files))
    assert n == SMALLEST[files, bad] == math.ceil((1 - 0.05 ** (1 / bad)) * (files - (bad - 1) / 2))


def test_the_classic_sizes_for_unlimited_numbers() -> None:
    """59 and 299 are the figures for 95/95 and 95/99, 22 for 90/90: ln(1 - confidence) / ln(1 - share), rounded up."""
    for confidence, share, n in ((95, 5, 59), (95, 1, 299), (90, 10, 22)):
        sure, at_most = Fraction(confidence, 100), Fraction(share, 100)
        assert sample_size(50_000_000, confidence=sure, at_most=at_most) == n


# Hanley & Lippman-Hand, JAMA 1983 (citation from memory): the rule of three, 3/n, and what it approximates, computed
# as 1 - 0.05^(1/n): findatwiki.com/Rule_of_three_(statistics); worked there: 1500 subjects, fewer than 1 in 500.
@pytest.mark.parametrize(("n", "exact"), [(30, 0.095034), (100, 0.029513), (300, 0.009936), (1500, 0.0019952)])
def test_the_rule_of_three(n: int, exact: float) -> None:
    files = 20_000_000
    share = bad_at_most(files, n, 0, confidence=SURE) / files
    assert share == pytest.approx(exact, rel=1e-4)
    assert share < 3 / n


def cases(number: int, seed: int) -> list[tuple[int, int, int, Fraction]]:
    rng, found = Random(seed), []
    for _ in range(number):
        files = int(10 ** rng.uniform(0, 5))
        sampled = rng.choice((rng.randint(1, files), rng.randint(1, min(files, 500))))
        bad = rng.choice((0, 0, rng.randint(0, min(sampled, 5)), rng.randint(0, sampled)))
        found.append((files, sampled, bad, rng.choice((SURE, Fraction(9, 10), Fraction(999, 1000)))))
    return found


def test_sample_sizes_agree_with_scipy() -> None:
    for files, _, _, confidence in cases(150, 1):
        for at_most in (Fraction(0), Fraction(1, 100), Fraction(1, 20), Fraction(1, 3)):
            n = sample_size(files, confidence=confidence, at_most=at_most)
            bad, doubt = math.floor(at_most * files) + 1, float(1 - confidence)
            assert n >= 1
            assert hypergeom.pmf(0, files, bad, n) <= doubt * (1 + 1e-7)
            assert hypergeom.pmf(0, files, bad, n - 1) > doubt * (1 - 1e-7)


def test_bounds_agree_with_scipy() -> None:
    for files, sampled, found, confidence in cases(300, 2):
        doubt = float(1 - confidence)
        high = bad_at_most(files, sampled, found, confidence=confidence)
        assert hypergeom.cdf(found, files, high, sampled) > doubt * (1 - 1e-6)
        if high < files - sampled + found:
            assert hypergeom.cdf(found, files, high + 1, sampled) <= doubt * (1 + 1e-6)
        low, top = interval(files, sampled, found, confidence=confidence)
        assert hypergeom.sf(found - 1, files, low, sampled) > doubt / 2 * (1 - 1e-6)
        if low > found:
            assert hypergeom.sf(found - 1, files, low - 1, sampled) <= doubt / 2 * (1 + 1e-6)
        assert hypergeom.cdf(found, files, top, sampled) > doubt / 2 * (1 - 1e-6)
        if top < files - sampled + found:
            assert hypergeom.cdf(found, files, top + 1, sampled) <= doubt / 2 * (1 + 1e-6)
