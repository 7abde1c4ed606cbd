"""Fault trees against dd, a general-purpose library for binary decision diagrams that nobody here wrote.

A diagram has one form only: what we say of a tree is right when dd makes the same node of both.
"""

import random
from collections.abc import Iterable, Mapping
from typing import Any

import pytest
from published_trees import CHINESE

from drill.faulttree import Gates, minimal_cut_sets, probability

pytestmark = pytest.mark.deep  # the published trees and brute force are quick

bdd = pytest.importorskip("dd.bdd", reason="dd is not installed: pip install 'restore-drill[test]'")


def events_of(gates: Gates) -> list[str]:
    return list(dict.fromkeys(name for _, inputs in gates.values() for name in inputs if name not in gates))


def of_tree(book: Any, name: str, gates: Gates, made: dict[str, int]) -> int:
    """Return dd's node of a gate or an event; small trees only, as this is recursive."""
    if name not in gates:
        return int(book.var(name))
    if name not in made:
        kind, inputs = gates[name]
        reached = [book.true] + [book.false] * len(inputs)  # reached[k]: at least k of those so far
        for one in inputs:
            node = of_tree(book, one, gates, made)
            for k in range(len(inputs), 0, -1):
                reached[k] = book.apply("or", reached[k], book.apply("and", reached[k - 1], node))
        made[name] = reached[1 if kind == "or" else len(inputs) if kind == "and" else int(kind)]
    return made[name]


def of_sets(book: Any, cut_sets: Iterable[frozenset[str]]) -> int:
    """Return dd's node of "any of these sets happens", put together in pairs."""
    nodes = [book.cube(dict.fromkeys(one, True)) for one in cut_sets]
    while len(nodes) > 1:
        nodes = [
            book.apply("or", *nodes[n : n + 2]) if n + 1 < len(nodes) else nodes[n] for n in range(0, len(nodes), 2)
        ]
    return int(nodes[0])


def chance(book: Any, node: int, p: Mapping[str, float], known: dict[int, float]) -> float:
    """Return the probability of dd's node; a negative node is "not", and 1 is true."""
    if node < 0:
        return 1 - chance(book, -node, p, known)
    if node == 1:
        return 1.0
    if node not in known:
        level, low, high = book.succ(node)
        share = p[book.var_at_level(level)]
        known[node] = share * chance(book, high, p, known) + (1 - share) * chance(book, low, p, known)
    return known[node]


def judge(top: str, gates: Gates, p: Mapping[str, float]) -> None:
    events = events_of(gates)
    book = bdd.BDD({event: level for level, event in enumerate(events)})
    node = of_tree(book, top, gates, {})
    cut_sets = minimal_cut_sets(top, gates)
    assert of_sets(book, cut_sets) == node
    for one in random.Random(1).sample(sorted(cut_sets, key=sorted), min(len(cut_sets), 40)):
        for event in one:  # minimal: none can be left out
            assert book.let({name: name in one and name != event for name in events}, node) == book.false
    assert probability(top, gates, p) == pytest.approx(chance(book, node, p, {}), rel=1e-9)


@pytest.mark.parametrize("seed", range(25))
def test_random_trees(seed: int) -> None:
    rng = random.Random(seed)
    pool = [f"e{n}" for n in range(24)]
    gates: dict[str, tuple[str | int, list[str]]] = {}
    for number in range(30):
        inputs = rng.sample(pool[-24:], rng.randint(2, 4))
        gates[f"g{number}"] = (rng.choice(["and", "or", "or", rng.randint(1, len(inputs))]), inputs)
        pool.append(f"g{number}")
    judge("g29", gates, {event: rng.random() for event in events_of(gates)})


def test_a_published_tree() -> None:
    judge("r1", CHINESE, dict.fromkeys(events_of(CHINESE), 0.01))
