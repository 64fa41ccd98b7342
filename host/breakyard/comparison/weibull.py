"""Weibull strength by maximum likelihood, with right-censored ("at least") values.

S(x) = exp(-(x / scale)^shape), Weibull 1951; likelihood with censoring as in Lawless, Statistical Models and Methods
for Lifetime Data, ch. 5. All work is done on loads divided by the largest one: x^shape of raw newtons overflows.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import DataError

STEEPEST: Final = 1e5
"""Shapes above this (a scatter below about 0.001 %) are no scatter at all: the loads were rounded alike."""


@dataclass(frozen=True, slots=True)
class Sample:
    """Censored loads over the largest: log of each (n,), which of them broke (n,), and the largest in newtons."""

    log_load: NDArray[np.float64]
    broke: NDArray[np.bool_]
    unit_n: float

    @property
    def failures(self) -> int:
        """How many broke."""
        return int(self.broke.sum())


@dataclass(frozen=True, slots=True)
class WeibullFit:
    """The likeliest Weibull curve, with the logarithm of its likelihood (of densities per newton)."""

    shape: float
    scale_n: float
    log_likelihood: float
    n: int
    failures: int

    def quantile_n(self, share: float) -> float:
        """Load below which this share of the parts breaks."""
        return self.scale_n * float((-math.log1p(-share)) ** (1.0 / self.shape))


def sample_of(values: Sequence[float], at_least: Sequence[bool]) -> Sample:
    """Prepare loads in newtons. Raises: DataError if there are none, or one is not above zero."""
    load = np.asarray(values, dtype=np.float64)
    if load.size == 0 or not np.all(np.isfinite(load)) or np.any(load <= 0.0):
        raise DataError("a Weibull curve needs loads above zero")
    largest = float(load.max())
    broke = ~np.asarray(at_least, dtype=np.bool_)
    logs = np.log(load / largest)
    logs.flags.writeable = broke.flags.writeable = False
    return Sample(logs, broke, largest)


def fit_weibull(values: Sequence[float], at_least: Sequence[bool] | None = None) -> WeibullFit | None:
    """The maximum of the likelihood, or None where it has none.

    It has none with fewer than two breaks, or where all that broke did so at one load that nothing exceeds.
    Raises: DataError for loads that are not above zero.
    """
    sample = sample_of(values, at_least if at_least is not None else [False] * len(values))
    if sample.failures < 2:
        return None
    shape = likeliest_shape(sample)
    if shape is None:
        return None
    log_scale = math.log(float(np.exp(shape * sample.log_load).sum()) / sample.failures) / shape
    height = log_likelihood(sample, shape, log_scale) - sample.failures * math.log(sample.unit_n)
    return WeibullFit(
        shape, math.exp(log_scale) * sample.unit_n, height, len(sample.log_load), sample.failures
    )


def likeliest_shape(sample: Sample) -> float | None:
    """Root of the profile score in the shape; it rises with the shape, so the root is the only one."""
    from scipy import optimize

    mean_log = float(sample.log_load[sample.broke].mean())
    if mean_log > -1.0 / STEEPEST:
        return None

    # (sum x^k ln x) / (sum x^k) - 1 / k - mean of ln x over the breaks, sums over all (Lawless, ch. 5).
    def score(log_shape: float) -> float:
        weight = np.exp(math.exp(log_shape) * sample.log_load)
        return float((weight @ sample.log_load) / weight.sum()) - math.exp(-log_shape) - mean_log

    low, high = math.log(1e-3), math.log(10.0 * STEEPEST)
    if score(low) >= 0.0 or score(high) <= 0.0:
        return None
    return math.exp(float(optimize.brentq(score, low, high, xtol=1e-13, rtol=1e-13)))


def log_likelihood(sample: Sample, shape: float, log_scale: float) -> float:
    """Log likelihood of the sample in its own unit; log_scale likewise. Minus infinity far away, never an overflow."""
    distance = shape * (sample.log_load - log_scale)
    if float(distance.max()) > 700.0:
        return -math.inf
    logs = sample.log_load[sample.broke]
    constant = sample.failures * (math.log(shape) - shape * log_scale) + (shape - 1.0) * float(logs.sum())
    return constant - float(np.exp(distance).sum())
