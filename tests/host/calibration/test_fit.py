"""Properties of the fit and of the choice of its degree."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.calibration.degree import (
    choose_degree,
    find_suspects,
    lack_of_fit,
    rising,
    supported,
)
from breakyard.calibration.fit import fit_polynomial
from breakyard.errors import CalibrationError

X = np.array([0.0, 20.0, 40.0, 60.0, 40.0, 20.0, 0.0])
NOISE = np.array([0.3, -0.2, 0.1, 0.05, -0.25, 0.2, -0.1])


def test_equal_weights_are_ordinary_least_squares() -> None:
    """Against numpy's polyfit and its covariance on well-scaled data."""
    y = 3.0 + 2.0 * X + NOISE
    fit = fit_polynomial(X, y, 1)
    expected, covariance = np.polyfit(X, y, 1, cov=True)

    np.testing.assert_allclose(fit.raw[0], expected[::-1], rtol=1e-12)
    np.testing.assert_allclose(fit.raw[1], covariance[::-1, ::-1], rtol=1e-10)


def test_known_variances_weigh() -> None:
    """Points as scattered as they say: the weighted fit of numpy, unscaled covariance."""
    standard = np.array([1.0, 0.5, 0.5, 2.0, 0.5, 0.5, 1.0])
    y = 3.0 + 2.0 * X + 0.1 * NOISE
    fit = fit_polynomial(X, y, 1, standard)
    expected, covariance = np.polyfit(X, y, 1, w=1.0 / standard, cov="unscaled")

    assert fit.between == 0.0
    np.testing.assert_allclose(fit.raw[0], expected[::-1], rtol=1e-12)
    np.testing.assert_allclose(fit.raw[1], covariance[::-1, ::-1], rtol=1e-10)


def test_scatter_beyond_the_variances_is_added() -> None:
    """Paule and Mandel: the weighted residual sum of squares equals the degrees of freedom."""
    standard = np.array([0.001, 0.02, 0.02, 0.05, 0.02, 0.02, 0.001])
    fit = fit_polynomial(X, 3.0 + 2.0 * X + NOISE, 1, standard)

    assert fit.between > 0.1
    assert np.sum(fit.residuals**2 / fit.variances) == pytest.approx(5.0, rel=1e-6)


@given(
    shift=st.floats(-8e6, 8e6),
    scale=st.floats(1e-3, 1e6),
    unit=st.floats(1e-3, 1e4),
    order=st.permutations(range(7)),
)
def test_units_and_order_do_not_matter(shift: float, scale: float, unit: float, order: list[int]) -> None:
    """Counts moved and stretched, loads in another unit, points in another order: the same curve."""
    y = 3.0 + 2.0 * X + NOISE
    standard = np.array([0.1, 0.2, 0.2, 0.3, 0.2, 0.2, 0.1])
    plain = fit_polynomial(X, y, 1, standard)
    other = fit_polynomial((X * scale + shift)[order], (y * unit)[order], 1, (standard * unit)[order])
    asked = np.array([-50.0, 0.0, 33.0, 60.0, 1200.0])
    precision = 1e-6 + 1e-15 * abs(shift) / scale

    np.testing.assert_allclose(
        other.value(asked * scale + shift), unit * plain.value(asked), rtol=precision, atol=precision * unit
    )
    np.testing.assert_allclose(
        other.standard(asked * scale + shift), unit * plain.standard(asked), rtol=1e-4 + precision
    )


@given(st.integers(1, 3), st.integers(0, 10_000))
def test_a_polynomial_is_found_again(degree: int, seed: int) -> None:
    """Exact points give the exact curve, between and beyond."""
    rng = np.random.default_rng(seed)
    coefficients = rng.normal(size=degree + 1)
    x = np.sort(rng.uniform(-1e6, 1e6, degree + 4))
    truth = np.polynomial.Polynomial(coefficients, domain=[-1e6, 1e6])
    fit = fit_polynomial(x, truth(x), degree)

    np.testing.assert_allclose(fit.value(x), truth(x), atol=1e-9 * np.abs(truth(x)).max())


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_too_few_points_for_a_degree(degree: int) -> None:
    """As many different readings as coefficients are needed; the message says how many."""
    x = np.repeat(np.arange(float(degree)), 3)

    with pytest.raises(CalibrationError, match=f"at least {degree + 1} different"):
        fit_polynomial(x, x, degree)


def test_coverage_of_the_line_is_what_it_says() -> None:
    """The 95 % interval of the line at 1200 covers it in 95 % of 4000 draws (binomial limits at 4 sigma)."""
    from breakyard.calibration.terms import coverage_factor

    rng = np.random.default_rng(7)
    hits = 0
    for _ in range(4000):
        fit = fit_polynomial(X, 3.0 + 2.0 * X + rng.normal(0.0, 0.1, 7), 1)
        half = coverage_factor(5.0) * float(fit.standard(1200.0))
        hits += abs(float(fit.value(1200.0)) - 2403.0) <= half

    assert abs(hits / 4000 - 0.95) < 4.0 * np.sqrt(0.95 * 0.05 / 4000)


