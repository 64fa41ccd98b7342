"""Two groups of which some specimens only held "at least": log-rank, and a Weibull test with one common shape.

The log-rank test assumes nothing, but with few specimens it cannot reach a small probability whatever they did. The
Weibull test can, at the price of an assumption that is said with its result: both groups scatter alike. Its
likelihood-ratio statistic is pivotal when the weakest of each group broke, so its distribution is simulated with a
fixed seed for the same numbers of specimens and breaks.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.compare.observations import Observation

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
        return math.inf if tied is None else max(2.0 * (top - tied[1]), 0.0)

    simulated = _null_statistics(len(first), len(second), *failures)
    critical = float(np.quantile(simulated, coverage))
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
    p = (1 + int(np.sum(simulated >= seen))) / (1 + len(simulated))
    return CommonShape(
        shape,
        math.exp(log_ratio),
        None if low is None else math.exp(low),
        None if high is None else math.exp(high),
        seen,
        p,
    )


_Data = tuple[NDArray[np.float64], NDArray[np.bool_]]


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


@lru_cache(maxsize=64)
def _null_statistics(n_a: int, n_b: int, failures_a: int, failures_b: int) -> NDArray[np.float64]:
    """Sorted statistics of samples from one curve, in which the weakest of each group broke."""
    draws = min(10_000, max(4_000, 400_000 // (n_a + n_b)))
    generator = np.random.default_rng(19720214)
    parts = []
    for n, failures in ((n_a, failures_a), (n_b, failures_b)):
        logs = np.sort(np.log(-np.log(generator.random((draws, n)))), axis=1)
        logs[:, failures:] = logs[:, failures - 1 : failures]
        parts.append((logs, np.arange(n) < failures))
    both = (
        np.concatenate([logs for logs, _ in parts], axis=1),
        np.concatenate([broke for _, broke in parts]),
    )
    statistics = 2.0 * (_heights(parts) - _heights([both]))
    return np.sort(np.maximum(statistics, 0.0))


def _heights(parts: Sequence[_Data]) -> NDArray[np.float64]:
    """Log likelihood at the likeliest common shape, row by row."""
    draws = len(parts[0][0])
    failures = sum(int(broke.sum()) for _, broke in parts)
    low, high = np.full(draws, math.log(1e-3)), np.full(draws, math.log(1e6))
    tops = [logs.max(axis=1) for logs, _ in parts]
    for _ in range(46):
        middle = 0.5 * (low + high)
        shape, total = np.exp(middle), np.zeros(draws)
        for (logs, broke), top in zip(parts, tops, strict=True):
            weight = np.exp(shape[:, None] * (logs - top[:, None]))
            total += int(broke.sum()) * (weight * logs).sum(axis=1) / weight.sum(axis=1) - logs[:, broke].sum(
                axis=1
            )
        above = total / failures - 1.0 / shape > 0.0
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    shape = np.exp(0.5 * (low + high))
    height = failures * (np.log(shape) - 1.0)
    for (logs, broke), top in zip(parts, tops, strict=True):
        powers = np.exp(shape[:, None] * (logs - top[:, None])).sum(axis=1)
        scale = top + np.log(powers / int(broke.sum())) / shape
        height += ((shape - 1.0)[:, None] * logs[:, broke]).sum(axis=1) - int(broke.sum()) * shape * scale
    return np.asarray(height, dtype=np.float64)
