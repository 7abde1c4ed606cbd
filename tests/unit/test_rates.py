"""Rates from measurements: exact where they are exact, careful where they tell little."""

import pytest

from drill.rates import Measurement, fit


def test_exact_measurements_give_back_what_made_them() -> None:
    made = [Measurement(f, b, f * 0.01 + b / 80e6) for f, b in ((100, 10**9), (5000, 2 * 10**9), (20, 64 * 10**9))]
    found = fit(made)
    assert found is not None
    assert (found.per_file_s, found.bps) == (pytest.approx(0.01), pytest.approx(80e6))
    assert found.seconds(1000, 8 * 10**9) == pytest.approx(110)
    assert found.off_by_s(1000, 8 * 10**9) == pytest.approx(0, abs=1e-6)


def test_two_measurements_are_one_rate_over_both() -> None:
    found = fit([Measurement(10, 10**9, 10), Measurement(1, 10**9, 30)])
    assert found is not None
    assert (found.bps, found.per_file_s, found.off_by_s(1, 1)) == (50e6, 0.0, None)


def test_like_measurements_do_not_tell_two_unknowns_apart() -> None:
    found = fit([Measurement(10 * n, n * 10**9, 10.0 * n + n % 2) for n in range(1, 6)])
    assert found is not None
    assert (found.per_file_s, found.normal) == (0.0, None)
    assert found.bps == pytest.approx(15e9 / 153)


def test_a_negative_time_for_each_file_is_not_believed() -> None:
    found = fit([Measurement(1, 10**9, 20), Measurement(1000, 10**9, 10), Measurement(500, 2 * 10**9, 22)])
    assert found is not None
    assert found.per_file_s == 0.0 and found.bps == pytest.approx(4e9 / 52)


def test_nothing_measured_is_no_rate() -> None:
    assert fit([]) is None
    assert fit([Measurement(0, 0, 1.0), Measurement(1, 5, 0.0)]) is None
