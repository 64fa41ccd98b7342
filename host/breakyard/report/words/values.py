"""Numbers for people: in their unit, rounded to what is known, never finer.

Rounding follows JCGM 100:2008 (GUM), 7.2.6: an uncertainty is quoted to at most two significant digits and
the estimate to the same place. Ends of intervals are rounded outwards and lower bounds downwards, so that
rounding never promises more than was computed.
"""

import math
from typing import Final

from breakyard.pull.results import Summary
from breakyard.units import FORCE_UNITS, force_unit

UNCERTAINTY_DIGITS: Final = 2
"""Significant digits of an uncertainty (JCGM 100:2008, 7.2.6)."""
DIGITS_WITHOUT_UNCERTAINTY: Final = 3

_SLACK: Final = 1e-9
"""Keeps 447.3 from being rounded outwards to 447.4 for an error in its sixteenth digit."""


def decimals_for(uncertainty: float, digits: int = UNCERTAINTY_DIGITS) -> int:
    """Decimals at which a value with this uncertainty ends; negative for tens and hundreds."""
    if not math.isfinite(uncertainty) or uncertainty <= 0.0:
        raise ValueError("an uncertainty is a positive number")
    decimals = digits - 1 - math.floor(math.log10(uncertainty))
    # 0.0996 rounds to 0.10, which has one digit more than wanted.
    if round(uncertainty, decimals) >= 10.0 ** (digits - decimals):
        decimals -= 1
    return decimals


def decimals_of_size(value: float) -> int:
    """Decimals for a value whose uncertainty is not stated: three significant digits, four after a leading 1.

    So its rounding is always below half a percent and at best near half a thousandth.
    """
    if not math.isfinite(value) or value == 0.0:
        return 0
    decimals = decimals_for(abs(value), DIGITS_WITHOUT_UNCERTAINTY)
    leading_one = abs(value) * 10.0**decimals < 2.0 * 10.0 ** (DIGITS_WITHOUT_UNCERTAINTY - 1)
    return decimals + 1 if leading_one else decimals


def fixed(value: float, decimals: int) -> str:
    """Write a value rounded to a number of decimals (negative: to tens, hundreds), without "-0"."""
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def floored(value: float, decimals: int) -> str:
    """Write a value rounded down."""
    scale = 10.0**decimals
    return fixed(math.floor(value * scale + _SLACK * max(1.0, abs(value * scale))) / scale, decimals)


def ceiled(value: float, decimals: int) -> str:
    """Write a value rounded up."""
    scale = 10.0**decimals
    return fixed(math.ceil(value * scale - _SLACK * max(1.0, abs(value * scale))) / scale, decimals)


def interval_text(estimate_n: float, low_n: float, high_n: float, unit: str) -> str:
    """An estimate with its interval, as "447.3 (445.1 to 449.5)", without the unit. Raises: UnitError."""
    factor = FORCE_UNITS[force_unit(unit)]
    half = (high_n - low_n) / 2.0 / factor
    if not math.isfinite(half) or half <= 0.0:
        return load_text(estimate_n, unit)
    decimals = decimals_for(half)
    low, high = floored(low_n / factor, decimals), ceiled(high_n / factor, decimals)
    return f"{fixed(estimate_n / factor, decimals)} ({low} to {high})"


def at_least_text(low_n: float, standard_n: float, unit: str) -> str:
    """A lower bound, as "at least 512", without the unit. Raises: UnitError."""
    return f"at least {bound_text(low_n, standard_n, unit)}"


def bound_text(low_n: float, standard_n: float, unit: str) -> str:
    """A lower bound as a bare number, rounded down. Raises: UnitError."""
    factor = FORCE_UNITS[force_unit(unit)]
    value = low_n / factor
    known = math.isfinite(standard_n) and standard_n > 0.0
    decimals = decimals_for(2.0 * standard_n / factor) if known else decimals_of_size(value)
    return floored(value, min(decimals, decimals_of_size(value)))


def load_text(load_n: float, unit: str, standard_n: float | None = None) -> str:
    """A load without an interval of its own, rounded to `standard_n` if given. Raises: UnitError."""
    factor = FORCE_UNITS[force_unit(unit)]
    value = load_n / factor
    if standard_n is not None and math.isfinite(standard_n) and standard_n > 0.0:
        return fixed(value, decimals_for(2.0 * standard_n / factor))
    return fixed(value, decimals_of_size(value))


def rate_text(rate_n_per_s: float, unit: str) -> str:
    """A loading rate to two significant digits, without the unit; it is never known better. Raises: UnitError."""
    value = rate_n_per_s / FORCE_UNITS[force_unit(unit)]
    if not math.isfinite(value):
        return "unknown"
    return "0" if value == 0.0 else fixed(value, decimals_for(abs(value)))


def standard_n(summary: Summary) -> float:
    """The combined standard uncertainty of a summary's peak: root of the sum of squares (JCGM 100, 5.1.2)."""
    return math.hypot(*(line.standard_n for line in summary.budget), 0.0)


def peak_text(summary: Summary, unit: str) -> str:
    """The peak with its interval, or "at least". Raises: UnitError."""
    peak = summary.peak
    if peak.bound == "lower" or peak.high_n is None:
        return at_least_text(peak.low_n, standard_n(summary), unit)
    return interval_text(peak.estimate_n, peak.low_n, peak.high_n, unit)


def strength_text(summary: Summary, unit: str) -> str:
    """What the specimen can bear, with its interval, or "at least". Raises: UnitError."""
    strength = summary.strength
    if strength.at_least or strength.high_n is None:
        return at_least_text(strength.low_n, standard_n(summary), unit)
    return interval_text(strength.value_n, strength.low_n, strength.high_n, unit)
