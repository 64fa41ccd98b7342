"""Lower bounds for a part of the population from a small sample: normal tolerance factors.

The exact one-sided factor is t'(n - 1, z_p sqrt n; confidence) / sqrt n, the quantile of the noncentral t
distribution (Owen 1968; NIST e-Handbook 7.2.6.3; CMH-17-1G 8.5.11 for the A- and B-basis).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from breakyard.errors import UsageError


@dataclass(frozen=True, slots=True)
class BoundKind:
    """Which share of the parts must bear more than the bound, and with which confidence."""

    name: str
    content: float
    confidence: float


BOUNDS: Final = (
    BoundKind("95/95", 0.95, 0.95),
    BoundKind("90/95", 0.90, 0.95),
    BoundKind("characteristic", 0.95, 0.75),
)
"""Two tolerance bounds, and the 5 % fractile at 75 % confidence (EN 14358:2016, 3.2.2 and Table 1; ISO 12491).

90/95 is the content of CMH-17's B-basis and does not get that name: CMH-17 asks for 18 specimens or more from 3 batches
or more (B18, from memory), and nothing here knows of batches."""


@lru_cache(maxsize=512)
def one_sided_factor(n: int, content: float, confidence: float) -> float:
    """The k of "mean - k SD is exceeded by `content` of the parts, with `confidence`", n >= 2 specimens.

    Raises: UsageError for fewer than 2 specimens, or shares not between 0 and 1.
    """
    if n < 2:
        raise UsageError("one specimen shows no scatter: a tolerance bound needs at least 2")
    for share in (content, confidence):
        if not 0.0 < share < 1.0:
            raise UsageError(f"a share of {share:g} is not possible: give a number between 0 and 1, as 0.95")
    from scipy import special

    root = math.sqrt(n)
    return float(special.nctdtrit(n - 1, special.ndtri(content) * root, confidence) / root)


@lru_cache(maxsize=512)
def two_sided_factor(n: int, content: float, confidence: float) -> float:
    """The k of "mean +- k SD holds `content` of the parts, with `confidence`" (ISO 16269-6:2014, Annex F, m = 1).

    Exact: the integral over the mean's error of the chi-squared probability, solved for k.
    Raises: UsageError as for `one_sided_factor`.
    """
    if n < 2:
        raise UsageError("one specimen shows no scatter: a tolerance interval needs at least 2")
    from scipy import optimize, special

    # x: error of the mean in its own standard deviations. half: half width around it that holds the content.
    node, weight = np.polynomial.legendre.leggauss(160)
    x, weight = 4.0 * (node + 1.0), 4.0 * weight
    shift = x / math.sqrt(n)
    low, high = np.zeros(len(x)), shift + float(special.ndtri(0.5 + content / 2.0)) + 1.0
    for _ in range(60):
        half = 0.5 * (low + high)
        enough = special.ndtr(shift + half) - special.ndtr(shift - half) > content
        low, high = np.where(enough, low, half), np.where(enough, half, high)
    density = 2.0 * weight * np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)

    def missing(k: float) -> float:
        return float(density @ special.chdtrc(n - 1, (n - 1) * (half / k) ** 2)) - confidence

    return float(optimize.brentq(missing, 0.1, 1e5, xtol=1e-10))


def spread_n(
    mean_n: float, sd_n: float, n: int, *, share: float, shared_relative: float = 0.0
) -> tuple[float, float]:
    """Ends in newtons of the interval that holds `share` of the parts with confidence `share`; never below 0.

    The instrument's shared error joins as in `margin`.
    """
    from scipy import special

    z = float(special.ndtri(0.5 + share / 2.0))
    half = margin(two_sided_factor(n, share, share), z, sd_n, z * shared_relative * mean_n)
    return max(mean_n - half, 0.0), mean_n + half


def margin(factor: float, z_content: float, sd: float, shared: float) -> float:
    """How far a bound lies from the mean: `factor` SDs, and the instrument's shared error.

    The shared error is no scatter of the parts: it joins the doubt about the level, in quadrature with the part of the
    margin that is there for confidence. Without it the margin is the exact factor x SD.
    """
    for_confidence = (factor - z_content) * sd
    return z_content * sd + math.copysign(math.hypot(for_confidence, shared), for_confidence)


@dataclass(frozen=True, slots=True)
class Outlier:
    """The value farthest from its group's mean, where it lies farther than scatter alone explains.

    It is named and stays in every number: a reason to look at that pull's curve, never a reason to drop it.
    """

    specimen: str
    value_n: float
    statistic: float
    critical: float


def normed_residual(values: Sequence[float]) -> tuple[int, float, float]:
    """Index of the value farthest from the mean, its distance in SDs, and the critical distance at 5 %.

    Maximum normed residual (CMH-17-1G 8.3.3.1; Stefansky 1972). Needs 3 values or more, not all alike.
    """
    from scipy import special

    data = np.asarray(values, dtype=np.float64)
    n = len(data)
    if n < 3:
        raise UsageError("fewer than 3 values cannot show an outlier")
    sd = float(np.std(data, ddof=1))
    distance = np.abs(data - data.mean())
    index = int(np.argmax(distance))
    t = float(special.stdtrit(n - 2, 1.0 - 0.05 / (2.0 * n)))
    critical = (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))
    return index, (float(distance[index]) / sd if sd > 0.0 else 0.0), critical


def share_surviving(n: int, confidence: float) -> float:
    """Share of parts that bear the lowest of n bounds when none of n broke (success run): (1 - confidence)^(1/n)."""
    if n < 1:
        raise UsageError("no specimen shows nothing")
    return float((1.0 - confidence) ** (1.0 / n))
