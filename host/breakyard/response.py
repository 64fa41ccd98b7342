"""What the converter's filter makes of simple forces, in closed form.

The HX711's filter is not in its data sheet; "4 conversions to settle" speaks for a cascade of three or four
moving averages, each one conversion long (sinc^3, sinc^4). Such a cascade averages the force with a cardinal
B-spline as its weight. Repeated integration of a one-sided power or exponential and N differences over one
conversion give its output exactly (de Boor, A Practical Guide to Splines, 1978, chapter IX).

Here time is counted in conversions, from the event, to the end of the conversion whose output is asked for.
"""

from math import comb, factorial

import numpy as np
from numpy.typing import NDArray


def filtered_power(u: NDArray[np.float64], power: int, order: int) -> NDArray[np.float64]:
    """Output at `u` for a force that is 0 before the event and v**power / power! at v >= 0 after it."""
    total = power + order
    answer = np.zeros_like(u)
    for i in range(order + 1):
        answer += (-1) ** i * comb(order, i) * np.maximum(u - i, 0.0) ** total
    return answer / factorial(total)


def filtered_exponential(u: NDArray[np.float64], exponent: complex, order: int) -> NDArray[np.complex128]:
    """Output at `u` for a force that is 0 before the event and exp(exponent * v) after it.

    The exponent has a negative or zero real part and is not zero; an imaginary part gives an oscillation.
    """
    answer = np.zeros(u.shape, dtype=np.complex128)
    for i in range(order + 1):
        v = np.maximum(u - i, 0.0)
        integral = np.exp(exponent * v)
        for m in range(order):
            integral = (integral - v**m / factorial(m)) / exponent
        answer += (-1) ** i * comb(order, i) * integral
    return answer


def delay(order: int) -> float:
    """Delay of a steady ramp, in conversions: the weight is symmetrical."""
    return order / 2.0


def variance(order: int) -> float:
    """Variance of the weight, in squared conversions: each moving average gives 1/12."""
    return order / 12.0
