"""The closed forms of the filter, against B-splines of scipy, quadrature and the simulated converter."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.interpolate import BSpline

from breakyard.converter.response import delay, filtered_exponentials, filtered_power, variance
from breakyard.simulate.converter import filtered

ORDERS = (1, 2, 3, 4, 5)


def weight(order: int) -> BSpline:
    """What the filter averages with: the cardinal B-spline over `order` conversions (de Boor 1978, IX), by scipy."""
    return BSpline.basis_element(np.arange(order + 1.0), extrapolate=False)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("power", [0, 1, 2])
def test_filtered_powers_are_integrals_of_a_b_spline(order: int, power: int) -> None:
    """A step through the filter is the weight's integral, a ramp the integral of that, and so on; nothing before."""
    integral = weight(order).antiderivative(power + 1)
    inside = np.linspace(0.0, float(order), 61)

    assert np.allclose(filtered_power(inside, power, order), integral(inside), rtol=0.0, atol=1e-12)
    assert np.array_equal(filtered_power(-inside, power, order), np.zeros(61))


@pytest.mark.parametrize("order", ORDERS)
def test_delay_and_variance_are_the_weights_moments(order: int) -> None:
    """First and second moment of the B-spline."""
    mean = quad(lambda x: x * float(weight(order)(x)), 0.0, order)[0]
    second = quad(lambda x: (x - mean) ** 2 * float(weight(order)(x)), 0.0, order)[0]

    assert delay(order) == pytest.approx(mean, abs=1e-9)
    assert variance(order) == pytest.approx(second, abs=1e-9)


@pytest.mark.parametrize("order", [1, 3, 4])
@pytest.mark.parametrize("exponent", [-0.3, -2.0, -0.1 + 1.9j, 0.7j])
def test_filtered_exponentials_are_convolutions(order: int, exponent: complex) -> None:
    """By quadrature of weight times force, at times between and on the conversions' edges."""
    times = np.array([-3.0, 0.0, 0.4, 1.0, 2.7, 3.0, 6.5])

    def folded(u: float, part: str) -> float:
        return quad(
            lambda x: float(weight(order)(x)) * getattr(np.exp(exponent * (u - x)), part),
            0.0,
            min(u, order),
            points=[float(knot) for knot in range(1, order) if knot < u] or None,
        )[0]

    expected = [complex(folded(u, "real"), folded(u, "imag")) if u > 0.0 else 0.0 for u in times]

    assert np.allclose(filtered_exponentials(times, [exponent], order)[0], expected, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("power", [0, 1, 2])
def test_filtered_powers_agree_with_the_simulated_converter(order: int, power: int) -> None:
    """The same filter, worked out in another way by the simulator (exact for piecewise linear inputs)."""
    edge, factorial = 1e-7, (1, 1, 2)[power]
    grid = np.concatenate([[0.0, 5.0, 5.0 + edge], 5.0 + np.arange(1, 8001) * 0.001])
    force = np.where(grid > 5.0, np.maximum(grid - 5.0, 0.0) ** power / factorial, 0.0)
    at = 4.3 + np.arange(8.0)

    expected = filtered(grid, force, first_s=4.3, period_s=1.0, number=8, order=order)

    assert np.allclose(filtered_power(at - 5.0, power, order), expected, atol=2e-6)


@pytest.mark.parametrize("order", [3, 4])
def test_filtered_oscillations_agree_with_the_simulated_converter(order: int) -> None:
    """A decaying oscillation that begins at once."""
    exponent = -0.1 + 2j * np.pi * 0.3
    grid = np.concatenate([[0.0, 5.0, 5.0 + 1e-7], 5.0 + np.arange(1, 16001) * 0.0005])
    force = np.where(grid > 5.0, np.exp(exponent * (grid - 5.0)).real, 0.0)
    at = 4.3 + np.arange(8.0)

    expected = filtered(grid, force, first_s=4.3, period_s=1.0, number=8, order=order)

    assert np.allclose(filtered_exponentials(at - 5.0, [-0.3, exponent], order)[1].real, expected, atol=2e-5)
