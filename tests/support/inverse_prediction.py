"""Inverse prediction: from a reading back to the load of a fit made the other way round.

Used where a cell was characterised as reading against load (standards and certificates do so) and the load
of a new reading is asked, with its interval.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from breakyard.calibration.fit import PolynomialFit
from breakyard.calibration.terms import coverage_factor
from breakyard.errors import CalibrationError


@dataclass(frozen=True, slots=True)
class Inverse:
    """x at which the fit shows the reading, and its interval; an end is None where it lies outside."""

    x: float
    low: float | None
    high: float | None


def inverse_prediction(
    fit: PolynomialFit, reading: float, low: float, high: float, coverage: float = 0.95
) -> Inverse:
    """Solve fit(x) = reading within low..high, where the fit must be monotonic.

    The interval is where the reading is compatible with a new observation: |fit(x) - reading| is
    t s sqrt(1 + g (X'X)^-1 g) at its ends (NIST/SEMATECH e-Handbook, 4.6.1.10).
    Raises: CalibrationError when the reading is not reached within low..high.
    """
    rising = float(fit.value(high)) > float(fit.value(low))
    sign = 1.0 if rising else -1.0
    factor = coverage_factor(fit.degrees_of_freedom, coverage)
    scatter = fit.residual_standard

    def off(x: float) -> float:
        return sign * (float(fit.value(x)) - reading)

    def reach(x: float) -> float:
        return factor * math.hypot(scatter, float(fit.standard(x)))

    x = _root(off, low, high)
    if x is None:
        raise CalibrationError(f"the reading {reading:g} is not reached between {low:g} and {high:g}")
    return Inverse(
        x, _root(lambda at: off(at) + reach(at), low, high), _root(lambda at: off(at) - reach(at), low, high)
    )


def _root(f: Callable[[float], float], low: float, high: float) -> float | None:
    """Where f crosses zero upwards, by halving; None if it does not between low and high."""
    if f(low) > 0.0 or f(high) < 0.0:
        return None
    for _ in range(200):
        middle = (low + high) / 2.0
        if middle in (low, high):
            break
        low, high = (middle, high) if f(middle) < 0.0 else (low, middle)
    return (low + high) / 2.0
