"""The log-linear model with censoring against published regressions; the source stands beside each."""

import numpy as np
import pytest

from breakyard.comparison.log_linear import Family, fit_rows

CONTROL = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)
TREATED, STILL_WELL = (6, 6, 6, 7, 10, 13, 16, 22, 23), (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
"""Freireich and others 1963, remission of leukaemia in weeks: R's data set MASS::gehan."""


@pytest.mark.parametrize(
    ("family", "intercept", "control", "log_scale", "height", "alone"),
    [
        # R, summary(survreg(Surv(time, cens) ~ treat, gehan)) with 6-MP as the base: Venables and Ripley, Modern
        # Applied Statistics with S, 4th ed., 13.2: 3.516, -1.267, -0.312, heights -106.6 and -116.4 (from memory).
        # All digits: lifelines, WeibullAFTFitter and LogNormalAFTFitter.
        ("weibull", 3.515687, -1.267335, -0.311709, -106.57949158, -116.4),
        ("log-normal", 3.17197, -1.34685, -0.07918, -106.70462235, None),
    ],
)
def test_remission_of_leukaemia(
    family: Family, intercept: float, control: float, log_scale: float, height: float, alone: float | None
) -> None:
    """Coefficients, scale and log likelihood of a censored regression with one factor."""
    logs = np.log(np.array([*CONTROL, *TREATED, *STILL_WELL], dtype=np.float64))
    broke = np.arange(42) < 30
    design = np.column_stack([np.ones(42), np.arange(42) < 21]).astype(np.float64)
    fit = fit_rows(design, logs[None, :], broke, family)
    # Densities per week, not per unit of the logarithm.
    to_weeks = float(logs[broke].sum())

    assert fit.coefficients[0] == pytest.approx([intercept, control], abs=2e-5)
    assert np.log(fit.scale[0]) == pytest.approx(log_scale, abs=2e-5)
    assert fit.height[0] - to_weeks == pytest.approx(height, abs=1e-7)
    if alone is not None:
        one = fit_rows(design[:, :1], logs[None, :], broke, family)
        assert one.height[0] - to_weeks == pytest.approx(alone, abs=0.05)


@pytest.mark.parametrize(
    ("shape", "scale", "broke", "held"),
    # NIST e-Handbook 8.4.1.3: ten failures, ten units stopped at 500 h: 1.7208 and 606.5280.
    [(1.7208, 606.5280, (54, 187, 216, 240, 244, 335, 361, 373, 375, 386), (500,) * 10)],
)
def test_one_group_is_a_weibull_curve(
    shape: float, scale: float, broke: tuple[int, ...], held: tuple[int, ...]
) -> None:
    """Without any factor the model is the Weibull curve with its published shape and scale."""
    logs = np.log(np.array([*broke, *held], dtype=np.float64))
    fit = fit_rows(np.ones((20, 1)), logs[None, :], np.arange(20) < 10, "weibull")

    assert 1.0 / fit.scale[0] == pytest.approx(shape, rel=5e-5)
    assert np.exp(fit.coefficients[0, 0]) == pytest.approx(scale, rel=1e-5)
