"""One scatter for several groups, and whether any of them differ at all."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from breakyard.errors import UsageError


@dataclass(frozen=True, slots=True)
class OneWay:
    """Classic one-way analysis of variance (equal scatter assumed)."""

    between_ss: float
    between_df: int
    within_ss: float
    within_df: int
    f: float | None
    """None where there is no scatter within the groups."""
    p: float | None

    @property
    def pooled_sd(self) -> float:
        """Scatter within the groups, in the unit of the values."""
        return math.sqrt(self.within_ss / self.within_df)


@dataclass(frozen=True, slots=True)
class WelchF:
    """Welch's test that all means are equal, whatever the scatter of each group (Biometrika 38, 1951, 330)."""

    f: float
    between_df: int
    within_df: float
    p: float


def one_way(groups: Sequence[Sequence[float]]) -> OneWay:
    """Analyse the groups. Raises: UsageError with fewer than two groups or no group of two."""
    data = [np.asarray(group, dtype=np.float64) for group in groups]
    total = sum(len(group) for group in data)
    if len(data) < 2 or any(len(group) == 0 for group in data) or total <= len(data):
        raise UsageError("scatter within groups needs two groups or more, and one with two specimens or more")
    # Around a value of the data itself: leading digits that all values share would eat up the precision.
    origin = float(data[0][0])
    data = [group - origin for group in data]
    grand = sum(float(group.sum()) for group in data) / total
    between = sum(len(group) * (float(group.mean()) - grand) ** 2 for group in data)
    within = sum(float(((group - group.mean()) ** 2).sum()) for group in data)
    upper, lower = len(data) - 1, total - len(data)
    if within == 0.0:
        return OneWay(between, upper, within, lower, None, None)
    from scipy import special

    f = (between / upper) / (within / lower)
    return OneWay(between, upper, within, lower, f, float(special.fdtrc(upper, lower, f)))


def welch_f(groups: Sequence[Sequence[float]]) -> WelchF | None:
    """Welch's F; None where a group has fewer than two values or no scatter."""
    data = [np.asarray(group, dtype=np.float64) for group in groups]
    if len(data) < 2 or any(len(group) < 2 or float(np.ptp(group)) == 0.0 for group in data):
        return None
    from scipy import special

    k = len(data)
    size = np.array([len(group) for group in data], dtype=np.float64)
    mean = np.array([float(group.mean()) for group in data])
    weight = size / np.array([float(group.var(ddof=1)) for group in data])
    share = weight / weight.sum()
    spread = float(((1.0 - share) ** 2 / (size - 1.0)).sum())
    between = float((weight * (mean - float(share @ mean)) ** 2).sum()) / (k - 1)
    f = between / (1.0 + 2.0 * (k - 2) / (k * k - 1.0) * spread)
    within_df = (k * k - 1.0) / (3.0 * spread)
    return WelchF(f, k - 1, within_df, float(special.fdtrc(k - 1, within_df, f)))
