"""Fault trees: mistakes in them, trees that are deep or wide, and what counts when nothing can happen."""

import math
import re

import pytest

from drill.errors import BadTree
from drill.faulttree import (
    Gates,
    Importance,
    importance,
    min_cut_upper_bound,
    minimal_cut_sets,
    probability,
    rare_event,
    smallest,
)
from drill.faulttree.diagram import TooTangled

DEEP = 10_000


@pytest.mark.parametrize(
    ("gates", "said"),
    [
        ({"top": ("xor", ["a", "b"])}, "gate 'top': its kind is \"and\", \"or\" or a whole number, not 'xor'"),
        ({"top": ("AND", ["a", "b"])}, "gate 'top': its kind"),
        ({"top": (True, ["a", "b"])}, "gate 'top': its kind"),
        ({"top": (1.0, ["a", "b"])}, "gate 'top': its kind"),
        ({"top": (None, ["a", "b"])}, "gate 'top': its kind"),
        ({"top": (0, ["a", "b"])}, "gate 'top': at least 0 of 2 inputs; from 1 to 2 is possible"),
        ({"top": (3, ["a", "b"])}, "gate 'top': at least 3 of 2 inputs"),
        ({"top": (-1, ["a", "b"])}, "gate 'top': at least -1 of 2"),
        ({"top": (2, ["a", "a", "b"])}, "gate 'top': at least 2 of inputs, one of which is named twice"),
        ({"top": ("or", [])}, "gate 'top': has no inputs"),
        ({"top": ("or", "ab")}, "gate 'top': its inputs are a list of names, not 'ab'"),
        ({"top": ("or", None)}, "gate 'top': its inputs are a list of names"),
        ({"top": ("or", ["a", 1])}, "gate 'top': an input is a name, not 1"),
        ({"top": ["a", "b", "c"]}, "gate 'top': is a pair of kind and inputs"),
        ({"top": "or"}, "gate 'top': is a pair"),
        ({1: ("or", ["a"])}, "gate 1: a gate's name is text"),
        ({"top": ("or", ["top"])}, "gate 'top': needs itself, by way of 'top' → 'top'"),
        ({"top": ("or", ["x"]), "x": ("and", ["y"]), "y": ("or", ["a", "x"])}, "gate 'x': needs itself, by way of"),
        # Also where the top has nothing to do with it:
        ({"top": ("or", ["a"]), "x": ("and", ["x"])}, "gate 'x': needs itself"),
        ({"top": ("or", ["a"]), "x": ("and", [])}, "gate 'x': has no inputs"),
    ],
)
def test_a_bad_tree_is_one_clear_line_that_names_the_gate(gates: Gates, said: str) -> None:
    for ask in (minimal_cut_sets, smallest):
        with pytest.raises(BadTree, match=re.escape(said)) as caught:
            ask("top", gates)
        assert "\n" not in str(caught.value)
    for asked in (probability, importance):
        with pytest.raises(ValueError, match=re.escape(said)):
            asked("top", gates, {"a": 0.1, "b": 0.1, "c": 0.1})


def test_a_top_that_is_no_name() -> None:
    with pytest.raises(BadTree, match="the top is a name, not 7"):
        minimal_cut_sets(7, {})  # type: ignore[arg-type]


def test_a_long_cycle_is_shown_in_part() -> None:
    gates = {f"g{n}": ("or", [f"g{(n + 1) % DEEP}"]) for n in range(DEEP)}
    with pytest.raises(BadTree, match="needs itself") as caught:
        minimal_cut_sets("g0", gates)
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize("chance", [-0.1, 1.1, math.nan, math.inf, "0.1", None, True])
def test_a_bad_probability_names_its_event(chance: float) -> None:
    gates: Gates = {"top": ("or", ["a", "b"])}
    for asked in (probability, importance):
        with pytest.raises(BadTree, match="event 'b': its probability is a number from 0 to 1"):
            asked("top", gates, {"a": 0.1, "b": chance})
        with pytest.raises(BadTree, match="event 'b': has no probability"):
            asked("top", gates, {"a": 0.1})
    for bound in (rare_event, min_cut_upper_bound):
        with pytest.raises(BadTree, match="event 'b'"):
            bound([{"a", "b"}], {"a": 0.1, "b": chance})


def test_what_the_top_does_not_need_is_no_mistake() -> None:
    gates: Gates = {"top": ("or", ["a"]), "other": ("and", ["b", "c"])}
    assert probability("top", gates, {"a": 0.25, "d": 7.0}) == 0.25
    assert set(importance("top", gates, {"a": 0.25})) == {"a"}


def test_a_top_that_is_no_gate_is_an_event() -> None:
    assert minimal_cut_sets("a", {}) == {frozenset({"a"})}
    assert smallest("a", {}) == (1, [("a",)])
    assert probability("a", {}, {"a": 0.25}) == 0.25
    assert importance("a", {}, {"a": 0.25}) == {"a": Importance(1.0, 1.0, 1.0, 4.0, math.inf)}


