"""What each sector costs: hand-made structures, against brute force over every sector, byte by byte."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drill.extents import Anatomy, Extent, Part
from drill.model import Entry
from drill.radius import count, measure, stretches
from drill.radius.measure import bounds_of
from drill.radius.stretches import union


def entries(number: int) -> tuple[Entry, ...]:
    return tuple(Entry(f"R{n:04d}.dng", 1000, index=n) for n in range(number))


@st.composite
def anatomies(draw: st.DrawFn) -> Anatomy:
    members = draw(st.integers(0, 120))
    bound = st.integers(0, members)
    extents, at = [], 0
    for _ in range(draw(st.integers(0, 12))):
        first, end, wider, lower = sorted(draw(st.tuples(bound, bound, bound, bound)))
        size = draw(st.one_of(st.integers(0, 9), st.integers(0, 200)))
        part = draw(st.sampled_from(tuple(Part)))
        why = draw(st.sampled_from(("", "the end header", "a header")))
        extents.append(Extent(at, at + size, part, draw(bound), (end, wider), (first, lower), why))
        at += size
    return Anatomy(at, entries(members), tuple(extents), 1000 * members, at)


def by_brute_force(anatomy: Anatomy, sector_size: int) -> list[tuple[int, set[int], set[int]]]:
    """Return for each sector what a program that stops begins to lose, and the members lost at least and at most."""
    found = []
    for start in range(0, anatomy.size, sector_size):
        hit = [
            e
            for e in anatomy.extents
            if any(e.start <= b < e.end for b in range(start, min(start + sector_size, anatomy.size)))
        ]
        least = {member for extent in hit for member in range(*extent.least)}
        most = {member for extent in hit for member in range(*extent.most)}
        found.append((min(extent.stops for extent in hit), least, most))
    return found


@given(anatomies(), st.integers(1, 40))
def test_stretches_agree_with_brute_force_over_every_sector(anatomy: Anatomy, sector_size: int) -> None:
    told = []
    for one in stretches(anatomy, sector_size):
        assert one.first == len(told) and one.sectors > 0
        for ranges in (one.least, one.most):
            assert all(a[1] < b[0] for a, b in pairwise(ranges))
        least, most = ({n for range_ in ranges for n in range(*range_)} for ranges in (one.least, one.most))
        told += [(one.stops, least, most)] * one.sectors
    assert told == by_brute_force(anatomy, sector_size)


@given(anatomies(), st.integers(1, 40), st.sampled_from((3, 10, 4000)))
def test_a_map_adds_up_what_brute_force_finds(anatomy: Anatomy, sector_size: int, most_cells: int) -> None:
    with patch("drill.radius.cells.MOST_CELLS", most_cells):
        found = measure(anatomy, archive="a.7z", sector_size=sector_size)
    assert len(found.strip.most) <= most_cells
    members = len(anatomy.members)
    costs = [(members - stops, len(least), len(most)) for stops, least, most in by_brute_force(anatomy, sector_size)]
    assert found.sectors == len(costs)
    assert (found.lost.stops, found.lost.least, found.lost.most) == tuple(
        sum(c[way] for c in costs) for way in range(3)
    )
    for one in found.classes:
        told = (one.sectors.stops, one.sectors.least, one.sectors.most)
        assert told == tuple(sum(one.low <= c[way] <= one.high for c in costs) for way in range(3))
    assert found.runs is not None
    assert [run[2:] for run in found.runs for _ in range(run[1])] == costs
    cells = [costs[n : n + found.strip.cell_sectors] for n in range(0, len(costs), found.strip.cell_sectors)]
    for way, strip in ((1, found.strip.least), (2, found.strip.most)):
        averages = [Fraction(sum(c[way] for c in cell), len(cell)) for cell in cells]
        assert all(abs(mean - told) <= Fraction(1, 2) or told == 1 for mean, told in zip(averages, strip, strict=True))
        assert [bool(mean) for mean in averages] == [bool(told) for told in strip]
    if costs:
        assert found.expected() == tuple(Fraction(sum(c[way] for c in costs), len(costs)) for way in range(3))
        dearest = max(c[2] for c in costs)
        assert max((place.lost.most for place in found.worst), default=0) == dearest
    for place in found.worst:
        here = costs[place.start // sector_size : -(-place.end // sector_size)]
        assert len(here) == place.sectors
        assert {c[1:] for c in here} == {(place.lost.least, place.lost.most)}
        assert place.lost.stops == max(c[0] for c in here)
    told = [(place.lost.most, place.lost.least, place.what) for place in found.worst]
    assert told == sorted(set(told), reverse=True)
    if len(told) < 10:
        assert found.left_out == 0 and sum(bool(c[2]) for c in costs) >= sum(1 + one.alike for one in found.worst)


@pytest.mark.parametrize(
    ("members", "lows"),
    [
        (0, [0]),
        (1, [0, 1]),
        (2, [0, 1, 2]),
        (9, [0, 1, 2, 9]),
        (10, [0, 1, 2, 10]),
        (11, [0, 1, 2, 10, 11]),
        (148, [0, 1, 2, 10, 100, 148]),
    ],
)
def test_members_lost_are_counted_in_tens_and_all_of_them_apart(members: int, lows: list[int]) -> None:
    assert bounds_of(members) == lows


def test_ranges_that_touch_are_one() -> None:
    assert union([(5, 7), (0, 2), (2, 3), (6, 6), (4, 4)]) == ((0, 3), (5, 7))
    assert count(union([(0, 10), (3, 5)])) == 10


def test_equal_places_are_one_row_and_counted() -> None:
    found = measure(stored(100), archive="a.zip", sector_size=4096)
    seam, inside = found.worst
    assert (seam.lost.most, seam.sectors, seam.alike, seam.members) == (2, 1, 98, 2)  # each seam lies within a sector
    assert (inside.lost.most, inside.alike, inside.members, found.left_out) == (1, 99, 1, 0)


def stored(number: int) -> Anatomy:
    """Files of 10,000 bytes side by side, each lost alone."""
    data = [Extent(n * 10_000, (n + 1) * 10_000, Part.STORED, n, (n, n + 1), (n, n + 1)) for n in range(number)]
    return Anatomy(number * 10_000, entries(number), tuple(data), number * 10_000, number * 10_000)


def solid() -> Anatomy:
    """100 files in one block of 100 × 10,000 bytes, the headers behind it and a start header before."""
    data = [Extent(32 + n * 10_000, 32 + (n + 1) * 10_000, Part.COMPRESSED, n, (n, 100), (n, 100)) for n in range(100)]
    head = Extent(0, 32, Part.HEADERS, 0, (0, 0), (0, 0), "the start header")
    tail = Extent(1_000_032, 1_002_000, Part.HEADERS, 0, (0, 100), (0, 100), "the end header")
    return Anatomy(1_002_000, entries(100), (head, *data, tail), 1_010_000, 1_000_000, restarts=1)


def test_headers_are_told_kind_by_kind() -> None:
    found = measure(solid(), archive="a.7z", sector_size=4096)
    start, end = found.headers
    assert (start.what, start.sectors, start.lost.stops, start.lost.most, start.shared) == (
        "the start header",
        1,
        100,
        0,
        True,
    )
    assert (end.size, end.sectors, end.lost.least, end.lost.most) == (1968, 1, 100, 100)
    assert found.strip.headers == {0, 244}


def test_sectors_of_headers_are_counted_once() -> None:
    heads = [Extent(n * 100, n * 100 + 50, Part.HEADERS, n, (0, 0), (n, n + 1), "a file's header") for n in range(10)]
    data = [Extent(n * 100 + 50, n * 100 + 100, Part.STORED, n, (n, n + 1), (n, n + 1)) for n in range(10)]
    both = tuple(sorted(heads + data, key=lambda one: one.start))
    (found,) = measure(Anatomy(1000, entries(10), both, 500, 500), archive="a.tar", sector_size=512).headers
    assert (found.pieces, found.sectors, found.size, found.shared) == (10, 2, 500, False)


def test_advice_is_given_only_where_the_numbers_support_it() -> None:
    said = measure(solid(), archive="a.7z", sector_size=4096).advice
    assert len(said) == 3
    assert "all 100 files are lost" in said[0] and "1 sector" in said[0]
    assert "up to 100 of 100" in said[1]
    assert "saves 1.0%" in said[2]
    kept = replace(solid(), kept_elsewhere=True, packed_size=800_000)
    assert [text.split(".")[0] for text in measure(kept, archive="a.7z", sector_size=4096).advice] == [
        "Pack in smaller blocks"
    ]


def test_a_stored_archive_with_its_headers_kept_needs_no_advice() -> None:
    data = tuple(Extent(n * 10_000, (n + 1) * 10_000, Part.STORED, n, (n, n + 1), (n, n + 1)) for n in range(100))
    found = measure(Anatomy(1_000_000, entries(100), data, 1_000_000, 1_000_000), archive="a.tar", sector_size=4096)
    assert found.advice == ()
    assert {one.low for one in found.classes if one.sectors.most} == {1, 2}


def test_an_archive_with_no_member_and_an_empty_one() -> None:
    nothing = Anatomy(100, (), (Extent(0, 100, Part.HEADERS, 0, (0, 0), (0, 0)),), 0, 0)
    assert measure(nothing, archive="a.zip", sector_size=4096).expected() == (0, 0, 0)
    assert measure(Anatomy(0, (), (), 0, 0), archive="a.tar", sector_size=4096).expected() == (0, 0, 0)
