"""Profile-likelihood intervals of a Weibull curve, with critical values that hold for few specimens.

The signed root of the likelihood ratio is normal only for many breaks; likelihood-ratio intervals fall short below 20
to 30 of them (Jeng and Meeker, Comparisons of Weibull distribution approximate confidence intervals procedures for
Type I censored data, 1997). Its distribution does not depend on shape or scale as long as every specimen, or the
weakest r of n, broke (it is pivotal: Lawless ch. 5), so it is simulated once per (n, r) with a fixed seed and gives
exact intervals there. Other patterns of censoring use the critical value of the same n and r: an approximation.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.compare.weibull import Sample, WeibullFit, log_likelihood

MANY: Final = 40
"""From this many breaks on, what was simulated for this many is carried on: its distance from the normal value falls
with the root of the number of breaks."""
SEED: Final = 19510901

SCALE: Final = 1.0 - math.exp(-1.0)
"""The scale is the load that this share of the parts does not survive."""


@dataclass(frozen=True, slots=True)
class Range:
    """An interval with equal chances beyond both ends; None where it is open on that side."""

    low: float | None
    high: float | None


def shape_interval(sample: Sample, fit: WeibullFit, *, coverage: float = 0.95) -> Range:
    """Interval of the shape."""
    limits = critical_roots(fit.n, fit.failures, "shape", 0.5 - coverage / 2.0)

    def root(log_shape: float) -> float:
        shape = math.exp(log_shape)
        log_scale = math.log(float(np.exp(shape * sample.log_load).sum()) / sample.failures) / shape
        return _signed(sample, fit, shape, log_scale, math.log(fit.shape) - log_shape)

    low, high = _solve(root, math.log(fit.shape), limits, 1.0 / math.sqrt(fit.failures))
    return Range(None if low is None else math.exp(low), None if high is None else math.exp(high))


def quantile_interval(sample: Sample, fit: WeibullFit, share: float, *, coverage: float = 0.95) -> Range:
    """Interval in newtons of the load below which `share` of the parts breaks; SCALE gives that of the scale."""
    return _quantile(sample, fit, share, 0.5 - coverage / 2.0)


def quantile_lower_bound(sample: Sample, fit: WeibullFit, share: float, confidence: float) -> float | None:
    """Load in newtons that, with this confidence, all but `share` of the parts bear; None where there is none."""
    return _quantile(sample, fit, share, 1.0 - confidence).low


def _quantile(sample: Sample, fit: WeibullFit, share: float, tail: float) -> Range:
    limits = critical_roots(fit.n, fit.failures, f"quantile {share:.9f}", tail)
    log_weight = math.log(-math.log1p(-share))
    best = math.log(fit.quantile_n(share) / sample.unit_n)
    broke_sum = float(sample.log_load[sample.broke].sum())

    def root(log_quantile: float) -> float:
        y = sample.log_load - log_quantile
        shape = _likeliest_shape(y, broke_sum - sample.failures * log_quantile, sample.failures, log_weight)
        return _signed(sample, fit, shape, log_quantile - log_weight / shape, best - log_quantile)

    spread = (1.0 + abs(log_weight)) / (fit.shape * math.sqrt(fit.failures))
    low, high = _solve(root, best, limits, spread)
    return Range(
        None if low is None else math.exp(low) * sample.unit_n,
        None if high is None else math.exp(high) * sample.unit_n,
    )


def _likeliest_shape(y: NDArray[np.float64], broke_sum: float, failures: int, log_weight: float) -> float:
    """Likeliest shape when a quantile is held; y: logarithms of the loads over it. The score falls with the shape."""
    from scipy import optimize

    def score(log_shape: float) -> float:
        shape = math.exp(log_shape)
        return failures / shape + broke_sum - float(y @ np.exp(np.minimum(shape * y + log_weight, 600.0)))

    return math.exp(float(optimize.brentq(score, math.log(1e-6), math.log(1e8), xtol=1e-11)))


def _signed(sample: Sample, fit: WeibullFit, shape: float, log_scale: float, sign: float) -> float:
    top = fit.log_likelihood + sample.failures * math.log(sample.unit_n)
    fall = 2.0 * (top - log_likelihood(sample, shape, log_scale))
    return math.copysign(math.sqrt(max(fall, 0.0)), sign)


def _solve(
    root: Callable[[float], float], best: float, limits: tuple[float, float], spread: float
) -> tuple[float | None, float | None]:
    """Where the signed root (falling, 0 at `best`) meets its upper and its lower limit."""
    from scipy import optimize

    found: list[float | None] = []
    for direction, limit in ((-1.0, limits[1]), (1.0, limits[0])):
        # A limit on the other side of 0 puts the interval's end beyond the estimate: few breaks bias the fit.
        way = direction if limit * direction < 0.0 else -direction
        step, end = spread, best
        for _ in range(60):
            end = best + way * step
            if (root(end) - limit) * (root(best) - limit) <= 0.0:
                break
            step *= 1.6
        else:
            found.append(None)
            continue
        found.append(float(optimize.brentq(lambda x: root(x) - limit, *sorted((best, end)), xtol=1e-10)))  # noqa: B023
    return found[0], found[1]


@lru_cache(maxsize=256)
def critical_roots(n: int, failures: int, parameter: str, tail: float) -> tuple[float, float]:
    """Limits between which the signed root lies but for `tail` on either side.

    parameter: "shape" or "quantile SHARE". The root is positive where the estimate lies above the true value.
    """
    if failures > MANY:
        from scipy import stats

        z = float(stats.norm.ppf(1.0 - tail))
        low, high = critical_roots(round(n * MANY / failures), MANY, parameter, tail)
        shrink = math.sqrt(MANY / failures)
        return -z + (low + z) * shrink, z + (high - z) * shrink
    roots = _simulated_roots(n, failures, parameter)
    low, high = np.quantile(roots, [tail, 1.0 - tail])
    return float(low), float(high)


@lru_cache(maxsize=64)
def _simulated_roots(n: int, failures: int, parameter: str) -> NDArray[np.float64]:
    """Signed roots of many samples of a standard Weibull curve in which the weakest `failures` of n broke."""
    logs, broke, shape, log_scale = _simulated_fits(n, failures)
    top = _height(logs, broke, shape, log_scale)
    if parameter == "shape":
        at_truth = -_log_mean_power(logs, broke, np.ones(len(logs)))
        height = _height(logs, broke, np.ones(len(logs)), -at_truth)
        sign = np.sign(np.log(shape))
    else:
        share = float(parameter.split()[1])
        log_weight = math.log(-math.log1p(-share))
        log_quantile = np.full(len(logs), log_weight)  # of the standard curve
        constrained = _shape_at_quantile(logs, broke, log_quantile, log_weight)
        height = _height(logs, broke, constrained, log_quantile - log_weight / constrained)
        sign = np.sign(log_scale + log_weight / shape - log_quantile)
    roots = sign * np.sqrt(np.maximum(2.0 * (top - height), 0.0))
    roots.flags.writeable = False
    return np.asarray(roots, dtype=np.float64)


@lru_cache(maxsize=16)
def _simulated_fits(
    n: int, failures: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.float64], NDArray[np.float64]]:
    draws = min(10_000, max(4_000, 400_000 // n))
    logs = np.sort(np.log(-np.log(np.random.default_rng(SEED).random((draws, n)))), axis=1)
    logs[:, failures:] = logs[:, failures - 1 : failures]
    broke = np.broadcast_to(np.arange(n) < failures, logs.shape)
    mean_log = (logs * broke).sum(axis=1) / failures
    low, high = np.full(draws, math.log(1e-3)), np.full(draws, math.log(1e7))
    shifted = logs - logs[:, -1:]
    for _ in range(52):
        middle = 0.5 * (low + high)
        weight = np.exp(np.exp(middle)[:, None] * shifted)
        weighted = (weight * logs).sum(axis=1) / weight.sum(axis=1)
        above = weighted - np.exp(-middle) - mean_log > 0.0
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    shape = np.exp(0.5 * (low + high))
    return logs, broke, shape, _log_mean_power(logs, broke, shape)


def _log_mean_power(
    logs: NDArray[np.float64], broke: NDArray[np.bool_], shape: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Logarithm of the likeliest scale for given shapes, row by row."""
    top = logs.max(axis=1)
    powers = np.exp(shape[:, None] * (logs - top[:, None])).sum(axis=1)
    return np.asarray(top + np.log(powers / broke.sum(axis=1)) / shape)


