"""The log-linear model with censoring: its maximum, its edges, and its agreement with other routes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from breakyard.comparison.log_linear import Family, fit_rows
from breakyard.comparison.weibull import fit_weibull

FAMILIES: tuple[Family, ...] = ("weibull", "log-normal")


@pytest.mark.parametrize("family", FAMILIES)
@given(data=st.data())
@settings(max_examples=20, deadline=None)
def test_it_is_the_maximum_that_a_general_optimiser_finds(family: Family, data: st.DataObject) -> None:
    """Two factors, a covariate and bounds: scipy's densities under Nelder and Mead's search get no higher."""
    n = data.draw(st.integers(8, 14))
    rng = np.random.default_rng(data.draw(st.integers(0, 10_000)))
    design = np.column_stack([np.ones(n), np.arange(n) % 2, rng.normal(size=n)])
    logs = design @ [6.0, 0.4, 0.1] + 0.1 * rng.normal(size=n)
    broke = np.arange(n) % 4 != 3
    fit = fit_rows(design, logs[None, :], broke, family)
    law = stats.gumbel_l if family == "weibull" else stats.norm

    def cost(x: np.ndarray) -> float:
        centre, scale = design @ x[:3], np.exp(x[3])
        z = (logs - centre) / scale
        return -float((law.logpdf(z[broke]) - x[3]).sum() + law.logsf(z[~broke]).sum())

    start = np.array([*fit.coefficients[0], np.log(fit.scale[0])])
    found = optimize.minimize(
        cost, start + 0.02, method="Nelder-Mead", options={"maxiter": 4000, "fatol": 1e-12}
    )

    assert cost(start) == pytest.approx(-float(fit.height[0]), abs=1e-8)
    assert cost(start) <= found.fun + 1e-8


@pytest.mark.parametrize("family", FAMILIES)
def test_many_rows_at_once_are_the_rows_by_themselves(family: Family) -> None:
    """Simulation fits thousands of rows together; each is what it is alone."""
    rng = np.random.default_rng(3)
    design = np.repeat(np.eye(3), 3, axis=0)
    logs, broke = rng.normal(size=(50, 9)), np.arange(9) % 3 != 2
    together = fit_rows(design, logs, broke, family)

    for row in range(0, 50, 7):
        alone = fit_rows(design, logs[row : row + 1], broke, family)
        assert together.coefficients[row] == pytest.approx(alone.coefficients[0], abs=1e-6)
        assert together.scale[row] == pytest.approx(alone.scale[0], rel=1e-6)


@given(st.floats(-30.0, 30.0), st.floats(1e-6, 1e3))
def test_other_units_and_spreads_move_it_as_they_must(shift: float, spread: float) -> None:
    """Location-scale: y -> shift + spread y moves coefficients and scale alike, at any size."""
    rng = np.random.default_rng(9)
    design, broke = np.repeat(np.eye(2), 4, axis=0), np.arange(8) != 5
    logs = rng.normal(size=(1, 8))
    one, other = (fit_rows(design, y, broke, "weibull") for y in (logs, shift + spread * logs))

    assert other.coefficients[0] == pytest.approx(
        shift + spread * one.coefficients[0], abs=1e-6 * (1.0 + spread)
    )
    assert other.scale[0] == pytest.approx(spread * one.scale[0], rel=1e-5)


def test_least_squares_is_the_complete_log_normal_fit() -> None:
    """Nothing censored: coefficients of least squares, scale sqrt(residuals / n)."""
    rng = np.random.default_rng(4)
    design = np.column_stack([np.ones(12), rng.normal(size=12), np.arange(12) % 3 == 0])
    logs = rng.normal(size=12)
    expected, rest, *_ = np.linalg.lstsq(design, logs, rcond=None)
    fit = fit_rows(design, logs[None, :], np.ones(12, dtype=bool), "log-normal")

    assert fit.coefficients[0] == pytest.approx(expected, abs=1e-9)
    assert fit.scale[0] == pytest.approx(float(np.sqrt(rest[0] / 12)), rel=1e-9)


def test_a_least_scale_is_kept() -> None:
    """Loads nearer together than the instrument can tell: the scale is the instrument's, and the height lower."""
    logs, broke = np.log([[400.0, 400.1, 400.2]]), np.ones(3, dtype=bool)
    free = fit_rows(np.ones((3, 1)), logs, broke, "weibull")
    held = fit_rows(np.ones((3, 1)), logs, broke, "weibull", least_scale=0.01)

    assert held.scale[0] == pytest.approx(0.01)
    assert held.height[0] < free.height[0]
    assert np.exp(held.coefficients[0, 0]) == pytest.approx(400.1, rel=1e-3)


def test_one_group_agrees_with_the_weibull_fit() -> None:
    """The profile score of weibull.py and Newton's method here meet."""
    values, held = [310.0, 330.0, 325.0, 340.0, 300.0], [False, False, False, True, False]
    curve = fit_weibull(values, held)
    fit = fit_rows(np.ones((5, 1)), np.log([values]), ~np.array(held), "weibull")

    assert curve is not None
    assert 1.0 / fit.scale[0] == pytest.approx(curve.shape, rel=1e-6)
    assert np.exp(fit.coefficients[0, 0]) == pytest.approx(curve.scale_n, rel=1e-8)