def test_a_line_stays_a_line() -> None:
    """Scattered points of a line do not get a curve, with and without replicates."""
    rng = np.random.default_rng(11)
    kept = sum(
        choose_degree(loads, 100.0 * loads + rng.normal(0.0, 5.0, len(loads)), None, 1000.0) == 1
        for _ in range(100)
        for loads in (np.repeat(np.arange(0.0, 1001.0, 100.0), 2), np.arange(0.0, 1001.0, 100.0))
    )

    assert kept >= 180


@pytest.mark.parametrize("copies", [1, 2])
def test_a_bend_over_the_whole_range_gets_a_curve(copies: int) -> None:
    """A clear bow is fitted by a quadratic, by F and t with replicates and by t without."""
    loads = np.tile(np.arange(0.0, 1001.0, 100.0), copies)
    rng = np.random.default_rng(3)
    counts = 100.0 * loads - 0.004 * loads**2 + rng.normal(0.0, 5.0, len(loads))

    assert choose_degree(loads, counts, None, 1000.0) == 2


def test_points_low_in_the_range_get_a_line() -> None:
    """However bent they look: 60 of 2000 cannot tell the bend of the whole."""
    loads = np.repeat(np.arange(0.0, 61.0, 10.0), 2)
    counts = 100.0 * loads - 0.5 * loads**2

    assert choose_degree(loads, counts, None, 2000.0) == 1
    assert choose_degree(loads, counts, None, 100.0) > 1


@pytest.mark.parametrize("capacity_n", [None, 60.0 / 0.39])
def test_a_curve_needs_a_known_capacity_and_much_of_it(capacity_n: float | None) -> None:
    """Without a capacity, or with 39 % of it covered, even the clearest bend is left to a line."""
    loads = np.repeat(np.arange(0.0, 61.0, 10.0), 2)
    counts = 100.0 * loads - 0.5 * loads**2 + np.tile([0.1, -0.1], 7)

    assert choose_degree(loads, counts, None, capacity_n) == 1
    assert choose_degree(loads, counts, None, 60.0 / 0.41) > 1


def test_a_wrong_mass_is_not_taken_for_a_bend() -> None:
    """Residuals that the stated mass uncertainties can explain do not raise the degree."""
    loads = np.tile([0.0, 200.0, 400.0, 600.0, 800.0, 1000.0], 2)
    wrong = {200.0: 0.3, 400.0: 0.5, 600.0: 0.5, 800.0: 0.3}
    counts = 100.0 * (loads + np.array([wrong.get(load, 0.0) for load in loads]))
    counts = counts + np.tile([1.0, -1.0], 6)
    patterns = np.stack([0.4 * (loads == load) for load in np.unique(loads)[1:]], axis=1)

    assert choose_degree(loads, counts, None, 1000.0) > 1
    assert choose_degree(loads, counts, patterns, 1000.0) == 1


def test_what_the_points_support() -> None:
    """Two different loads to spare; three different loads carry a line only."""
    assert supported(np.array([0.0, 20.0, 40.0, 20.0, 0.0]), 40.0) == 1
    assert supported(np.array([0.0, 20.0, 40.0, 60.0, 40.0, 20.0, 0.0]), 60.0) == 2
    assert supported(np.arange(10.0), 20.0) == 3
    assert supported(np.arange(10.0), None) == 1
    assert lack_of_fit(np.arange(5.0), np.arange(5.0), 1) is None


def test_rising_and_falling() -> None:
    """Up to the highest, then down; a repeated load keeps its way."""
    assert rising(np.array([0.0, 20.0, 40.0, 40.0, 20.0, 20.0, 0.0])).tolist() == [
        True, True, True, True, False, False, False,
    ]  # fmt: skip


GROUPS = ["0", "20", "40", "60", "40", "20", "0"]


@pytest.mark.parametrize("bad", range(7))
def test_one_bad_point_is_named(bad: int) -> None:
    """A reading off by 1 % of the highest load is named first, whichever it is."""
    y = 9.81 * X
    counts = 100.0 * X + 0.2 * NOISE
    counts[bad] += 60.0
    found = find_suspects(y, counts, 1, np.full(7, 0.01), 0.0005 * y, GROUPS)

    assert found[0].points == (bad,)
    assert found[0].off_n == pytest.approx(-0.6 * 9.81, rel=0.05)


def test_a_wrong_mass_is_named_with_both_its_points() -> None:
    """45 hung where 40 was stated, twice: the load is named, not one of its readings."""
    y = 9.81 * X
    counts = 100.0 * np.where(X == 40.0, 45.0, X) + 0.2 * NOISE
    found = find_suspects(y, counts, 1, np.full(7, 0.01), 0.0005 * y, GROUPS)

    assert found[0].points == (2, 4)


def test_sound_points_are_rarely_suspected() -> None:
    """At most 3 of 200 sound calibrations have a point named (1 % is the aim)."""
    rng = np.random.default_rng(5)
    alarms = 0
    for _ in range(200):
        counts = 100.0 * X + rng.normal(0.0, 20.0, 7)
        alarms += bool(find_suspects(9.81 * X, counts, 1, np.zeros(7), np.zeros(7), GROUPS))

    assert alarms <= 6
