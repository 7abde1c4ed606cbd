"""Published fault trees: their cut sets, probabilities and importance. The sources are beside the trees and figures.

`rakhimov/scram` is a public program for fault trees; its tests and inputs are quoted by path. Figures of FFORT (the
fault tree forest, a public collection) are the exact ones of DFTCalc that it lists.
"""

import math
from collections import Counter
from collections.abc import Mapping
from itertools import combinations

import pytest
from published_trees import (
    BAOBAB_1,
    BSCU,
    CHINESE,
    COMPRESSION_SEALS,
    LIFT,
    MOORING,
    NE574,
    PRESSURE_TANK,
    RADIO_BLOCK_CENTRE,
    SHARED_EVENTS,
    THREE_MOTOR,
    TWO_TRAINS,
    tree,
)

from drill.faulttree import (
    Gates,
    importance,
    min_cut_upper_bound,
    minimal_cut_sets,
    probability,
    rare_event,
    smallest,
)


def sets(text: str) -> set[frozenset[str]]:
    return {frozenset(one.split()) for one in text.split(",")}


def alike(gates: Gates, chance: float) -> dict[str, float]:
    return {name: chance for _, inputs in gates.values() for name in inputs if name not in gates}


def test_pressure_tank() -> None:
    """NUREG-0492 chapter VIII, table VIII-1: five cut sets, 3.4e-5, of which T has 14 % and K2 86 %.

    The printed figure is rounded low (its own table gives 3.5e-5), hence 5 %. Exactly: recomputed.
    """
    p = {"T": 5e-6, "K2": 3e-5, "S": 1e-4, "S1": 3e-5, "K1": 3e-5, "R": 1e-4}
    found = minimal_cut_sets("E1", PRESSURE_TANK)
    assert found == sets("K2, T, S S1, S K1, S R")
    assert probability("E1", PRESSURE_TANK, p) == pytest.approx(3.4e-5, rel=0.05)
    assert probability("E1", PRESSURE_TANK, p) == pytest.approx(3.501584875004e-5, rel=1e-12)
    assert rare_event(found, p) == pytest.approx(3.5016e-5, rel=1e-12)
    assert min_cut_upper_bound(found, p) == pytest.approx(3.501584943999e-5, rel=1e-12)
    measured = importance("E1", PRESSURE_TANK, p)
    assert measured["T"].fussell_vesely == pytest.approx(0.14, abs=0.005)
    assert measured["K2"].fussell_vesely == pytest.approx(0.86, abs=0.005)


def test_pressure_tank_as_nasa_has_it() -> None:
    """FFORT "pt", after the NASA handbook of 2002 (K1 is 5e-6): 3.5013348120867e-5, which is off in the 8th digit."""
    p = {"T": 5e-6, "K2": 3e-5, "S": 1e-4, "S1": 3e-5, "K1": 5e-6, "R": 1e-4}
    assert probability("E1", PRESSURE_TANK, p) == pytest.approx(3.5013348120867e-5, rel=1e-7)
    assert probability("E1", PRESSURE_TANK, p) == pytest.approx(3.501334916252e-5, rel=1e-12)


def test_shared_events() -> None:
    """NUREG-0492 pp. VII-16 and 17: "The minimal cut sets of the top event are thus C and A·B"."""
    assert minimal_cut_sets("T", SHARED_EVENTS) == sets("C, A B")
    assert smallest("T", SHARED_EVENTS) == (1, [("C",)])


def test_two_trains_with_all_measures_of_importance() -> None:
    """rakhimov/scram, tests/risk_analysis_tests.cc, ImportanceDefault and Mcub."""
    p = {"ValveOne": 0.4, "ValveTwo": 0.5, "PumpOne": 0.6, "PumpTwo": 0.7}
    found = minimal_cut_sets("TopEvent", TWO_TRAINS)
    assert found == sets("ValveOne ValveTwo, ValveOne PumpTwo, ValveTwo PumpOne, PumpOne PumpTwo")
    assert probability("TopEvent", TWO_TRAINS, p) == pytest.approx(0.646, rel=1e-12)
    assert min_cut_upper_bound(found, p) == pytest.approx(0.766144, rel=1e-12)
    published = {
        "PumpOne": (0.51, 0.4737, 0.7895, 1.316, 1.9),
        "PumpTwo": (0.38, 0.4118, 0.8235, 1.176, 1.7),
        "ValveOne": (0.34, 0.2105, 0.5263, 1.316, 1.267),
        "ValveTwo": (0.228, 0.1765, 0.5882, 1.176, 1.214),
    }
    measured = importance("TopEvent", TWO_TRAINS, p)
    assert list(measured) == sorted(published)
    for event, figures in published.items():
        one = measured[event]
        ours = (one.birnbaum, one.criticality, one.fussell_vesely, one.raw, one.rrw)
        assert ours == pytest.approx(figures, rel=5e-4)


