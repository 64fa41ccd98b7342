"""Standard Weibull samples with a given pattern of censoring, all at once, and what their fits tell.

A pattern lists how many specimens left unbroken after each break (progressive type II censoring; all after the last
one: the weakest r of n broke). For a pattern, the fitted shape over the true one, and any likelihood ratio, have a
distribution that depends on no parameter (Viveros and Balakrishnan, Technometrics 36, 1994, 84). So it is simulated
once per pattern, with a fixed seed. Arrays are (draws, breaks), rising in each row; `weights` (breaks,) are 1 + those
that left, because a specimen that left is known to hold the last break's load.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.compare.weibull import Sample

MANY: Final = 40
"""From this many breaks on, what was simulated for this many is carried on: its distance from the normal value falls
with the root of the number of breaks."""
SEED: Final = 19510901

Pattern = tuple[int, ...]
Floats = NDArray[np.float64]


def pattern_of(sample: Sample) -> Pattern:
    """How many left unbroken after each break, in rising order of loads; those below the first break tell nothing."""
    breaks = np.sort(sample.log_load[sample.broke])
    after = np.searchsorted(breaks, sample.log_load[~sample.broke], side="right")
    return tuple(int(count) for count in np.bincount(after, minlength=len(breaks) + 1)[1:])


def thinned(pattern: Pattern) -> Pattern:
    """A pattern of MANY breaks that loses specimens at the same pace as a longer one."""
    pace = np.concatenate([[0.0], np.cumsum(pattern)]) * MANY / len(pattern)
    kept = np.rint(np.interp(np.linspace(0.0, len(pattern), MANY + 1), np.arange(len(pattern) + 1), pace))
    return tuple(int(count) for count in np.diff(kept))


def standard_samples(pattern: Pattern, draws: int, generator: np.random.Generator) -> Floats:
    """Logarithms of the breaking loads of samples from the standard curve S(x) = exp(-x).

    By the spacings of exponential order statistics: between two breaks the load grows by an exponential over the
    number of specimens still in the test.
    """
    left = np.array([sum(pattern[i:]) + len(pattern) - i for i in range(len(pattern))], dtype=np.float64)
    grown = np.cumsum(generator.standard_exponential((draws, len(pattern))) / left, axis=1)
    return np.asarray(np.log(grown))


@lru_cache(maxsize=32)
def standard_fits(pattern: Pattern) -> tuple[Floats, Floats, Floats, Floats]:
    """Samples (draws, breaks), weights (breaks,), and the fitted shapes and logarithms of scales (draws,)."""
    draws = min(10_000, max(4_000, 400_000 // len(pattern)))
    logs = standard_samples(pattern, draws, np.random.default_rng(SEED))
    weights = 1.0 + np.asarray(pattern, dtype=np.float64)
    shape = likeliest_shapes([(logs, weights)])
    return logs, weights, shape, log_scales(logs, weights, shape)


def likeliest_shapes(parts: Sequence[tuple[Floats, Floats]]) -> Floats:
    """Likeliest common shape, row by row, with a scale for each part: the profile score rises, so bisect."""
    draws = len(parts[0][0])
    failures = sum(len(weights) for _, weights in parts)
    low, high = np.full(draws, math.log(1e-3)), np.full(draws, math.log(1e7))
    for _ in range(50):
        middle = 0.5 * (low + high)
        total = np.zeros(draws)
        for logs, weights in parts:
            power = weights * np.exp(np.exp(middle)[:, None] * (logs - logs.max(axis=1)[:, None]))
            total += logs.shape[1] * (power * logs).sum(axis=1) / power.sum(axis=1) - logs.sum(axis=1)
        above = total / failures - np.exp(-middle) > 0.0
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    return np.asarray(np.exp(0.5 * (low + high)))


def log_scales(logs: Floats, weights: Floats, shape: Floats) -> Floats:
    """Logarithm of the likeliest scale for given shapes, row by row."""
    top = logs.max(axis=1)
    power = (weights * np.exp(shape[:, None] * (logs - top[:, None]))).sum(axis=1)
    return np.asarray(top + np.log(power / logs.shape[1]) / shape)


def heights(logs: Floats, weights: Floats, shape: Floats, log_scale: Floats) -> Floats:
    """Log likelihood, row by row."""
    distance = np.minimum(shape[:, None] * (logs - log_scale[:, None]), 700.0)
    constant = logs.shape[1] * (np.log(shape) - shape * log_scale) + (shape - 1.0) * logs.sum(axis=1)
    return np.asarray(constant - (weights * np.exp(distance)).sum(axis=1))


def shapes_at_quantile(logs: Floats, weights: Floats, log_quantile: float, log_weight: float) -> Floats:
    """Likeliest shapes, row by row, when a quantile is held: the score falls with the shape, so bisect."""
    y = logs - log_quantile
    total = y.sum(axis=1)
    low, high = np.full(len(logs), math.log(1e-6)), np.full(len(logs), math.log(1e8))
    for _ in range(56):
        middle = 0.5 * (low + high)
        shape = np.exp(middle)
        pull = (weights * y * np.exp(np.minimum(shape[:, None] * y + log_weight, 600.0))).sum(axis=1)
        rising = logs.shape[1] / shape + total - pull > 0.0
        low, high = np.where(rising, middle, low), np.where(rising, high, middle)
    return np.asarray(np.exp(0.5 * (low + high)))


@lru_cache(maxsize=256)
def critical_roots(pattern: Pattern, share: float | None, tail: float) -> tuple[float, float]:
    """Limits between which the signed root of the likelihood ratio lies but for `tail` on either side.

    share: of the quantile; None for the shape. The root is positive where the estimate lies above the true value.
    """
    if len(pattern) > MANY:
        from scipy import special

        z = float(special.ndtri(1.0 - tail))
        low, high = critical_roots(thinned(pattern), share, tail)
        shrink = math.sqrt(MANY / len(pattern))
        return -z + (low + z) * shrink, z + (high - z) * shrink
    low, high = np.quantile(_roots(pattern, share), [tail, 1.0 - tail])
    return float(low), float(high)


@lru_cache(maxsize=64)
def _roots(pattern: Pattern, share: float | None) -> Floats:
    """Signed roots of many samples of the standard curve."""
    logs, weights, shape, log_scale = standard_fits(pattern)
    top = heights(logs, weights, shape, log_scale)
    if share is None:
        ones = np.ones(len(logs))
        held = heights(logs, weights, ones, log_scales(logs, weights, ones))
        sign = np.sign(np.log(shape))
    else:
        log_weight = math.log(-math.log1p(-share))  # also the quantile's own logarithm on the standard curve
        constrained = shapes_at_quantile(logs, weights, log_weight, log_weight)
        held = heights(logs, weights, constrained, log_weight - log_weight / constrained)
        sign = np.sign(log_scale + log_weight / shape - log_weight)
    roots = sign * np.sqrt(np.maximum(2.0 * (top - held), 0.0))
    roots.flags.writeable = False
    return np.asarray(roots, dtype=np.float64)
