"""Spot checks that mean something: how many files to read, which ones, and what the outcome then shows.

Flows in: numbers of files, shares, names, what is known of each candidate. Flows out: sample sizes, bounds, drawn
names, an order of reading. Must not know: copies, manifests, ledgers, how a file is read.

A sample is drawn without replacement, so counts follow the hypergeometric distribution, and every answer is exact:
shares are Fractions, and wherever a float could fall on the wrong side of a boundary, integers decide. Sources: the
smallest n with C(N-D, n) / C(N, n) <= 1 - confidence, and the rule of three (references, section 7); two-sided bounds
after Clopper and Pearson (Biometrika 1934, from memory) with the hypergeometric in the place of the binomial.
"""

import hashlib
import heapq
import math
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import NamedTuple

from drill.units import parse_part, parse_size, parse_span

_NEAR = 1e-5  # this near to a boundary integers decide: floats are wrong by 1e-8 of 2,000,000 files (measured)
_NEGLIGIBLE = 1e-18
_DAY_S = 86400.0
_LARGE = 50_000_000  # bytes: a large raw picture, where no size is known at all


# --- how many, and what it shows ---------------------------------------------------------------------------------


def sample_size(files: int, *, confidence: Fraction, at_most: Fraction) -> int:
    """Return the fewest files to read, so that finding all of them good shows that at most that share is bad.

    `at_most` is a share of `files`, rounded down to whole files; 0 of few files asks for nearly all of them. At a
    confidence of 1 the answer is certain: all but the tolerated ones are read. Errors: ValueError.
    """
    _check(files, 0, 0)
    tolerated = math.floor(_share(at_most, "at most") * files)
    doubt = 1 - _share(confidence, "the confidence")
    if tolerated >= files or doubt >= 1:
        return 0
    if not doubt:
        return files - tolerated
    return _first(files, lambda n: not _misses_over(files, n, bad=tolerated + 1, doubt=doubt))


def bad_at_most(files: int, sampled: int, found: int, *, confidence: Fraction) -> int:
    """Return how many of all files are bad at most, `found` included, when `found` of `sampled` were bad.

    One-sided: the largest number that would still show so few in more than 1 - confidence of all samples. When
    every file was read the answer is certain: `found`. Errors: ValueError.
    """
    _check(files, sampled, found)
    return _most(files, sampled, found, doubt=1 - _share(confidence, "the confidence"))


def interval(files: int, sampled: int, found: int, *, confidence: Fraction) -> tuple[int, int]:
    """Return the least and the most bad files that fit what was found, each side with half of the doubt.

    Covers the truth in at least `confidence` of all samples, whatever the truth. Errors: ValueError.
    """
    _check(files, sampled, found)
    doubt = (1 - _share(confidence, "the confidence")) / 2
    good_at_most = _most(files, sampled, sampled - found, doubt=doubt)
    return files - good_at_most, _most(files, sampled, found, doubt=doubt)


def estimate(files: int, sampled: int, found: int) -> int:
    """Return the most plausible number of bad files: the sample's share of all, rounded. Errors: ValueError."""
    _check(files, sampled, found)
    if not sampled:
        raise ValueError("nothing was read, so nothing can be estimated")
    return (2 * files * found + sampled) // (2 * sampled)


def _check(files: int, sampled: int, found: int) -> None:
    if not 0 <= found <= sampled <= files:
        raise ValueError(f"{found} found of {sampled} read of {files} files cannot be")


def _share(share: Fraction, what: str) -> Fraction:
    if not isinstance(share, Fraction):  # a float 0.95 is a little less than 95 %, and a boundary would move
        raise TypeError(f"{what} must be a Fraction")
    if not 0 <= share <= 1:
        raise ValueError(f"{what} must be between 0% and 100%")
    return share


def _misses_over(files: int, sampled: int, *, bad: int, doubt: Fraction) -> bool:
    """Say whether a sample holds none of the bad files with a chance over `doubt`."""
    fewer, more = sorted((sampled, bad))  # drawing and being bad may trade places
    return math.perm(files - more, fewer) * doubt.denominator > doubt.numerator * math.perm(files, fewer)


def _first(highest: int, holds: Callable[[int], bool]) -> int:
    """Return the least n from 1 to `highest` at which `holds`, which stays true once it is. It does at `highest`."""
    high = 1
    while high < highest and not holds(high):  # doubling first: what is tried costs more the larger it is
        high *= 2
    low, high = high // 2, min(high, highest)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def _most(files: int, sampled: int, found: int, *, doubt: Fraction) -> int:
    """Return the largest number of bad files under which at most `found` are drawn with a chance over `doubt`."""
    low, high = found, files - sampled + found + 1  # at `low` the chance is 1; `high` cannot be
    if doubt >= 1:
        return low
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _exceeds(files, sampled, found, bad=middle, doubt=doubt) else (low, middle)
    return low


def _exceeds(files: int, sampled: int, found: int, *, bad: int, doubt: Fraction) -> bool:
    """Say whether the chance of at most `found` bad ones in the sample is over `doubt`."""
    if not doubt:
        return True
    close = _chance(files, sampled, found, bad=bad)
    if abs(close - float(doubt)) > _NEAR * float(doubt):
        return close > doubt
    fewer, more = sorted((sampled, bad))  # drawing and being bad may trade places, and fewer drawn is less to compute
    return _ways(files, fewer, found, bad=more) * doubt.denominator > doubt.numerator * math.comb(files, fewer)


