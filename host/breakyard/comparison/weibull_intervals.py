"""Profile-likelihood intervals of a Weibull curve, with critical values that hold for few specimens.

The signed root of the likelihood ratio is normal only for many breaks; likelihood-ratio intervals fall short below 20
to 30 of them (Jeng and Meeker, Comparisons of Weibull distribution approximate confidence intervals procedures for
Type I censored data, 1997). So its limits are simulated for the pattern in which specimens broke and left (pivots.py):
exact where all, or the weakest r of n, broke; close to it for pulls that were let go in between.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.comparison.pivots import critical_roots, pattern_of
from breakyard.comparison.weibull import Sample, WeibullFit, log_likelihood

SCALE: Final = 1.0 - math.exp(-1.0)
"""The scale is the load that this share of the parts does not survive."""


@dataclass(frozen=True, slots=True)
class Range:
    """An interval with equal chances beyond both ends; None where it is open on that side."""

    low: float | None
    high: float | None


def shape_interval(sample: Sample, fit: WeibullFit, *, coverage: float = 0.95) -> Range:
    """Interval of the shape."""
    limits = critical_roots(pattern_of(sample), None, 0.5 - coverage / 2.0)

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
    return _quantile(sample, fit, share, 1.0 - confidence, upper=False).low


def _quantile(sample: Sample, fit: WeibullFit, share: float, tail: float, *, upper: bool = True) -> Range:
    limits = critical_roots(pattern_of(sample), share, tail)
    log_weight = math.log(-math.log1p(-share))
    best = math.log(fit.quantile_n(share) / sample.unit_n)
    broke_sum = float(sample.log_load[sample.broke].sum())

    def root(log_quantile: float) -> float:
        y = sample.log_load - log_quantile
        rest = broke_sum - sample.failures * log_quantile
        shape = _likeliest_shape(y, rest, sample.failures, log_weight, near=fit.shape)
        return _signed(sample, fit, shape, log_quantile - log_weight / shape, best - log_quantile)

    spread = (1.0 + abs(log_weight)) / (fit.shape * math.sqrt(fit.failures))
    low, high = _solve(root, best, limits, spread, upper=upper)
    return Range(
        None if low is None else math.exp(low) * sample.unit_n,
        None if high is None else math.exp(high) * sample.unit_n,
    )


def _likeliest_shape(
    y: NDArray[np.float64], broke_sum: float, failures: int, log_weight: float, *, near: float
) -> float:
    """Likeliest shape when a quantile is held; y: logarithms of the loads over it. The score falls with the shape.

    near: where to look first.
    """
    from scipy import optimize

    # r / k + sum over breaks of y - sum over all of y exp(k y + c), as in `pivots.shapes_at_quantile`.
    def score(log_shape: float) -> float:
        shape = math.exp(log_shape)
        return failures / shape + broke_sum - float(y @ np.exp(np.minimum(shape * y + log_weight, 600.0)))

    least, most = math.log(1e-9), math.log(1e9)
    low = high = min(max(math.log(near), least), most)
    width = 0.25
    if score(low) > 0.0:
        while high < most and score(high) > 0.0:
            low, high, width = high, min(high + width, most), 3.0 * width
        if high == most and score(most) >= 0.0:
            return 1e9
    else:
        while low > least and score(low) <= 0.0:
            low, high, width = max(low - width, least), low, 3.0 * width
        if low == least and score(least) <= 0.0:
            return 1e-9
    return math.exp(float(optimize.brentq(score, low, high, xtol=1e-11)))


def _signed(sample: Sample, fit: WeibullFit, shape: float, log_scale: float, sign: float) -> float:
    # sign sqrt(2 (l(estimate) - l(held))): chi-squared's root with one degree of freedom, for large samples.
    top = fit.log_likelihood + sample.failures * math.log(sample.unit_n)
    fall = 2.0 * (top - log_likelihood(sample, shape, log_scale))
    return math.copysign(math.sqrt(max(fall, 0.0)), sign)


FARTHEST: Final = 200.0
"""Logarithm of the farthest that an interval's end is looked for from the estimate; beyond, it is open."""


def _solve(
    root: Callable[[float], float],
    best: float,
    limits: tuple[float, float],
    spread: float,
    *,
    upper: bool = True,
) -> tuple[float | None, float | None]:
    """Where the signed root (falling, 0 at `best`) meets its upper and, if asked for, its lower limit."""
    from scipy import optimize

    found: list[float | None] = []
    for direction, limit in ((-1.0, limits[1]), (1.0, limits[0]))[: 2 if upper else 1]:
        # A limit on the other side of 0 puts the interval's end beyond the estimate: few breaks bias the fit.
        way = direction if limit * direction < 0.0 else -direction
        step, end = spread, best
        while step < FARTHEST:
            end = best + way * step
            if (root(end) - limit) * (root(best) - limit) <= 0.0:
                break
            step *= 1.6
        else:
            found.append(None)
            continue
        found.append(float(optimize.brentq(lambda x: root(x) - limit, *sorted((best, end)), xtol=1e-10)))  # noqa: B023
    return found[0], found[1] if upper else None
