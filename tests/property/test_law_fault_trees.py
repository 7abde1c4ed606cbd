"""Fault trees: cut sets, probability and importance are those of brute force over every set of events."""

import math
from itertools import combinations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drill.faulttree import (
    Gates,
    importance,
    min_cut_upper_bound,
    minimal_cut_sets,
    probability,
    rare_event,
    smallest,
)
from drill.faulttree.least import by_diagram, by_size
from drill.faulttree.tree import checked

MOST_EVENTS = 10


@st.composite
def trees(draw: st.DrawFn) -> Gates:
    """Make gates g0, g1, …, each of events and earlier gates; the last is the top."""
    pool = [f"e{n}" for n in range(draw(st.integers(1, MOST_EVENTS)))]
    gates: dict[str, tuple[str | int, list[str]]] = {}
    for number in range(draw(st.integers(1, 12))):
        inputs = draw(st.lists(st.sampled_from(pool), min_size=1, max_size=5, unique=True))
        kind = draw(st.sampled_from(["and", "or", *range(1, len(inputs) + 1)]))
        gates[f"g{number}"] = (kind, inputs)
        pool.append(f"g{number}")
    return gates


CHANCES = st.lists(
    st.one_of(st.floats(0, 1), st.floats(1e-12, 1e-3), st.sampled_from([0.0, 1.0])),
    min_size=MOST_EVENTS,
    max_size=MOST_EVENTS,
).map(lambda chances: {f"e{n}": chance for n, chance in enumerate(chances)})


def top(gates: Gates) -> str:
    return f"g{len(gates) - 1}"


def below(name: str, gates: Gates) -> set[str]:
    return set().union(*(below(one, gates) for one in gates[name][1])) if name in gates else {name}


def happens(name: str, gates: Gates, happened: frozenset[str]) -> bool:
    if name not in gates:
        return name in happened
    kind, inputs = gates[name]
    number = sum(happens(one, gates, happened) for one in inputs)
    return number >= (1 if kind == "or" else len(inputs) if kind == "and" else int(kind))


def every_set(events: set[str]) -> list[frozenset[str]]:
    return [frozenset(one) for size in range(len(events) + 1) for one in combinations(sorted(events), size)]


def brute_cut_sets(gates: Gates) -> set[frozenset[str]]:
    found: list[frozenset[str]] = []
    for one in every_set(below(top(gates), gates)):
        if not any(other <= one for other in found) and happens(top(gates), gates, one):
            found.append(one)
    return set(found)


def brute_probability(cut_sets: set[frozenset[str]], events: set[str], p: dict[str, float]) -> float:
    return math.fsum(
        math.prod(p[event] if event in one else 1 - p[event] for event in events)
        for one in every_set(events)
        if any(cut <= one for cut in cut_sets)
    )


@given(trees())
def test_cut_sets_are_minimal_and_all_of_them(gates: Gates) -> None:
    assert minimal_cut_sets(top(gates), gates) == brute_cut_sets(gates)


@given(trees(), st.integers(1, 5))
@example({"g0": ("and", ["e0", "e1"]), "g1": ("or", ["e0", "g0"]), "g2": ("and", ["g1", "e2"])}, 1)  # absorbed below
def test_the_smallest_are_found_either_way(gates: Gates, most: int) -> None:
    found = brute_cut_sets(gates)
    size = min(map(len, found))
    expected = sorted(tuple(sorted(one)) for one in found if len(one) == size)
    assert smallest(top(gates), gates) == (size, expected)
    assert smallest(top(gates), gates, most=most) == (size, expected[:most])
    tree = checked(top(gates), gates)
    by_diagram_alone = sorted(by_diagram(tree, None), reverse=True)
    assert sorted(by_size(tree) or (), reverse=True) == by_diagram_alone
    assert sorted(by_diagram(tree, most), reverse=True) == by_diagram_alone[:most]


@given(trees(), CHANCES)
def test_probability_is_exact_and_below_its_bounds(gates: Gates, p: dict[str, float]) -> None:
    found, events = minimal_cut_sets(top(gates), gates), below(top(gates), gates)
    exact = probability(top(gates), gates, p)
    assert exact == pytest.approx(brute_probability(found, events, p), rel=1e-9, abs=1e-300)
    slack = 1 + 1e-12
    assert exact <= min_cut_upper_bound(found, p) * slack
    assert min_cut_upper_bound(found, p) <= rare_event(found, p) * slack


@given(trees(), CHANCES)
def test_importance_is_what_its_definitions_say(gates: Gates, p: dict[str, float]) -> None:
    found, events = minimal_cut_sets(top(gates), gates), below(top(gates), gates)
    total = brute_probability(found, events, p)
    measured = importance(top(gates), gates, p)
    assert set(measured) == events
    for event, one in measured.items():
        with_ = brute_probability(found, events, p | {event: 1.0})
        without = brute_probability(found, events, p | {event: 0.0})
        assert one.birnbaum == pytest.approx(with_ - without, rel=1e-6, abs=1e-12)
        if total < 1e-100:
            continue  # the sums of brute force have no digits left there; a top of probability 0 has a test of its own
        union = brute_probability({cut for cut in found if event in cut}, events, p)
        assert one.fussell_vesely == pytest.approx(union / total, rel=1e-9, abs=1e-300)
        assert one.criticality == pytest.approx((with_ - without) * p[event] / total, rel=1e-6, abs=1e-9)
        assert one.raw == pytest.approx(with_ / total, rel=1e-9)
        assert one.rrw == (pytest.approx(total / without, rel=1e-9) if without > 0 else math.inf)
        assert one.criticality <= one.fussell_vesely * (1 + 1e-9)
