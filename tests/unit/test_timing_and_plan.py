"""Restore time by the design's formula, worked by hand, and the order in which copies are asked."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drill.model import Bus, Medium
from drill.plan import order_copies
from drill.timing import DEFAULT_BPS, Load, projected_s, rate_bps, transfer_s


def medium(
    id_: str, rate_bps_: float | None = 100e6, per_file_s: float = 0.0, wait_s: float = 0.0, bus: str | None = None
) -> Medium:
    return Medium(
        id=id_, kind="ssd", place="p", attached=False, offsite=False, carried=False,
        reads_at_bps=rate_bps_, per_file_s=per_file_s, in_hand_after_s=wait_s, bus=bus,
    )  # fmt: skip


HUB = {"hub": Bus("hub", 40e6)}


def test_a_worked_example_two_media_on_one_bus() -> None:
    """By hand: the hub carries 40 MB/s, so each medium on it gives 40 MB/s however fast it is.

    ssd: 100 files × 5 ms + 2.0 GB ÷ 40 MB/s = 0.5 + 50 = 50.5 s.
    card (its own 20 MB/s is below the hub's): 10 files × 0 + 0.2 GB ÷ 20 MB/s = 10 s. Together 60.5 s.
    """
    loads = [
        Load(medium("ssd", 500e6, 0.005, bus="hub"), 100, 2_000_000_000),
        Load(medium("card", 20e6, bus="hub"), 10, 200_000_000),
    ]
    assert projected_s(loads, HUB) == pytest.approx(60.5)


def test_a_medium_that_must_be_fetched_is_waited_for_once_and_read_meanwhile() -> None:
    """By hand: the local drive is read from 0 to 10 s; the other is in hand at 3600 s and takes 20 s: 3620 s."""
    loads = [Load(medium("far", wait_s=3600), 1, 2_000_000_000), Load(medium("near"), 1, 1_000_000_000)]
    assert projected_s(loads, {}) == pytest.approx(3620)
    late_wait = [Load(medium("far", wait_s=5), 1, 2_000_000_000), Load(medium("near"), 1, 1_000_000_000)]
    assert projected_s(late_wait, {}) == pytest.approx(30)  # in hand before the local drive is done


def test_a_slow_hazard_divides_the_rate_only() -> None:
    load = Load(medium("cloud", 10e6, per_file_s=0.5), 4, 100_000_000, rate_factor=0.1)
    assert transfer_s(load, {}) == pytest.approx(4 * 0.5 + 100)


def test_a_slow_medium_behind_a_bus_is_as_slow_as_the_slower_of_the_two() -> None:
    """By hand: 100 MB/s at a factor of 0.5 is 50 MB/s, the hub carries 40; at 0.1 it is 10, below the hub."""
    assert rate_bps(medium("m", 100e6, bus="hub"), HUB, 0.5) == 40e6
    assert rate_bps(medium("m", 100e6, bus="hub"), HUB, 0.1) == pytest.approx(10e6)


def test_no_rate_is_the_kind_s_default_and_the_bus_caps_it() -> None:
    assert rate_bps(medium("m", None), {}) == DEFAULT_BPS["ssd"]
    assert rate_bps(medium("m", None, bus="hub"), HUB) == 40e6


def test_nothing_served_takes_no_time() -> None:
    assert projected_s([Load(medium("m", wait_s=99), 0, 0)], {}) == 0


COST = {"fast": 1.0, "slow": 10.0, "fetched": 1.0}


def cost_s(id_: str, files: int, size: int) -> float:
    return COST[id_] * files + (1000 if id_ == "fetched" else 0)


def test_the_cheapest_for_what_it_adds_is_asked_first() -> None:
    everything = frozenset({"fast", "slow", "fetched"})
    assert order_copies([everything] * 10, [1] * 10, cost_s)[0] == "fast"


def test_a_copy_that_must_be_fetched_anyway_does_not_serve_what_is_at_hand() -> None:
    holders = [frozenset({"fast", "fetched"})] * 10 + [frozenset({"fetched"})]
    assert order_copies(holders, [1] * 11, cost_s) == ["fast", "fetched"]


@given(st.lists(st.frozensets(st.sampled_from(sorted(COST)), min_size=1), min_size=1, max_size=8))
def test_every_holder_is_asked_once_and_the_order_of_files_does_not_matter(holders: list[frozenset[str]]) -> None:
    order = order_copies(holders, [5] * len(holders), cost_s)
    assert sorted(order) == sorted(set().union(*holders))
    assert order_copies(list(reversed(holders)), [5] * len(holders), cost_s) == order
