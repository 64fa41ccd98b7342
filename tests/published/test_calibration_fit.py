"""The fit against NIST's certified regressions and the GUM's thermometer."""

import numpy as np
import pytest
from inverse_prediction import inverse_prediction

from breakyard.calibration.degree import choose_degree, lack_of_fit
from breakyard.calibration.fit import fit_polynomial
from breakyard.calibration.quality import e74
from breakyard.errors import CalibrationError


def numbers(text: str) -> np.ndarray:
    return np.array(text.split(), dtype=float)


PONTIUS_LOAD = np.tile(np.arange(150_000.0, 3_000_001.0, 150_000.0), 2)
PONTIUS_DEFLECTION = numbers(
    """
    .11019 .21956 .32949 .43899 .54803 .65694 .76562 .87487 .98292 1.09146
    1.20001 1.30822 1.41599 1.52399 1.63194 1.73947 1.84646 1.95392 2.06128 2.16844
    .11052 .22018 .32939 .43886 .54798 .65739 .76596 .87474 .98300 1.09150
    1.20004 1.30818 1.41613 1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829
    """
)
"""NIST/ITL StRD, Linear Least Squares, Pontius.dat: a load cell calibrated at NIST."""

NORRIS = numbers(
    """
    .1 .2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6
    778.9 777.0 559.2 558.2 .3 .4 .1 .6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0
    228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 .3 .3 .6 .3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0
    778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 .2 .5
    """
).reshape(-1, 2)
"""NIST/ITL StRD, Norris.dat, pairs y, x."""

DIGITS_9 = 1e-9


def test_pontius_to_nine_digits() -> None:
    """Coefficients, their standard deviations and the residual SD agree with the certified values."""
    fit = fit_polynomial(PONTIUS_LOAD, PONTIUS_DEFLECTION, 2)
    raw, covariance = fit.raw

    np.testing.assert_allclose(
        raw, [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14], rtol=DIGITS_9
    )
    np.testing.assert_allclose(
        np.sqrt(np.diag(covariance)),
        [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16],
        rtol=DIGITS_9,
    )
    assert fit.residual_standard == pytest.approx(0.205177424076185e-03, rel=DIGITS_9)
    assert fit.degrees_of_freedom == 37


def test_norris_to_nine_digits() -> None:
    """The same for the straight line of Norris.dat."""
    fit = fit_polynomial(NORRIS[:, 1], NORRIS[:, 0], 1)
    raw, covariance = fit.raw

    np.testing.assert_allclose(raw, [-0.262323073774029, 1.00211681802045], rtol=DIGITS_9)
    np.testing.assert_allclose(
        np.sqrt(np.diag(covariance)), [0.232818234301152, 0.429796848199937e-03], rtol=DIGITS_9
    )
    assert fit.residual_standard == pytest.approx(0.884796396144373, rel=DIGITS_9)
    assert fit.degrees_of_freedom == 34


def test_pontius_is_no_line() -> None:
    """The line is rejected, the quadratic accepted; F computed from NIST's data (D: not published)."""
    line = lack_of_fit(PONTIUS_LOAD, PONTIUS_DEFLECTION, 1)
    quadratic = lack_of_fit(PONTIUS_LOAD, PONTIUS_DEFLECTION, 2)

    assert line is not None
    assert quadratic is not None
    assert (line.between_df, line.within_df) == (18, 20)
    assert line.f == pytest.approx(214.75, abs=0.005)
    assert line.p_value < 1e-12
    assert quadratic.f == pytest.approx(0.811, abs=0.0005)
    assert quadratic.p_value > 0.5
    assert choose_degree(PONTIUS_LOAD, PONTIUS_DEFLECTION, capacity_n=3_000_000.0) == 2


def test_handbook_load_cell_interval_to_the_integer() -> None:
    """NIST/SEMATECH e-Handbook 4.6.1.10: 1.239722 -> 1705106 within [1704513, 1705698], and the right root.

    The interval's ends are from memory; the load is read on the page.
    """
    fit = fit_polynomial(PONTIUS_LOAD, PONTIUS_DEFLECTION, 2)

    found = inverse_prediction(fit, 1.239722, 150_000.0, 3_000_000.0)

    assert round(found.x) == 1_705_106
    assert round(found.low) == 1_704_513
    assert round(found.high) == 1_705_698


def test_gum_thermometer_needs_its_covariance() -> None:
    """JCGM 100:2008 H.3 (published values from memory, pairs as carried by R packages and GTC).

    Leaving the covariance out would make the uncertainty at 30 C 0.0073 instead of 0.0041.
    """
    temperature = np.array(
        [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    )
    correction = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    fit = fit_polynomial(temperature - 20.0, correction, 1)
    raw, covariance = fit.raw
    standard = np.sqrt(np.diag(covariance))

    assert raw == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert standard == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert covariance[0, 1] / standard.prod() == pytest.approx(-0.930, abs=5e-4)
    assert fit.residual_standard == pytest.approx(0.0035, abs=5e-5)
    assert float(fit.value(10.0)) == pytest.approx(-0.1494, abs=5e-5)
    assert float(fit.standard(10.0)) == pytest.approx(0.0041, abs=5e-5)


def test_e74_arithmetic_on_pontius() -> None:
    """ASTM E74 (2.4 s, 400 and 2000 times it: from memory) on NIST's certified s_m and slope."""
    limits = e74(PONTIUS_LOAD, PONTIUS_DEFLECTION, 2)

    assert limits is not None
    assert limits.standard_deviation == pytest.approx(0.205177424076185e-03, rel=DIGITS_9)
    assert limits.lower_limit_factor == pytest.approx(672.66, abs=0.005)
    assert limits.class_a_from == pytest.approx(269_063, abs=1)
    assert limits.class_aa_from == pytest.approx(1_345_317, abs=3)
    assert limits.enough_readings


def test_a_deflection_outside_the_calibration_has_no_root() -> None:
    """Inverse prediction says so instead of giving the other root of the parabola."""
    fit = fit_polynomial(PONTIUS_LOAD, PONTIUS_DEFLECTION, 2)

    with pytest.raises(CalibrationError, match="not reached"):
        inverse_prediction(fit, 5.0, 150_000.0, 3_000_000.0)