def test_two_trains_where_the_sum_is_no_probability_any_more() -> None:
    """The same test: with tenths of these 0.012 by the rare-event sum; with .5 .5 .7 .7 the sum is above 1."""
    found = minimal_cut_sets("TopEvent", TWO_TRAINS)
    tenths = {"ValveOne": 0.04, "ValveTwo": 0.05, "PumpOne": 0.06, "PumpTwo": 0.07}
    assert rare_event(found, tenths) == pytest.approx(0.012, rel=1e-12)
    large = {"ValveOne": 0.5, "ValveTwo": 0.5, "PumpOne": 0.7, "PumpTwo": 0.7}
    assert rare_event(found, large) == pytest.approx(1.44, rel=1e-12)
    assert probability("TopEvent", TWO_TRAINS, large) == pytest.approx(0.7225, rel=1e-12)


@pytest.mark.parametrize(
    ("gates", "p", "cut_sets", "summed", "exact"),
    [
        # rakhimov/scram, tests/bench_abbc_tests.cc
        ("top = x | y; x = A & B; y = B & C", {"A": 0.1, "B": 0.2, "C": 0.3}, "A B, B C", 0.08, 0.074),
        # tests/bench_abc_tests.cc
        ("top = A | B | C", {"A": 0.1, "B": 0.2, "C": 0.3}, "A, B, C", 0.6, 0.496),
        # tests/bench_atleast_tests.cc
        ("top = 2 of A B C", {"A": 0.1, "B": 0.2, "C": 0.3}, "A B, A C, B C", 0.11, 0.098),
        # tests/bench_theatre_tests.cc, input/Theatre/theatre.xml
        (
            "top = mains & generator; generator = gen | relay",
            {"mains": 0.03, "gen": 0.02, "relay": 0.05},
            "mains gen, mains relay",
            0.0021,
            0.00207,
        ),
        # tests/bench_three_levels_tests.cc, input/ThreeLevels/top.xml
        ("top = middle; middle = bottom; bottom = A | B", {"A": 0.1, "B": 0.2}, "A, B", 0.3, 0.28),
    ],
)
def test_small_trees(gates: str, p: Mapping[str, float], cut_sets: str, summed: float, exact: float) -> None:
    found = minimal_cut_sets("top", tree(gates))
    assert found == sets(cut_sets)
    assert rare_event(found, p) == pytest.approx(summed, rel=1e-12)
    assert probability("top", tree(gates), p) == pytest.approx(exact, rel=1e-12)


def test_theatre_with_a_rate() -> None:
    """rakhimov/scram, input/Theatre/OpenFTA_Report.txt: the generator fails at 0.02 in the unit of time."""
    gates = tree("top = mains & generator; generator = gen | relay")
    p = {"mains": 0.03, "gen": -math.expm1(-0.02), "relay": 0.05}
    found = minimal_cut_sets("top", gates)
    assert {round(rare_event([one], p), 10) for one in found} == {5.940398e-4, 1.5e-3}
    assert rare_event(found, p) == pytest.approx(2.094040e-3, rel=1e-6)
    assert probability("top", gates, p) == pytest.approx(2.064338e-3, rel=1e-6)


def test_lift() -> None:
    """rakhimov/scram, tests/bench_lift_tests.cc: 1.19999e-5."""
    found = minimal_cut_sets("LiftDoor", LIFT)
    assert found == sets("LMD_1, DPD_1, DM_1, PS_1, DOD_1, DOD_2, DMS_1, CP_1, DMS_2, LMD_2, LPD_1, D_1")
    p = alike(LIFT, 1e-6)
    assert len(p) == 14
    assert rare_event(found, p) == pytest.approx(1.2e-5, rel=1e-12)
    assert probability("LiftDoor", LIFT, p) == pytest.approx(1.199993e-5, rel=1e-6)
    measured = importance("LiftDoor", LIFT, p)
    assert measured["W_1"].fussell_vesely == measured["W_1"].birnbaum == 0  # in no minimal cut set


