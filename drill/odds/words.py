"""Odds as people can picture them.

Flows in: a probability. Flows out: words. Must not know: of what. Rounded towards the worse, and never below one in a
million, or above 99 in 100: no rate behind these figures is known well enough for more.
"""

from math import ceil, floor, log10

_LEAST = 1e-6
_MOST = 0.99


def in_words(p: float, of: str = "shoots") -> str:
    """Return a probability as "1 in 340 shoots", "4 in 10 shoots", "less than one in a million shoots".

    Errors: ValueError for what is no probability.
    """
    if not 0 <= p <= 1:
        raise ValueError(f"no probability: {p}")
    if p < _LEAST:
        return f"less than one in a million {of}"
    if p > _MOST:
        return f"more than 99 in 100 {of}"
    if p > 0.9:
        return f"{ceil(round(p * 100, 9))} in 100 {of}"
    if p > 0.15:
        return f"{ceil(round(p * 10, 9))} in 10 {of}"
    return f"1 in {_rounded_down(1 / p):,} {of}"


def _rounded_down(number: float) -> int:
    """Return a number cut to its first two digits."""
    unit: int = 10 ** max(0, floor(log10(number) + 1e-12) - 1)
    return floor(number / unit + 1e-9) * unit
