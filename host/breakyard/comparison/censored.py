"""Two groups of which some specimens only held "at least": log-rank, and a Weibull test with one common shape.

The log-rank test assumes nothing, but with few specimens it cannot reach a small probability whatever they did. The
Weibull test can, at the price of an assumption that is said with its result: both groups scatter alike. Its
likelihood-ratio statistic is pivotal for a pattern of breaks and losses (pivots.py), so its distribution is simulated
for the patterns seen, with a fixed seed.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.comparison.observations import Observation
from breakyard.comparison.pairwise import Beats
from breakyard.comparison.pivots import (
    MANY,
    Floats,
    Pattern,
    heights,
    likeliest_shapes,
    log_scales,
    pattern_of,
    standard_fits,
    standard_samples,
    thinned,
)
from breakyard.comparison.weibull import fit_weibull, sample_of

FARTHEST: Final = 10.0
"""Logarithm of the farthest ratio looked at; an interval beyond a factor of 20 000 is open."""


@dataclass(frozen=True, slots=True)
class CommonShape:
    """Ratio of the loads of two groups (first over second), both Weibull with one shape."""

    shape: float
    ratio: float
    ratio_low: float | None
    ratio_high: float | None
    statistic: float
    p: float


def common_shape(
    first: Sequence[Observation],
    second: Sequence[Observation],
    *,
    coverage: float = 0.95,
    instrument: float = 0.0,
) -> CommonShape | None:
    """Test equal loads, and give the interval of ratios that the test does not refuse.

    instrument: relative standard uncertainty left on the ratio; widens the interval (in quadrature on the log scale)
    and weakens the test alike. None where fewer than two specimens of either group broke, or there is no scatter.
    """
    data = [_logs(first), _logs(second)]
    failures = tuple(int(broke.sum()) for _, broke in data)
    if min(failures) < 2:
        return None
    separate = _profile(data, tied=False)
    if separate is None:
        return None
    shape, top = separate
    log_ratio = _log_scale(*data[0], shape) - _log_scale(*data[1], shape)

    def statistic(shift: float) -> float:
        tied = _profile([data[0], (data[1][0] + shift, data[1][1])], tied=True)
        # The densities of the second group's breaks are per newton: moving the loads scales them.
        return math.inf if tied is None else max(2.0 * (top - tied[1] - failures[1] * shift), 0.0)

    patterns = _pattern(first), _pattern(second)
    critical = _critical(*patterns, coverage)
    low, high = _ends(statistic, log_ratio, critical, 1.0 / (shape * math.sqrt(min(failures))))
    if instrument > 0.0:
        z = _normal(0.5 + coverage / 2.0) * instrument
        low = None if low is None else log_ratio - math.hypot(log_ratio - low, z)
        high = None if high is None else log_ratio + math.hypot(high - log_ratio, z)
    seen = statistic(0.0)
    if instrument > 0.0:
        # The statistic of a difference of so many standard errors, each made longer by the instrument.
        error = abs(log_ratio) / math.sqrt(seen) if seen > 0.0 else math.inf
        seen *= error**2 / (error**2 + instrument**2) if math.isfinite(error) else 1.0
    return CommonShape(
        shape,
        math.exp(log_ratio),
        None if low is None else math.exp(low),
        None if high is None else math.exp(high),
        seen,
        _tail(*patterns, seen),
    )


def beats_censored(
    first: Sequence[Observation], second: Sequence[Observation], *, coverage: float = 0.95
) -> Beats | None:
    """Next specimen against next, each group with a Weibull curve of its own; None with fewer than two breaks each.

    Generalised pivots (Weerahandi 1993): the fits to standard samples of the same pattern tell how far shape and scale
    may lie from those fitted.
    """
    fits = [fit_weibull([p.value_n for p in pulls], [p.at_least for p in pulls]) for pulls in (first, second)]
    if fits[0] is None or fits[1] is None:
        return None
    unit = max(fits[0].scale_n, fits[1].scale_n)
    generator = np.random.default_rng(19930601)
    curves = []
    for fit, pulls in ((fits[0], first), (fits[1], second)):
        pattern = _pattern(pulls)
        _, _, shapes, scales = standard_fits(_short(pattern))
        # Beyond MANY breaks the pivots shrink towards (1, 0) with the root of their number.
        shrink = math.sqrt(min(MANY / len(pattern), 1.0))
        drawn = generator.integers(len(shapes), size=4_000)
        shape = fit.shape * np.exp(-shrink * np.log(shapes[drawn]))
        curves.append(
            (shape, math.log(fit.scale_n / unit) - shrink * scales[drawn] * shapes[drawn] / fit.shape)
        )
    (shape_a, log_a), (shape_b, log_b) = curves
    # P(A > B) is the mean of A's survival at B's loads, over B's own survival u: midpoint rule in u.
    u = (np.arange(100) + 0.5) / 100
    log_load = log_b[:, None] + np.log(-np.log(u))[None, :] / shape_b[:, None]
    chance = np.exp(-np.exp(np.clip(shape_a[:, None] * (log_load - log_a[:, None]), -700.0, 700.0))).mean(
        axis=1
    )
    low, high = np.quantile(chance, [0.5 - coverage / 2.0, 0.5 + coverage / 2.0])
    return Beats(float(chance.mean()), float(low), float(high), "weibull")


_Data = tuple[NDArray[np.float64], NDArray[np.bool_]]


def _pattern(pulls: Sequence[Observation]) -> Pattern:
    return pattern_of(sample_of([p.value_n for p in pulls], [p.at_least for p in pulls]))


def _logs(pulls: Sequence[Observation]) -> _Data:
    return np.log([pull.value_n for pull in pulls]), np.array([not pull.at_least for pull in pulls])


def _log_scale(logs: NDArray[np.float64], broke: NDArray[np.bool_], shape: float) -> float:
    top = float(logs.max())
    return top + math.log(float(np.exp(shape * (logs - top)).sum()) / int(broke.sum())) / shape


def _profile(data: Sequence[_Data], *, tied: bool) -> tuple[float, float] | None:
    """Likeliest common shape and its log likelihood, with one scale for all (tied) or one each."""
    from scipy import optimize

    if tied:
        data = [(np.concatenate([logs for logs, _ in data]), np.concatenate([broke for _, broke in data]))]
    failures = sum(int(broke.sum()) for _, broke in data)

    def score(log_shape: float) -> float:
        shape, total = math.exp(log_shape), 0.0
        for logs, broke in data:
            weight = np.exp(shape * (logs - logs.max()))
            mean = float((weight @ logs) / weight.sum())
            total += int(broke.sum()) * mean - float(logs[broke].sum())
        return total / failures - math.exp(-log_shape)

    low, high = math.log(1e-3), math.log(1e6)
    if score(low) >= 0.0 or score(high) <= 0.0:
        return None
    shape = math.exp(float(optimize.brentq(score, low, high, xtol=1e-12)))
    height = failures * (math.log(shape) - 1.0)
    for logs, broke in data:
        scale = _log_scale(logs, broke, shape)
        height += float(((shape - 1.0) * logs[broke] - shape * scale).sum())
    return shape, height


def _ends(
    statistic: Callable[[float], float], best: float, critical: float, spread: float
) -> tuple[float | None, float | None]:
    from scipy import optimize

    found: list[float | None] = []
    for way in (-1.0, 1.0):
        step, end = spread, None
        for _ in range(60):
            if step > FARTHEST:
                break
            if statistic(best + way * step) > critical:
                end = best + way * step
                break
            step *= 1.6
        found.append(
            None
            if end is None
            else float(
                optimize.brentq(lambda x: min(statistic(x), 1e9) - critical, *sorted((best, end)), xtol=1e-9)
            )
        )
    return found[0], found[1]


def _normal(share: float) -> float:
    from scipy import special

    return float(special.ndtri(share))


def _critical(first: Pattern, second: Pattern, coverage: float) -> float:
    if min(len(first), len(second)) > MANY:
        return _normal(0.5 + coverage / 2.0) ** 2  # chi-squared with one degree of freedom
    return float(np.quantile(_null_statistics(_short(first), _short(second)), coverage))


def _tail(first: Pattern, second: Pattern, statistic: float) -> float:
    """Probability of a statistic at least as large between equal groups."""
    if min(len(first), len(second)) > MANY:
        return math.erfc(math.sqrt(statistic / 2.0))
    simulated = _null_statistics(_short(first), _short(second))
    return (1 + int(np.sum(simulated >= statistic))) / (1 + len(simulated))


def _short(pattern: Pattern) -> Pattern:
    return pattern if len(pattern) <= MANY else thinned(pattern)


@lru_cache(maxsize=64)
def _null_statistics(first: Pattern, second: Pattern) -> NDArray[np.float64]:
    """Sorted statistics of pairs of samples from one curve, broken and left in these patterns."""
    draws = min(10_000, max(4_000, 200_000 // (len(first) + len(second))))
    generator = np.random.default_rng(19720214)
    parts = [
        (standard_samples(pattern, draws, generator), 1.0 + np.asarray(pattern, dtype=np.float64))
        for pattern in (first, second)
    ]
    both = [
        (
            np.concatenate([logs for logs, _ in parts], axis=1),
            np.concatenate([weights for _, weights in parts]),
        )
    ]
    statistics = 2.0 * (_top_heights(parts) - _top_heights(both))
    return np.sort(np.maximum(statistics, 0.0))


def _top_heights(parts: Sequence[tuple[Floats, Floats]]) -> Floats:
    """Log likelihood at the likeliest common shape, row by row."""
    shape = likeliest_shapes(parts)
    each = [heights(logs, weights, shape, log_scales(logs, weights, shape)) for logs, weights in parts]
    return np.asarray(sum(each), dtype=np.float64)
