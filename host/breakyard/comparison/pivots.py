"""Standard Weibull samples with a given pattern of censoring, all at once, and what their fits tell.

A pattern lists how many specimens left unbroken after each break (progressive type II censoring; all after the last
one: the weakest r of n broke). For a pattern, the fitted shape over the true one, and any likelihood ratio, have a
distribution that depends on no parameter (Viveros and Balakrishnan, Technometrics 36, 1994, 84). So it is simulated
once per pattern, with a fixed seed. Arrays are (draws, breaks), rising in each row; `weights` (breaks,) are 1 + those
that left, because a specimen that left is known to hold the last break's load.
"""

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.comparison.weibull import Sample

MANY: Final = 40
"""From this many breaks on, what was simulated for this many is carried on: its distance from the normal value falls
with the root of the number of breaks."""
SEED: Final = 19510901

HALVINGS: Final = 12
"""Of the bracket of a logarithm of shapes, which leaves it 0.01 wide: near enough for Newton's method."""

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
    draws = min(10_000, max(2_500, 100_000 // len(pattern)))
    logs = standard_samples(pattern, draws, np.random.default_rng(SEED))
    weights = 1.0 + np.asarray(pattern, dtype=np.float64)
    shape = likeliest_shapes([(logs, weights)])
    return logs, weights, shape, log_scales(logs, weights, shape)


def likeliest_shapes(parts: Sequence[tuple[Floats, Floats]]) -> Floats:
    """Likeliest common shape, row by row, with a scale for each part: root of the profile score."""
    # With the scales at their likeliest the log likelihood's derivative by the shape k, over -r (r breaks in all), is
    #     sum over parts of r_i / r  (sum w x^k ln x) / (sum w x^k)  -  1 / k  -  mean of ln x over the breaks
    # and k times its own derivative is 1 / k + k times the weighted variance of ln x (Lawless, ch. 5). Loads are
    # divided by the largest of their row, which changes neither.
    failures = sum(len(weights) for _, weights in parts)
    falls = [logs - logs.max(axis=1)[:, None] for logs, _ in parts]
    means = sum(fall.sum(axis=1) for fall in falls) / failures

    def score(log_shape: Floats) -> tuple[Floats, Floats]:
        shape = np.exp(log_shape)
        value, slope = -means - 1.0 / shape, 1.0 / shape
        for fall, (_, weights) in zip(falls, parts, strict=True):
            power = weights * np.exp(shape[:, None] * fall)
            total = power.sum(axis=1)
            mean = (power * fall).sum(axis=1) / total
            square = (power * fall * fall).sum(axis=1) / total
            share = fall.shape[1] / failures
            value = value + share * mean
            slope = slope + share * shape * (square - mean * mean)
        return value, slope

    return np.asarray(np.exp(_rising_roots(score, len(means), math.log(1e-3), math.log(1e7))))


def _rising_roots(
    function: Callable[[Floats], tuple[Floats, Floats]], rows: int, low: float, high: float
) -> Floats:
    """Roots of functions that cross zero once, upwards, row by row: halve the bracket first, then Newton's method."""
    below, above = np.full(rows, low), np.full(rows, high)
    x: Floats = 0.5 * (below + above)
    for turn in range(60):
        value, slope = function(x)
        below, above = np.where(value < 0.0, x, below), np.where(value < 0.0, above, x)
        middle = 0.5 * (below + above)
        if turn < HALVINGS:
            x = middle
            continue
        moved = x - value / slope
        moved = np.where((moved >= below) & (moved <= above), moved, middle)
        done = float(np.abs(moved - x).max()) < 1e-9
        x = moved
        if done:
            break
    return x


def log_scales(logs: Floats, weights: Floats, shape: Floats) -> Floats:
    """Logarithm of the likeliest scale for given shapes, row by row."""
    # scale^k = sum w x^k / r, from the likelihood's derivative by the scale.
    top = logs.max(axis=1)
    power = (weights * np.exp(shape[:, None] * (logs - top[:, None]))).sum(axis=1)
    return np.asarray(top + np.log(power / logs.shape[1]) / shape)


def heights(logs: Floats, weights: Floats, shape: Floats, log_scale: Floats) -> Floats:
    """Log likelihood, row by row."""
    # r ln k - r k ln(scale) + (k - 1) sum ln x - sum w (x / scale)^k: densities of the breaks, survivals of the rest.
    distance = np.minimum(shape[:, None] * (logs - log_scale[:, None]), 700.0)
    constant = logs.shape[1] * (np.log(shape) - shape * log_scale) + (shape - 1.0) * logs.sum(axis=1)
    return np.asarray(constant - (weights * np.exp(distance)).sum(axis=1))


def shapes_at_quantile(logs: Floats, weights: Floats, log_quantile: float, log_weight: float) -> Floats:
    """Likeliest shapes, row by row, when a quantile is held: root of the score."""
    # Holding the quantile q ties the scale: ln(scale) = ln q - c / k with c = ln(-ln(share that holds q)), which is
    # `log_weight`. With y = ln(x / q) the derivative by k is r / k + sum y - sum w y exp(k y + c).
    y = logs - log_quantile
    total = y.sum(axis=1)

    def score(log_shape: Floats) -> tuple[Floats, Floats]:
        shape = np.exp(log_shape)
        pull = weights * y * np.exp(np.minimum(shape[:, None] * y + log_weight, 600.0))
        # Divided by the number of breaks over the shape, so that it rises from -1 and is nearly linear in the end.
        falling = pull.sum(axis=1) - total
        value = shape * falling / logs.shape[1] - 1.0
        slope = shape * (falling + shape * (pull * y).sum(axis=1)) / logs.shape[1]
        return value, np.where(slope > 0.0, slope, 1.0)

    return np.asarray(np.exp(_rising_roots(score, len(logs), math.log(1e-6), math.log(1e8))))


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
    # sign(estimate - true) sqrt(2 (l(estimate) - l(true))), l the profile log likelihood: the directed likelihood
    # (Barndorff-Nielsen and Cox, Inference and Asymptotics, 1994, ch. 6). Here the true scale and shape are 1.
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
