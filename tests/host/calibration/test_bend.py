"""How bent a cell may be: shapes against their definition, and their error against a fit by numpy."""

import numpy as np
import pytest

from breakyard.calibration.bend import by_points, by_rating, departure, errors_of_fit, shapes

CAPACITY = 10_000.0


def test_both_shapes_deviate_by_the_rated_limit_at_most() -> None:
    """Largest value 1 between zero and capacity, none at both ends; slopes at zero 4 and 10.4 (6 sqrt 3)."""
    x = np.linspace(0.0, 1.0, 100_001)
    bow, s_curve = shapes(x * CAPACITY, CAPACITY).T

    assert np.abs(bow).max() == pytest.approx(1.0, abs=1e-8)
    assert np.abs(s_curve).max() == pytest.approx(1.0, abs=1e-8)
    assert shapes(np.array([0.0, CAPACITY]), CAPACITY) == pytest.approx(np.zeros((2, 2)), abs=1e-12)
    assert (bow[1] - bow[0]) / x[1] == pytest.approx(4.0, rel=1e-4)
    assert (s_curve[1] - s_curve[0]) / x[1] == pytest.approx(6.0 * np.sqrt(3.0), rel=1e-4)


@pytest.mark.parametrize("degree", [1, 2])
@pytest.mark.parametrize("shape", [0, 1])
def test_the_error_is_that_of_a_fit_of_a_bent_cell(degree: int, shape: int) -> None:
    """By numpy.linalg.lstsq: masses up to a tenth of capacity, read at eight tenths by a cell bent by a millionth (so
    little that all is of first order), against the fits of square and cube that a calibration keeps."""
    known = np.linspace(0.0, 1000.0, 6)
    load, bound = 8000.0, 0.01

    def fitted(values: np.ndarray, readings: np.ndarray, at: float) -> float:
        rows = readings[:, None] ** np.arange(degree + 1)
        coefficients = np.linalg.lstsq(rows, values, rcond=None)[0]
        return float((at ** np.arange(degree + 1) - 0.0 ** np.arange(degree + 1)) @ coefficients)

    def shown(loads: np.ndarray) -> np.ndarray:
        return np.asarray(loads + bound * shapes(loads, CAPACITY)[:, shape])

    error = load - fitted(known, shown(known), float(shown(np.array([load]))[0]))
    square, cube = fitted(known**2, known, load), fitted(known**3, known, load)

    assert bound * errors_of_fit(load, square, cube, CAPACITY)[shape] == pytest.approx(
        error, rel=2e-3, abs=1e-6
    )


def test_a_bend_that_begins_above_the_points_is_smooth_and_ends_at_the_limit() -> None:
    """Nothing up to the highest known load, no kink there, the whole limit at capacity."""
    assert departure(500.0, CAPACITY, 1000.0) == 0.0
    assert departure(1000.1, CAPACITY, 1000.0) < 1e-9
    assert departure(CAPACITY, CAPACITY, 1000.0) == pytest.approx(1.0)


def test_all_bends_within_the_rating_are_equally_likely() -> None:
    """Uniform on |a| + |b| <= 1: means of 0, variances of 1/6 each, no correlation (by integration of the square)."""
    bends = by_rating()

    assert (np.abs(bends.bow) + np.abs(bends.s_curve)).max() <= 1.0 + 1e-12
    assert bends.weights.sum() == pytest.approx(1.0)
    assert bends.weights @ bends.bow**2 == pytest.approx(1.0 / 6.0, rel=2e-3, abs=1e-6)
    assert bends.weights @ bends.s_curve**2 == pytest.approx(1.0 / 6.0, rel=2e-3, abs=1e-6)
    assert bends.weights @ (bends.bow * bends.s_curve) == pytest.approx(0.0, abs=1e-12)


def test_points_over_the_whole_range_find_the_bend() -> None:
    """Eleven points of a cell with 0.6 of the rated bow and -0.2 of the S-curve, read to a hundredth of the bend."""
    loads = np.linspace(0.0, CAPACITY, 11)
    bound, own = 5.0, 0.05
    of_limit = bound * shapes(loads, CAPACITY)
    readings = loads + of_limit @ np.array([0.6, -0.2])
    readings = readings + own * np.random.default_rng(2).standard_normal(11)
    rows = np.stack([np.ones(11), readings / CAPACITY], axis=1)

    bends = by_points(rows, loads, of_limit, own**2 * np.eye(11))

    mean = np.array([bends.weights @ bends.bow, bends.weights @ bends.s_curve])
    spread = np.sqrt(bends.weights @ (bends.bow - mean[0]) ** 2)
    assert mean == pytest.approx([0.6, -0.2], abs=0.1)
    assert spread < 0.1


def test_few_points_leave_all_that_the_rating_allows() -> None:
    """Four points and a line: two directions left, which do not tell a bend from scatter."""
    loads = np.linspace(0.0, CAPACITY, 4)
    rows = np.stack([np.ones(4), loads], axis=1)

    assert by_points(rows, loads, shapes(loads, CAPACITY), np.eye(4)) is by_rating()