def _chance(files: int, sampled: int, found: int, *, bad: int) -> float:
    """Return that chance as a float, summed outwards from the likeliest count so that nothing underflows."""
    least, most = max(0, sampled + bad - files), min(found, sampled, bad)
    if most < least:
        return 0.0
    start = min(max((sampled + 1) * (bad + 1) // (files + 2), least), most)
    total, term, count = 1.0, 1.0, start
    while count > least and term > _NEGLIGIBLE:
        term *= count * (files - bad - sampled + count) / ((bad - count + 1) * (sampled - count + 1))
        count -= 1
        total += term
    term, count = 1.0, start
    while count < most and term > _NEGLIGIBLE:
        count += 1
        term *= (bad - count + 1) * (sampled - count + 1) / (count * (files - bad - sampled + count))
        total += term
    logs = _log_ways(bad, start) + _log_ways(files - bad, sampled - start) - _log_ways(files, sampled)
    return math.exp(logs) * total


def _log_ways(of: int, chosen: int) -> float:
    return math.lgamma(of + 1) - math.lgamma(chosen + 1) - math.lgamma(of - chosen + 1)


def _ways(files: int, sampled: int, found: int, *, bad: int) -> int:
    """Count the samples with at most `found` bad ones, exactly."""
    least, most = max(0, sampled + bad - files), min(found, sampled, bad)
    if most < least:
        return 0
    total = term = math.comb(bad, least) * math.comb(files - bad, sampled - least)
    for count in range(least + 1, most + 1):
        term = term * ((bad - count + 1) * (sampled - count + 1)) // (count * (files - bad - sampled + count))
        total += term
    return total


# --- which ones --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Candidate:
    """One file on one copy that could be read: what that costs, when it was last proven, who else is proven to have it.

    `key` names file and copy, and is unique. `other_verified` counts the other copies with a proof that still counts.
    """

    key: str
    size: int
    cost_s: float
    verified_at: datetime | None
    other_verified: int


def draw(items: Iterable[str], n: int, seed: int) -> list[str]:
    """Return n different items as chance has it: the n with the smallest SHA-256 of "seed", a zero byte, and the item.

    The same on every system and whatever order the items came in; more of them only adds to the end. An item that
    comes twice counts once; all are returned where there are not n.
    """
    return heapq.nsmallest(n, set(items), key=lambda item: (_lot(seed, item), item))


def _lot(seed: int, name: str) -> bytes:
    return hashlib.sha256(f"{seed}\0{name}".encode("utf-8", "surrogatepass")).digest()


def budget_order(candidates: Iterable[Candidate], seed: int, *, now: datetime) -> list[Candidate]:
    """Return the candidates in the order in which a minute of reading buys most.

    What was never verified comes first, as nothing is known of it. Then by what a read is worth for each second:
    (days since the proof, at least 1, for what has one) / (1 + other verified copies) / (seconds it costs). Damage
    comes with time, so the worth grows with the age of the proof; a file that no other copy is proven to have is worth
    twice one that has a second. Files are what is promised, so a small one counts as a large one. What waits grows
    older, so nothing waits for ever. Equals come in seeded order. The weights are a judgement; they have no source.
    """

    def rank(one: Candidate) -> tuple[bool, float, bytes, str]:
        age = 1.0 if one.verified_at is None else max(1.0, (now - one.verified_at).total_seconds() / _DAY_S)
        seconds_per_worth = one.cost_s * (1 + one.other_verified) / age
        return one.verified_at is not None, seconds_per_worth, _lot(seed, one.key), one.key

    return sorted(candidates, key=rank)


def size_of_unknown(sizes: Iterable[int | None]) -> int:
    """Return what a file of unknown size counts in a budget, which is not to be overrun: the largest that is known."""
    return max((size for size in sizes if size is not None), default=_LARGE)


def within_budget(
    ordered: Sequence[Candidate], *, budget_s: float | None = None, budget_bytes: int | None = None
) -> list[Candidate]:
    """Return those that fit, in their order; what is too large for the rest of it is passed over."""
    left_s = math.inf if budget_s is None else budget_s
    left_bytes = math.inf if budget_bytes is None else budget_bytes
    chosen = []
    for one in ordered:
        if one.cost_s <= left_s and one.size <= left_bytes:
            chosen.append(one)
            left_s, left_bytes = left_s - one.cost_s, left_bytes - one.size
    return chosen


# --- as people write it ------------------------------------------------------------------------------------------


class Budget(NamedTuple):
    """What may be spent on reading: seconds or bytes, the other one None."""

    budget_s: float | None
    budget_bytes: int | None


@dataclass(frozen=True, slots=True)
class Spot:
    """How much of many files to read: what a budget buys, or a sample drawn by chance that shows, if it is clean, at
    that confidence that at most that share of them is bad. One of the two is None."""

    budget: Budget | None
    confidence: Fraction | None
    at_most: Fraction


def parse_budget(text: str) -> Budget:
    """Read a budget such as "2 h" or "500 GB". Errors: ValueError."""
    with suppress(ValueError):
        if span_s := parse_span(text):
            return Budget(span_s, None)
    with suppress(ValueError):
        if size := parse_size(text):
            return Budget(None, size)
    raise ValueError(f'{text!r} is no budget; write a time such as "2 h" or an amount such as "500 GB"')


def parse_confidence(text: str) -> Fraction:
    """Read a confidence such as "95%": over 0%, up to 100%. Errors: ValueError."""
    share = parse_part(text)
    if not share:
        raise ValueError(f'{text!r} shows nothing; write a confidence such as "95%"')
    return share


def parse_at_most(text: str) -> Fraction:
    """Read the share of bad files that a spot check is to rule out, such as "1%": 0% up to under 100%.

    Errors: ValueError.
    """
    share = parse_part(text)
    if share >= 1:
        raise ValueError(f'{text!r} leaves nothing to check; write a share such as "1%"')
    return share
