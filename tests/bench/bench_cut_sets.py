"""Benchmark: cut sets, probability and importance of fault trees, with the targets beside; and of a drill's copies.

Run: python tests/bench/bench_cut_sets.py [--rounds 3]

Seconds of this process, the least of some rounds. Trees: published ones (`tests/shared/published_trees.py`); k of n
redundant trains that share support systems; a deep one. The target for each: ten seconds on one core. `diagram` is held
against dd, where it is installed: its Python diagrams (`dd.autoref`) and those of the C library CUDD, without
reordering, in the order that was the best of ours. `holders` is what a drill asks for: some hundred different groups of
copies, 12 copies, some 30 events.
"""

import argparse
import importlib
import random
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from tabulate import tabulate

sys.path.insert(0, str(Path(__file__).parents[1] / "shared"))

from published_trees import BAOBAB_1, CHINESE

from drill.faulttree import Gates, importance, minimal_cut_sets, probability, smallest, smallest_cut_sets
from drill.faulttree.diagram import diagram
from drill.faulttree.tree import checked

DEEP = 10_000
TARGET_S = 10


def trains(number: int, least: int, parts: int, supports: int) -> Gates:
    """Make "at least so many of the trains fail": each fails by a part of its own, or by what several share."""
    gates: dict[str, tuple[str | int, list[str]]] = {"top": (least, [f"train{n}" for n in range(number)])}
    for n in range(number):
        shared = [f"support{n % supports}", f"control{2 * n % supports}"]
        gates[f"train{n}"] = ("or", [*(f"part{n}-{part}" for part in range(parts)), *shared])
    for n in range(supports):
        gates[f"support{n}"] = ("and", [f"power{n}", f"spare{n}"])
        gates[f"control{n}"] = ("or", [f"desk{n}", f"power{(n + 1) % supports}"])
    return gates


def deep() -> Gates:
    gates = {f"g{n}": ("or" if n % 2 else "and", [f"e{n}", f"g{n + 1}"]) for n in range(DEEP)}
    return {**gates, f"g{DEEP}": ("or", ["x", "y"])}


def events_of(gates: Gates) -> list[str]:
    return sorted({name for _, inputs in gates.values() for name in inputs if name not in gates})


def least_s(asked: Callable[[], Any], rounds: int) -> tuple[float, Any]:
    """Return the least seconds of this process, and the answer."""
    taken, answer = [], None
    for _ in range(rounds):
        began = time.process_time()
        answer = asked()
        taken.append(time.process_time() - began)
    return min(taken), answer


def of_dd(module: str, top: str, gates: Gates, order: tuple[str, ...]) -> None:
    """Build the tree's diagram with dd; small depth only, as this is recursive."""
    book = importlib.import_module(module).BDD()
    book.configure(reordering=False)
    book.declare(*order)
    made: dict[str, Any] = {name: book.var(name) for name in order}

    def build(name: str) -> Any:
        if name not in made:
            kind, inputs = gates[name]
            least = 1 if kind == "or" else len(inputs) if kind == "and" else int(kind)
            reached = [book.true] + [book.false] * least
            for one in map(build, inputs):
                for k in range(least, 0, -1):
                    reached[k] = reached[k] | (reached[k - 1] & one)
            made[name] = reached[least]
        return made[name]

    build(top)
    made.clear()


def tree_row(name: str, top: str, gates: Gates, rounds: int) -> list[Any]:
    p = dict.fromkeys(events_of(gates), 0.01)
    drawn_s, drawn = least_s(lambda: diagram(checked(top, gates)), rounds)
    sets_s, sets = least_s(lambda: minimal_cut_sets(top, gates), rounds)
    row = [name, len(p), len(drawn.level), f"{drawn_s:.3f}"]
    for module in ("dd.autoref", "dd.cudd"):
        try:
            importlib.import_module(module)
        except ImportError:
            row.append("–")
            continue
        is_deep = len(gates) > 1000
        row.append(
            "deep" if is_deep else f"{least_s(lambda m=module: of_dd(m, top, gates, drawn.events), rounds)[0]:.3f}"
        )
    row += [len(sets), f"{sets_s:.3f}", f"{least_s(lambda: smallest(top, gates), rounds)[0]:.3f}"]
    row.append(f"{least_s(lambda: probability(top, gates, p), rounds)[0]:.3f}")
    if len(p) < 1000:
        row.append(f"{least_s(lambda: importance(top, gates, p), 1)[0]:.2f}")
    return row


def holders(seed: int, groups: int, sizes: tuple[int, int]) -> tuple[list[frozenset[str]], dict[str, frozenset[str]]]:
    """Make groups of 12 copies, each copy on a medium of its own, 10 places and 8 accounts."""
    rng = random.Random(seed)
    copies = [f"copy{n}" for n in range(12)]
    takes = {f"medium:{copy}": frozenset({copy}) for copy in copies}
    for copy in copies:
        for event in (f"place:{rng.randrange(10)}", f"account:{rng.randrange(8)}"):
            takes[event] = takes.get(event, frozenset()) | {copy}
    return [frozenset(rng.sample(copies, rng.randint(*sizes))) for _ in range(groups)], takes


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--rounds", type=int, default=3)
    rounds = parser.parse_args().rounds
    trees: list[tuple[str, str, Gates]] = [("chinese", "r1", CHINESE), ("baobab 1", "r1", BAOBAB_1)]
    trees += [(f"{k} of {n} trains", "top", trains(n, k, parts, s)) for n, k, parts, s in TRAINS]
    trees.append((f"{DEEP} deep", "g0", deep()))
    head = ["tree", "events", "nodes", "diagram", "autoref", "cudd", "sets", "all sets", "smallest", "probability"]
    print(tabulate([tree_row(*one, rounds) for one in trees], headers=[*head, "importance"]))
    print(f"seconds; target: each under {TARGET_S}\n")
    rows = []
    for groups, sizes in ((10, (2, 5)), (300, (2, 5)), (300, (5, 7)), (300, (6, 6))):
        made = [holders(seed, groups, sizes) for seed in range(5)]
        each = [least_s(partial(smallest_cut_sets, *one), rounds)[0] for one in made]
        rows.append([groups, f"{sizes[0]} to {sizes[1]}", f"{1e3 * sum(each) / len(each):.1f}"])
    print(tabulate(rows, headers=["groups", "copies each", "ms a drill"]))


TRAINS = ((8, 4, 5, 3), (10, 4, 5, 4), (12, 4, 4, 5), (20, 3, 6, 7))

if __name__ == "__main__":
    main()