def test_inputs_come_in_a_list_a_tuple_or_a_set_and_count_once() -> None:
    two = {frozenset({"a", "b"})}
    for inputs in (["a", "b"], ("b", "a"), {"a", "b"}, frozenset({"a", "b"}), ["a", "b", "a"]):
        assert minimal_cut_sets("top", {"top": ("and", inputs)}) == two  # type: ignore[dict-item]
        assert minimal_cut_sets("top", {"top": ["and", inputs]}) == two  # type: ignore[dict-item]


def test_a_top_that_cannot_happen_has_no_shares() -> None:
    gates: Gates = {"top": ("and", ["a", "b", "or"]), "or": ("or", ["c", "d"])}
    measured = importance("top", gates, {"a": 0.0, "b": 0.5, "c": 0.5, "d": 0.0})
    assert measured["a"] == Importance(0.25, 0.0, 0.0, math.inf, 1.0)
    assert measured["b"] == Importance(0.0, 0.0, 0.0, 1.0, 1.0)


def test_a_top_that_cannot_happen_without_an_event() -> None:
    measured = importance("top", {"top": ("and", ["a", "b"])}, {"a": 0.5, "b": 1.0})
    assert measured["a"] == Importance(1.0, 1.0, 1.0, 2.0, math.inf)
    assert measured["b"] == Importance(0.5, 1.0, 1.0, 1.0, math.inf)


def test_small_probabilities_keep_their_digits() -> None:
    gates: Gates = {"top": ("or", ["x", "y"]), "x": ("and", ["a", "b"]), "y": ("and", ["c", "d"])}
    p = {"a": 1e-100, "b": 3e-100, "c": 1e-120, "d": 1e-120}
    assert probability("top", gates, p) == pytest.approx(3e-200, rel=1e-15)
    measured = importance("top", gates, p)
    assert measured["a"].rrw == pytest.approx(3e-200 / 1e-240, rel=1e-12)
    assert measured["c"].fussell_vesely == pytest.approx(1e-240 / 3e-200, rel=1e-12)


@pytest.mark.deep  # ten thousand levels
def test_a_deep_tree_needs_no_deep_stack() -> None:
    gates: dict[str, tuple[str, list[str]]] = {
        f"g{n}": ("or" if n % 2 else "and", [f"e{n}", f"g{n + 1}"]) for n in range(DEEP)
    }
    gates[f"g{DEEP}"] = ("or", ["x", "y"])
    chances = {event: 0.5 for _, inputs in gates.values() for event in inputs if event not in gates}
    assert smallest("g0", gates) == (2, [("e0", "e1")])
    assert probability("g0", gates, chances) == pytest.approx(1 / 3, rel=1e-12)  # q = 1/2 (1/2 + 1/2 q)
    only_and = {name: ("and", inputs) for name, (_, inputs) in gates.items()}
    assert minimal_cut_sets("g0", only_and) == {frozenset(chances)}
    assert smallest("g0", only_and)[0] == DEEP + 2


def test_a_wide_gate() -> None:
    """By symmetry at least 151 of 301 even chances has probability one half."""
    gates: Gates = {"top": (151, [f"e{n}" for n in range(301)])}
    assert probability("top", gates, {f"e{n}": 0.5 for n in range(301)}) == pytest.approx(0.5, rel=1e-12)
    size, first = smallest("top", gates, most=2)
    assert size == 151
    assert first[0] == tuple(sorted(f"e{n}" for n in range(301))[:151])


def test_more_cut_sets_than_anybody_wants() -> None:
    gates: dict[str, tuple[str, list[str]]] = {f"g{n}": ("or", [f"a{n}", f"b{n}", f"c{n}"]) for n in range(14)}
    gates["top"] = ("and", list(gates))
    with pytest.raises(BadTree, match="top 'top': has 4782969 minimal cut sets, more than 1000000"):
        minimal_cut_sets("top", gates)
    with pytest.raises(BadTree, match="has 4782969 smallest cut sets"):
        smallest("top", gates)
    size, first = smallest("top", gates, most=1)
    assert (size, first) == (14, [tuple(sorted(f"a{n}" for n in range(14)))])


def test_a_tree_beyond_the_bound_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drill.faulttree.diagram.MOST_STEPS", 100)
    monkeypatch.setattr("drill.faulttree.diagram._FIRST_BOUND", 10)
    gates: Gates = {f"g{n}": (3, [f"e{(n * k) % 31}" for k in (1, 2, 5, 7, 11)]) for n in range(1, 31)}
    with pytest.raises(TooTangled, match="share too many of its 30 events"):
        probability("top", {**gates, "top": (15, list(gates))}, {f"e{n}": 0.5 for n in range(31)})
