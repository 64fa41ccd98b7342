"""Does a curve fit the loads at all? Anderson and Darling's test with both parameters fitted.

CMH-17-1G, 8.3.4: the statistic is made larger for few values and turned into an observed significance level.
"""

import math
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np

from breakyard.comparison.log_linear import Floats
from breakyard.comparison.weibull import fit_weibull

Curve = Literal["normal", "log-normal", "weibull"]
CURVES: Final[tuple[Curve, ...]] = ("normal", "log-normal", "weibull")

FEWEST: Final = 5
"""With fewer values no curve can be distinguished from another."""


def fits(curve: Curve, values: Sequence[float]) -> float | None:
    """Observed significance level of the fit; None for fewer than FEWEST values, or without any scatter."""
    n = len(values)
    if n < FEWEST or min(values) == max(values):
        return None
    data = np.sort(np.asarray(values, dtype=np.float64))
    if curve == "weibull":
        fit = fit_weibull(values)
        if fit is None:
            return None
        below = -np.expm1(-((data / fit.scale_n) ** fit.shape))
        enlarged = (1.0 + 0.2 / math.sqrt(n)) * _statistic(below)
        return 1.0 / (1.0 + math.exp(-0.10 + 1.24 * math.log(enlarged) + 4.48 * enlarged))
    from scipy import special

    shown = np.log(data) if curve == "log-normal" else data
    below = special.ndtr((shown - shown.mean()) / shown.std(ddof=1))
    enlarged = (1.0 + 4.0 / n - 25.0 / n**2) * _statistic(below)
    if enlarged <= 0.0:  # below 6 values the correction says nothing
        return None
    return 1.0 / (1.0 + math.exp(-0.48 + 0.78 * math.log(enlarged) + 4.58 * enlarged))


def _statistic(below: Floats) -> float:
    """A^2 = -n - sum of (2 i - 1) / n (ln F_i + ln(1 - F_(n + 1 - i)))."""
    n = len(below)
    sure = np.clip(below, 1e-15, 1.0 - 1e-15)
    weight = (2.0 * np.arange(1, n + 1) - 1.0) / n
    return float(-n - (weight * (np.log(sure) + np.log1p(-sure[::-1]))).sum())