def _height(
    logs: NDArray[np.float64],
    broke: NDArray[np.bool_],
    shape: NDArray[np.float64],
    log_scale: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Log likelihood, row by row."""
    failures = broke.sum(axis=1)
    distance = np.minimum(shape[:, None] * (logs - log_scale[:, None]), 700.0)
    constant = failures * (np.log(shape) - shape * log_scale) + (shape - 1.0) * (logs * broke).sum(axis=1)
    return np.asarray(constant - np.exp(distance).sum(axis=1))


def _shape_at_quantile(
    logs: NDArray[np.float64],
    broke: NDArray[np.bool_],
    log_quantile: NDArray[np.float64],
    log_weight: float,
) -> NDArray[np.float64]:
    """As `_likeliest_shape`, row by row, by bisection."""
    y = logs - log_quantile[:, None]
    failures = broke.sum(axis=1)
    total = (y * broke).sum(axis=1)
    low, high = np.full(len(logs), math.log(1e-6)), np.full(len(logs), math.log(1e8))
    for _ in range(56):
        middle = 0.5 * (low + high)
        shape = np.exp(middle)
        pull = (y * np.exp(np.minimum(shape[:, None] * y + log_weight, 600.0))).sum(axis=1)
        rising = failures / shape + total - pull > 0.0
        low, high = np.where(rising, middle, low), np.where(rising, high, middle)
    return np.asarray(np.exp(0.5 * (low + high)))