def test_lecture() -> None:
    """rakhimov/scram, tests/bench_ne574_tests.cc: seven cut sets, 0.662208, and a sum that is above 1."""
    p = {"B": 0.1, "C": 0.3, "D": 0.5, "F": 0.7, "G": 0.2, "H": 0.4, "I": 0.8}
    found = minimal_cut_sets("System", NE574)
    assert found == sets("C, D F, D G, D B, H I F, H I G, H I B")
    assert probability("System", NE574, p) == pytest.approx(0.662208, rel=1e-12)
    assert rare_event(found, p) == pytest.approx(1.12, rel=1e-12)


def test_brake_system_control_unit() -> None:
    """rakhimov/scram, tests/bench_bscu_tests.cc: ten cut sets, 0.1124087, and 0.135372 by the sum, each ± 1e-4.

    Mean rates an hour from input/BSCU/BSCU.xml; its mission time is that program's default, 8760 hours (from memory).
    """
    rates = {"monitor": 1.6e-7, "stuck_between": 1.3e-7, "stuck_at_1": 20 * 1.3e-7, "stuck_at_2": 20 * 1.3e-7}
    rates |= {"electronic_1": 3e-5, "electronic_2": 3e-5, "supply_1": 1.35e-5, "supply_2": 1.35e-5}
    p = {event: -math.expm1(-rate * 8760) for event, rate in rates.items()}
    found = minimal_cut_sets("loss", BSCU)
    assert found == sets(
        "monitor, stuck_between, supply_1 supply_2, supply_1 stuck_at_1, supply_1 electronic_2, supply_2 stuck_at_2, "
        "supply_2 electronic_1, stuck_at_1 electronic_1, stuck_at_2 electronic_2, electronic_1 electronic_2"
    )
    assert probability("loss", BSCU, p) == pytest.approx(0.1124087, abs=1e-4)
    assert rare_event(found, p) == pytest.approx(0.135372, abs=1e-4)


def test_three_motors_when_the_timers_have_been_reset() -> None:
    """NUREG-0492 chapter IX, as in rakhimov/scram, tests/bench_three_motor_tests.cc: 12 cut sets, 0.0211538 ± 1e-5."""
    reset = {"KT1": 1.0, "KT2": 1.0, "KT3": 1.0}
    assert probability("E1", THREE_MOTOR, alike(THREE_MOTOR, 0.02) | reset) == pytest.approx(0.0211538, abs=1e-5)
    left = {one.difference(reset) for one in minimal_cut_sets("E1", THREE_MOTOR)}
    published = sets(
        "K5, S1 T2, K1 T2, T1inc T2, T2 T2inc T3inc T4inc, KT3inc T2 T2inc T3inc, KT2inc T2 T2inc T4inc, "
        "KT2inc KT3inc T2 T2inc, KT1inc T2 T3inc T4inc, KT1inc KT3inc T2 T3inc, KT1inc KT2inc T2 T4inc, "
        "KT1inc KT2inc KT3inc T2"
    )
    assert {one for one in left if not any(other < one for other in left)} == published
    assert rare_event(published, alike(THREE_MOTOR, 0.02)) == pytest.approx(0.0212013, abs=5e-8)


def test_three_motors_and_inclusion_and_exclusion() -> None:
    """rakhimov/scram, input/ThreeMotor/OpenFTA_Report.txt (commit c4ffb8c6): 54 cut sets, six partial sums in turn.

    KT1, KT2 and KT3 have probability 1. The published sums were added up from rounded terms: 5e-6 of them.
    """
    p = alike(THREE_MOTOR, 0.02) | {"KT1": 1.0, "KT2": 1.0, "KT3": 1.0}
    found = minimal_cut_sets("E1", THREE_MOTOR)
    assert Counter(map(len, found)) == {2: 7, 3: 3, 4: 2, 5: 26, 7: 16}
    assert smallest("E1", THREE_MOTOR)[1] == [
        *(("K1", "K5"), ("K1", "T2"), ("K2", "K5"), ("K5", "S1"), ("K5", "T1"), ("K5", "T3"), ("S1", "T2"))
    ]
    exact = probability("E1", THREE_MOTOR, p)
    bits = {event: 1 << number for number, event in enumerate(sorted(event for event in p if p[event] < 1))}
    masks = [sum(bits.get(event, 0) for event in one) for one in found]
    sums, sign = [0.0], 1.0
    for terms in range(1, 5):
        total = 0.0
        for chosen in combinations(masks, terms):
            union = 0
            for mask in chosen:
                union |= mask
            total += 0.02 ** union.bit_count()
        sums.append(sums[-1] + sign * total)
        sign = -sign
    assert sums[1:] == pytest.approx([2.363340e-2, 2.101100e-2, 2.116040e-2, 2.115325e-2], rel=5e-6)
    assert sums[1] > sums[3] > exact > sums[4] > sums[2]
    assert 2.115380e-2 * (1 - 5e-6) < exact < 2.115390e-2  # between the sixth sum and the fifth


