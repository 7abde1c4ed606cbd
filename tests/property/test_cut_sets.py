"""Cut sets: minimal, complete, and in agreement with brute force over every set of events."""

from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from drill.faulttree import smallest_cut_sets

COPIES = ["a", "b", "c", "d"]


def brute_force(holders: list[frozenset[str]], takes: dict[str, frozenset[str]]) -> tuple[int, list[tuple[str, ...]]]:
    for size in range(len(takes) + 1):
        found = [
            events
            for events in combinations(sorted(takes), size)
            if any(held <= frozenset().union(*(takes[e] for e in events)) for held in holders)
        ]
        if found:
            return size, found if size else []
    raise AssertionError("no set of events takes everything")


@given(
    holders=st.lists(st.frozensets(st.sampled_from(COPIES)), min_size=1, max_size=5),
    more=st.dictionaries(st.sampled_from(["p", "q", "r", "s"]), st.frozensets(st.sampled_from(COPIES)), max_size=4),
)
def test_smallest_cut_sets_agree_with_brute_force(
    holders: list[frozenset[str]], more: dict[str, frozenset[str]]
) -> None:
    takes = {f"medium:{copy}": frozenset({copy}) for copy in COPIES} | more
    assert smallest_cut_sets(holders, takes) == brute_force(holders, takes)


def test_common_practice_card_and_tablet_in_one_bag_are_one_failure_from_loss() -> None:
    """Common practice, no source: card and tablet alone are not enough; a third copy before leaving the field."""
    takes = {
        "medium:card": frozenset({"card"}),
        "medium:tablet": frozenset({"tablet"}),
        "place:bag": frozenset({"card", "tablet"}),
        "medium:drive": frozenset({"drive"}),
        "place:pocket": frozenset({"drive"}),
    }
    assert smallest_cut_sets([frozenset({"card", "tablet"})], takes) == (1, [("place:bag",)])
    size, sets = smallest_cut_sets([frozenset({"card", "tablet", "drive"})], takes)
    assert size == 2
    assert ("medium:drive", "place:bag") in sets


def test_published_shared_event_tree() -> None:
    """NUREG-0492 (Vesely et al. 1981) fig. VII-10: the minimal cut sets of the tree are {C} and {A, B}.

    Two copies, one failing by A or C, the other by B or C, are lost together exactly by those sets; {C} is smallest.
    """
    takes = {"A": frozenset({"1"}), "B": frozenset({"2"}), "C": frozenset({"1", "2"})}
    assert smallest_cut_sets([frozenset({"1", "2"})], takes) == (1, [("C",)])
    without_c = {event: taken for event, taken in takes.items() if event != "C"}
    assert smallest_cut_sets([frozenset({"1", "2"})], without_c) == (2, [("A", "B")])


def test_many_independent_copies_stay_quick() -> None:
    copies = [f"c{n}" for n in range(7)]
    takes = {f"{kind}:{c}": frozenset({c}) for c in copies for kind in ("medium", "place", "account")}
    size, sets = smallest_cut_sets([frozenset(copies)], takes)
    assert (size, len(sets)) == (7, 3**7)
