"""Student's t and the studentized range as tests and interval factors for a family of groups.

P(Q > q) is the double integral of the definition (Tukey; Lund and Lund, Applied Statistics 32, 1983, AS 190), summed by
the trapezoidal rule, which is as good as exact for integrands that fade at both ends. scipy's own quantile takes half a
second each, too long for every pair of ten groups.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def two_sided_probability(groups: int, freedom: float, t: float) -> float:
    """Probability that any of the family's pairs gives so large a |t|; Student's own with two groups."""
    from scipy import special

    if groups == 2:
        return float(2.0 * special.stdtr(freedom, -abs(t)))
    return range_tail(math.sqrt(2.0) * abs(t), groups, freedom)


@lru_cache(maxsize=4096)
def interval_factor(groups: int, freedom: float, coverage: float) -> float:
    """How many standard errors an interval reaches out: t, or q / sqrt(2) for a family of groups."""
    from scipy import optimize, special

    if groups == 2:
        return float(special.stdtrit(freedom, 0.5 + coverage / 2.0))
    risk = 1.0 - coverage
    # Not below a single pair's t, nor above that of all pairs by Bonferroni.
    low = float(special.stdtrit(freedom, 1.0 - risk / 2.0))
    high = float(special.stdtrit(freedom, 1.0 - risk / (groups * (groups - 1))))
    return float(
        optimize.brentq(
            lambda t: range_tail(math.sqrt(2.0) * t, groups, freedom) - risk,
            0.999 * low,
            1.001 * high,
            rtol=1e-9,
        )
    )


def range_tail(q: float, groups: int, freedom: float) -> float:
    """Upper tail of the studentized range of this many groups, q >= 0, any degrees of freedom above zero."""
    scale, scale_weight = _scales(freedom)
    z, z_weight, below = _normal_nodes()
    within = below[None, :] - _ndtr(z[None, :] - q * scale[:, None])
    # Range of k standard normals within w: k times the integral of phi(z) (Phi(z) - Phi(z - w))^(k - 1).
    inside = groups * (np.maximum(within, 0.0) ** (groups - 1)) @ z_weight
    return min(max(1.0 - float(scale_weight @ inside), 0.0), 1.0)


@lru_cache(maxsize=256)
def _scales(freedom: float) -> tuple[Floats, Floats]:
    """Nodes of s = sqrt(chi-squared / freedom), even in log s, and their probabilities."""
    from scipy import optimize

    def height(t: float) -> float:
        return freedom * (t - 0.5 * math.expm1(2.0 * t))

    low = float(optimize.brentq(lambda t: height(t) + 40.0, -60.0 / freedom - 20.0, 0.0))
    high = float(optimize.brentq(lambda t: height(t) + 40.0, 0.0, 3.0 + 10.0 / math.sqrt(freedom)))
    t = np.linspace(low, high, 320)
    weight = np.exp(freedom * (t - 0.5 * np.expm1(2.0 * t)))
    return np.exp(t), weight / weight.sum()


@lru_cache(maxsize=1)
def _normal_nodes() -> tuple[Floats, Floats, Floats]:
    z = np.linspace(-8.5, 8.5, 137)
    weight = np.exp(-0.5 * z * z)
    return z, weight / weight.sum(), _ndtr(z)


def _ndtr(z: Floats) -> Floats:
    from scipy import special

    return np.asarray(special.ndtr(z), dtype=np.float64)