def test_compression_seals() -> None:
    """FFORT "csd": 1.000000999999e-6."""
    p = alike(COMPRESSION_SEALS, 1e-3) | {"TapeContaminated": 0.1, "CommonCause": 1e-5}
    assert probability("Leak", COMPRESSION_SEALS, p) == pytest.approx(1.000000999999e-6, rel=1e-12)


def test_mooring() -> None:
    """FFORT "SMS_A1": 0.026246389824230341."""
    p = {"Handling": 1.73e-5, "TopAnchor": 4.20e-3, "Line": 9.31e-3, "Buoy": 8.64e-3, "Ship": 8.95e-6, "Land": 8.95e-6}
    p |= {"North": 9.93e-5, "South": 4.37e-5, "East": 5.46e-8, "West": 4.17e-3}
    assert probability("Failure", MOORING, p) == pytest.approx(0.026246389824230341, rel=1e-12)


def test_radio_block_centre() -> None:
    """FFORT "rbc": unavailable 6.8855993019126e-12 of the time; lost within an hour 2.231940944647528e-10."""
    rate = {"PSU": 1.8182e-5, "WAN": 2.5e-6, "Bus": 4.4444e-6, "GSMR": 5.7078e-6, "CPU": 7.4074e-6, "FPGA": 3.003e-9}
    repaired = {"PSU": 6.0, "WAN": 6.0, "Bus": 4.0, "GSMR": 6.0, "CPU": 6.0, "FPGA": 4.0}
    events = alike(RADIO_BLOCK_CENTRE, 0)
    down = {one: rate[one[:-1]] / (rate[one[:-1]] + repaired[one[:-1]]) for one in events}
    within = {one: -math.expm1(-rate[one[:-1]]) for one in events}
    assert probability("RBC", RADIO_BLOCK_CENTRE, down) == pytest.approx(6.8855993019126e-12, rel=1e-6)
    assert probability("RBC", RADIO_BLOCK_CENTRE, within) == pytest.approx(2.231940944647528e-10, rel=1e-9)


def test_bridge_network() -> None:
    """A textbook example, from memory: R(p) = 2p² + 2p³ - 5p⁴ + 2p⁵, at 0.9 0.97848. What fails, and what works."""
    fails = tree("down = a | b | c | d; a = 1 & 2; b = 4 & 5; c = 1 & 3 & 5; d = 2 & 3 & 4")
    works = tree("up = a & b & c & d; a = 1 | 2; b = 4 | 5; c = 1 | 3 | 5; d = 2 | 3 | 4")
    assert minimal_cut_sets("up", works) == sets("1 4, 2 5, 1 3 5, 2 3 4")
    assert probability("up", works, alike(works, 0.9)) == pytest.approx(0.97848, rel=1e-12)
    p, found = alike(fails, 0.1), minimal_cut_sets("down", fails)
    assert found == sets("1 2, 4 5, 1 3 5, 2 3 4")
    assert probability("down", fails, p) == pytest.approx(0.02152, rel=1e-12)
    assert min_cut_upper_bound(found, p) == pytest.approx(0.0218592, rel=1e-5)
    assert rare_event(found, p) == pytest.approx(0.022, rel=1e-12)


def test_benchmark_chinese() -> None:
    assert Counter(map(len, minimal_cut_sets("r1", CHINESE))) == {2: 12, 4: 24, 5: 188, 6: 168}
    assert probability("r1", CHINESE, alike(CHINESE, 0.02)) == pytest.approx(0.0045691, abs=1e-5)


def test_benchmark_baobab_1() -> None:
    by_size = Counter(map(len, minimal_cut_sets("r1", BAOBAB_1)))
    assert {size: number for size, number in by_size.items() if size <= 6} == {2: 1, 3: 1, 4: 70, 5: 400, 6: 2212}
    assert by_size.total() == 46188
