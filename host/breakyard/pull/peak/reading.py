"""The peak as far as the samples tell, before zero and calibration add their doubts."""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration.propagate import coverage_interval, lopsided_table, mixture_table
from breakyard.calibration.terms import Distribution, coverage_factor, tabulated
from breakyard.pull.peak.recovery import Recovered
from breakyard.pull.results import Bound, Regime, Smoothing

Array = NDArray[np.float64]

WIDEST_READING: Final = 0.03
"""A reading whose half interval exceeds this fraction of the peak is given as a lower bound."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The peak as far as samples and filter tell. Offsets are from the estimate, at the asked coverage."""

    estimate_n: float
    standard_n: float
    below_n: float
    """How far the interval reaches below the estimate ..."""
    above_n: float
    """... and how far above it."""
    largest_n: float
    time_s: float
    regime: Regime
    bound: Bound
    recovered: Recovered | None
    glitch: int | None
    """Index of a sample that spoilt the fit and was left out."""
    reason: str
    smoothing: Smoothing | None = None
    """How noise was averaged out: the largest sample may then lie above the peak."""
    table: Distribution | None = None
    """Peak less estimate, where it is none of a Gaussian, two halves of Gaussians and the recovery's mixture."""
    holed: bool = False
    """Whether it is a lower bound because conversions are missing, not because the event was short."""


def lower_bound(
    time: Array, load: Array, top: int, noise_n: float, reason: str, glitch: int | None = None
) -> Reading:
    """The largest sample as a lower bound, for the reason given."""
    largest = float(load[top])
    return Reading(
        largest,
        noise_n,
        3.0 * noise_n,
        0.0,
        largest,
        float(time[top]),
        "too_short",
        "lower",
        None,
        glitch,
        reason,
    )


def normal_factor(coverage: float) -> float:
    """Half-width of a two-sided interval of a normal distribution, in standard deviations."""
    return coverage_factor(float("inf"), coverage)


FLOOR: Final = 3.0
"""The peak is not below the largest sample less this many times the noise of one."""


def distribution(reading: Reading, noise_n: float, coverage: float) -> Distribution | None:
    """Peak less estimate, as far as samples and filter tell; None for a plain Gaussian of the standard uncertainty."""
    if reading.table is not None:
        return reading.table
    factor = normal_factor(coverage)
    sure = reading.bound == "two-sided" and reading.smoothing is None
    floor = min(reading.largest_n - FLOOR * noise_n - reading.estimate_n, 0.0) if sure else -math.inf
    if reading.recovered is not None and reading.bound == "two-sided":
        found = reading.recovered
        table = mixture_table(found.weight, found.mean_n - reading.estimate_n, found.standard_n)
        table = _as_wide_as(table, reading, coverage)
    elif reading.below_n == reading.above_n and -reading.below_n > floor:
        return None
    else:
        table = lopsided_table(reading.below_n / factor, reading.above_n / factor)
    return Distribution(np.maximum(table.values_n, floor), table.weights)


def _as_wide_as(table: Distribution, reading: Reading, coverage: float) -> Distribution:
    """The recovered peak's distribution, stretched on either side where the reading claims less than it."""
    low, high = coverage_interval([tabulated("recovery", table)], coverage)
    below = max(reading.below_n / -low, 1.0) if low < 0.0 else 1.0
    above = max(reading.above_n / high, 1.0) if high > 0.0 else 1.0
    values = table.values_n * np.where(table.values_n < 0.0, below, above)
    return Distribution(np.asarray(values), table.weights)


def higher_of(first: Reading, second: Reading, noise_n: float, coverage: float) -> Reading:
    """The peak of a pull that has two humps: the larger of both, as far as either is known.

    With independent readings the distribution of the larger one is the product of their distribution functions.
    """
    largest = max(first.largest_n, second.largest_n)
    if first.bound == "lower":
        return replace(first, largest_n=largest)
    if second.bound == "lower":
        # That hump may have been higher by nobody knows how much.
        reason = second.reason
        return replace(
            first, largest_n=largest, bound="lower", above_n=0.0, reason=reason, holed=second.holed
        )
    ahead, other = (first, second) if first.estimate_n >= second.estimate_n else (second, first)
    ahead = replace(ahead, largest_n=largest)
    if ahead.estimate_n - ahead.below_n > other.estimate_n + other.above_n:
        return ahead
    quantiles = (np.arange(256) + 0.5) / 256
    ours, theirs = (_quantiles(one, noise_n, coverage, quantiles) for one in (ahead, other))
    both = np.sort(np.maximum(ours[:, None], theirs[None, :]), axis=None)
    estimate = float(both.mean())
    values = both.reshape(256, 256).mean(axis=1) - estimate
    table = Distribution(values, np.full(256, 1.0 / 256))
    tail = 0.5 * (1.0 - coverage)
    low, high = np.quantile(both, [tail, 1.0 - tail]) - estimate
    return replace(
        ahead,
        estimate_n=estimate,
        standard_n=table.standard_n,
        below_n=float(-low),
        above_n=float(high),
        table=table,
    )


def _quantiles(reading: Reading, noise_n: float, coverage: float, at: Array) -> Array:
    from scipy.special import ndtri

    table = distribution(reading, noise_n, coverage)
    if table is None:
        return np.asarray(reading.estimate_n + reading.standard_n * ndtri(at))
    order = np.argsort(table.values_n)
    reached = np.cumsum(table.weights[order])
    return np.asarray(reading.estimate_n + np.interp(at, reached / reached[-1], table.values_n[order]))
