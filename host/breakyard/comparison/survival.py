"""Kaplan-Meier curve and log-rank test: loads instead of times, "at least" instead of "still alive".

Kaplan and Meier 1958; Greenwood's variance on the log-log scale; log-rank after Mantel 1966 with the
hypergeometric variance. A bound that ties with a break is taken to lie above it (the usual convention).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from breakyard.comparison.permute import Permutation, permutation_test
from breakyard.errors import UsageError


@dataclass(frozen=True, slots=True)
class SurvivalStep:
    """From this load on, this share of the specimens still holds."""

    load_n: float
    share: float
    low: float | None
    high: float | None
    """Pointwise interval; None where it cannot be given (nothing left, or no break yet)."""
    at_risk: int
    """Specimens known to hold up to this load."""


def kaplan_meier(
    values: Sequence[float], at_least: Sequence[bool], *, coverage: float = 0.95
) -> tuple[SurvivalStep, ...]:
    """One step per load at which something broke, rising; no steps if nothing broke."""
    from scipy import special

    load, broke = _arrays(values, at_least)
    z = float(special.ndtri(0.5 + coverage / 2.0))
    share, greenwood, steps = 1.0, 0.0, []
    ordered = np.sort(load)
    for level, breaks in zip(*np.unique(load[broke], return_counts=True), strict=True):
        at_risk = len(load) - int(np.searchsorted(ordered, level, side="left"))
        share *= 1.0 - int(breaks) / at_risk
        low = high = None
        if share > 0.0:
            greenwood += int(breaks) / (at_risk * (at_risk - int(breaks)))
            spread = z * math.sqrt(greenwood) / abs(math.log(share))
            low, high = share ** math.exp(spread), share ** math.exp(-spread)
        steps.append(SurvivalStep(float(level), share, low, high, at_risk))
    return tuple(steps)


def median_load(steps: Sequence[SurvivalStep]) -> float | None:
    """Lowest load that at most half of the specimens survive; None where more than half were never broken."""
    return next((step.load_n for step in steps if step.share <= 0.5), None)


@dataclass(frozen=True, slots=True)
class LogRank:
    """Two groups' breaks against what one common curve would give."""

    chi2: float
    p_asymptotic: float
    exact: Permutation | None
    """Permutation of the log-rank scores; None where there are too many arrangements to list."""

    @property
    def p(self) -> float:
        """The exact probability where there is one."""
        return self.p_asymptotic if self.exact is None else self.exact.p


def log_rank(
    first: Sequence[float],
    first_at_least: Sequence[bool],
    second: Sequence[float],
    second_at_least: Sequence[bool],
) -> LogRank:
    """Test whether two groups share one survival curve. Raises: UsageError if a group is empty or nothing broke."""
    if not len(first) or not len(second):
        raise UsageError("the log-rank test needs specimens in both groups")
    load, broke = _arrays([*first, *second], [*first_at_least, *second_at_least])
    if not broke.any():
        raise UsageError("the log-rank test needs at least one specimen that broke")
    is_first = np.arange(len(load)) < len(first)
    levels, breaks = np.unique(load[broke], return_counts=True)
    at_risk = len(load) - np.searchsorted(np.sort(load), levels, side="left")
    first_at_risk = len(first) - np.searchsorted(np.sort(load[is_first]), levels, side="left")
    first_broke = load[is_first & broke]
    observed = len(first_broke)
    expected = float(np.sum(breaks * first_at_risk / at_risk))
    share = first_at_risk / at_risk
    factor = np.divide(at_risk - breaks, at_risk - 1, out=np.zeros(len(levels)), where=at_risk > 1)
    variance = float(np.sum(breaks * share * (1.0 - share) * factor))
    chi2 = (observed - expected) ** 2 / variance if variance > 0.0 else 0.0
    # erfc(sqrt(x/2)) is the upper tail of chi-squared with one degree of freedom.
    p = math.erfc(math.sqrt(chi2 / 2.0))
    hazard = np.concatenate([[0.0], np.cumsum(breaks / at_risk)])
    scores = broke.astype(np.float64) - hazard[np.searchsorted(levels, load, side="right")]
    return LogRank(chi2, p, permutation_test(scores, len(first)))


def _arrays(
    values: Sequence[float], at_least: Sequence[bool]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    load = np.asarray(values, dtype=np.float64)
    broke = ~np.asarray(at_least, dtype=np.bool_)
    if load.shape != broke.shape:
        raise UsageError("each value needs to be a break or a bound")
    return load, broke
