"""What the converter's filter makes of simple forces, in closed form.

The HX711's filter is not in its data sheet; "4 conversions to settle" speaks for a cascade of three or four
moving averages, each one conversion long (sinc^3, sinc^4). Such a cascade averages the force with a cardinal
B-spline as its weight. Repeated integration of a one-sided power or exponential and N differences over one
conversion give its output exactly (de Boor, A Practical Guide to Splines, 1978, chapter IX).

Here time is counted in conversions, from the event, to the end of the conversion whose output is asked for.
"""

from collections.abc import Sequence
from math import comb, factorial

import numpy as np
from numpy.typing import NDArray


def filtered_power(u: NDArray[np.float64], power: int, order: int) -> NDArray[np.float64]:
    """Output at `u` for a force that is 0 before the event and v**power / power! at v >= 0 after it."""
    total = power + order
    answer = np.zeros_like(u)
    for i in range(order + 1):
        v = np.maximum(u - i, 0.0)
        term = v
        for _ in range(total - 1):  # much faster than a power
            term = term * v
        answer += ((-1) ** i * comb(order, i) / factorial(total)) * term
    return answer


def filtered_exponentials(
    u: NDArray[np.float64], exponents: Sequence[complex], order: int
) -> NDArray[np.complex128]:
    """Outputs at `u` for forces that are 0 before the event and exp(exponent * v) after it; exponents first.

    They have a negative or zero real part and are not zero; an imaginary part gives an oscillation.
    """
    signs = np.array([(-1) ** i * comb(order, i) for i in range(order + 1)])
    answer = np.zeros((len(exponents), *u.shape), dtype=np.complex128)
    after = u > 0.0  # nothing comes out before the event, and exponentials are what takes the time
    until = u[after]
    # N integrals of an exponential are itself less the first N terms of its series, over its exponent to the N.
    powers = [np.zeros_like(until) for _ in range(order)]
    for i in range(order + 1):
        since = until - i
        term = signs[i] * (since > 0.0)
        for m in range(order):
            powers[m] += term
            term = term * since / (m + 1)
    # Differences that have begun, for each time.
    begun = np.minimum(np.ceil(until), order + 1).astype(np.intp)
    for k, exponent in enumerate(exponents):
        sums = np.concatenate([[0.0], np.cumsum(signs * np.exp(-exponent * np.arange(order + 1)))])
        wave = np.exp(exponent * until) * sums[begun]
        for m in range(order):
            wave -= exponent**m * powers[m]
        answer[k, after] = wave / exponent**order
    return answer


def delay(order: int) -> float:
    """Delay of a steady ramp, in conversions: the weight is symmetrical."""
    return order / 2.0


def variance(order: int) -> float:
    """Variance of the weight, in squared conversions: each moving average gives 1/12."""
    return order / 12.0
