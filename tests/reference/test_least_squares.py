"""Least squares and Student's t against numpy and scipy, which are general-purpose libraries nobody here wrote."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from drill.rates import FEWEST, Measurement, fit, t_quantile

numpy = pytest.importorskip("numpy", reason="numpy is not installed: pip install 'restore-drill[test]'")
stats = pytest.importorskip("scipy.stats", reason="scipy is not installed: pip install 'restore-drill[test]'")

MEASURED = st.lists(
    st.tuples(st.integers(1, 20_000), st.integers(10**6, 10**12), st.floats(0.5, 2.0)), min_size=FEWEST, max_size=12
)


def _measured(rows: list[tuple[int, int, float]]) -> list[Measurement]:
    """Make measurements of a medium with 5 ms a file and 120 MB/s, each off by a factor."""
    return [Measurement(files, size, (files * 0.005 + size / 120e6) * off) for files, size, off in rows]


@given(MEASURED)
def test_both_unknowns_are_those_of_numpy(rows: list[tuple[int, int, float]]) -> None:
    measured = _measured(rows)
    found = fit(measured)
    assert found is not None
    assume(found.normal is not None)
    scale = numpy.array([1.0, 1e9])  # numpy's conditioning needs like magnitudes
    design = numpy.array([[one.files, one.bytes] for one in measured]) / scale
    taken = numpy.array([one.took_s for one in measured])
    solved, _, rank, _ = numpy.linalg.lstsq(design, taken, rcond=None)
    assume(rank == 2)
    assert found.per_file_s == pytest.approx(solved[0], rel=1e-5, abs=1e-9)
    assert 1 / found.bps == pytest.approx(solved[1] / 1e9, rel=1e-5)
    assert found.spread_s is not None
    off = taken - design @ solved
    assert found.spread_s == pytest.approx(math.sqrt(off @ off / (len(measured) - 2)), rel=1e-4, abs=1e-6)


@given(MEASURED, st.integers(1, 20_000), st.integers(10**6, 10**12))
def test_the_prediction_interval_is_the_textbook_one(rows: list[tuple[int, int, float]], files: int, size: int) -> None:
    """For a new row x: t × s × sqrt(1 + xᵀ (XᵀX)⁻¹ x), no constant in the model."""
    measured = _measured(rows)
    found = fit(measured)
    assert found is not None
    assume(found.normal is not None and found.spread_s is not None)
    design = numpy.array([[one.files, one.bytes / 1e9] for one in measured])
    new = numpy.array([files, size / 1e9])
    assume(numpy.linalg.cond(design) < 1e6)
    leverage = new @ numpy.linalg.inv(design.T @ design) @ new
    assert found.spread_s is not None
    expected = stats.t.ppf(0.975, len(measured) - 2) * found.spread_s * math.sqrt(1 + leverage)
    assert found.off_by_s(files, size) == pytest.approx(expected, rel=2e-3, abs=1e-6)


@pytest.mark.parametrize("freedom", [*range(1, 31), 40, 60, 120])
def test_the_table_of_student_is_that_of_scipy(freedom: int) -> None:
    assert t_quantile(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), abs=6e-4)


@pytest.mark.parametrize("freedom", [31, 39, 41, 59, 100, 121, 5000])
def test_between_two_rows_the_careful_value_is_taken(freedom: int) -> None:
    assert stats.t.ppf(0.975, freedom) - 6e-4 <= t_quantile(freedom) <= stats.t.ppf(0.975, 30) + 6e-4
