"""The simulated cell keeps to what its plate promises."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breakyard.errors import UsageError
from breakyard.simulate.cell import OVERLOAD_SET, Cell, draw_cell

CAPACITY_N = 20_000.0


@given(seed=st.integers(0, 100_000), rating=st.floats(1e-5, 0.01))
@settings(max_examples=60)
def test_a_drawn_cell_stays_within_its_rated_nonlinearity(seed: int, rating: float) -> None:
    """Rising load: largest departure from the line through zero and capacity, as a share of the rated output."""
    cell = draw_cell(np.random.default_rng(seed), capacity_n=CAPACITY_N, nonlinearity=rating)
    load = np.linspace(0.0, CAPACITY_N, 2001)
    out = cell.static_mv_v(load)
    span = out[-1] - out[0]
    line = out[0] + span * load / CAPACITY_N

    assert span == pytest.approx(cell.rated_output_mv_v)
    assert np.abs(out - line).max() <= rating * abs(span) * (1 + 1e-6)


def test_each_curve_reaches_the_rating() -> None:
    """So the rating is used up, not only kept: both curves are one at their largest."""
    load = np.linspace(0.0, 1.0, 100_001)
    for given_curve in ({"quadratic": 0.001}, {"cubic": 0.001}):
        cell = Cell(1.0, rated_output_mv_v=1.0, nonlinearity=0.001, **given_curve)

        assert np.abs(cell.static_mv_v(load) - load).max() == pytest.approx(0.001, rel=1e-6)


def test_the_slope_at_small_loads_is_off_as_stated() -> None:
    """Derivative of the curves at zero: 4a + 6 sqrt(3) b."""
    cell = Cell(1.0, rated_output_mv_v=1.0, nonlinearity=0.001, quadratic=0.0004, cubic=-0.0003)

    slope = (cell.static_mv_v(1e-6) - cell.static_mv_v(0.0)) / 1e-6

    assert slope == pytest.approx(1 + 4 * 0.0004 - 6 * np.sqrt(3) * 0.0003, rel=1e-7)


def test_rising_loads_show_no_hysteresis_and_falling_ones_show_it() -> None:
    cell = Cell(CAPACITY_N, hysteresis=0.0005)
    up = np.linspace(0.0, CAPACITY_N, 101)
    cycle = np.concatenate([up, up[::-1][1:]])
    out = cell.output_mv_v(np.arange(cycle.size), cycle)
    loop = (out[100:] - out[100::-1]) / cell.rated_output_mv_v

    np.testing.assert_allclose(out[:101], cell.static_mv_v(up), rtol=1e-12)
    assert loop[0] == loop[-1] == 0.0
    assert loop.max() == pytest.approx(0.0005)
    assert loop.min() >= 0.0


def test_the_zero_drifts_and_the_span_follows_the_temperature() -> None:
    """0.05 % of capacity per minute is 0.001 mV/V on a 2 mV/V cell; 10 degrees at 0.001 per degree are 1 %."""
    drifting = Cell(CAPACITY_N, zero_drift_per_s=0.0005 / 60)
    warm = Cell(CAPACITY_N, temperature_c=30.0, span_per_c=0.001, zero_per_c=0.0001)

    assert np.diff(drifting.output_mv_v([0.0, 60.0], [0.0, 0.0])) == pytest.approx(0.001)
    assert warm.output_mv_v([0.0], [CAPACITY_N])[0] == pytest.approx(2.0 * 1.01 + 2.0 * 0.001)


def test_an_overload_leaves_a_shift_of_the_zero() -> None:
    cell = Cell(CAPACITY_N)
    load = CAPACITY_N * np.array([0.0, 1.4, 0.0, 1.7, 0.0])

    after = cell.output_mv_v(np.arange(5), load)

    assert after[2] == 0.0
    assert after[4] == pytest.approx(2.0 * OVERLOAD_SET * 0.2)


def test_the_plate_may_be_wrong_about_the_output() -> None:
    assert Cell(1.0, rated_output_mv_v=1.97, plate_output_mv_v=2.0).plate_mv_v == 2.0
    assert Cell(1.0, rated_output_mv_v=1.97).plate_mv_v == 1.97


def test_a_cell_that_breaks_its_rating_is_refused() -> None:
    with pytest.raises(UsageError, match="non-linearity"):
        Cell(1.0, nonlinearity=0.0003, quadratic=0.0002, cubic=0.0002)
    with pytest.raises(UsageError, match="capacity"):
        Cell(0.0)
