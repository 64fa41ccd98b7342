"""Lower bounds for a part of the population: of every curve that the loads leave plausible, the lowest.

With few specimens nobody can tell a normal from a Weibull curve, yet their lower tails differ much: for brittle parts a
normal bound that is called 95 % sure holds in 78 to 88 % of groups. Each curve gives its exact bound for complete
groups. For groups with "at least" its small-sample law is simulated for the pattern of breaks and losses (reference.py,
weibull_intervals.py), and the loads enter as that pattern: a specimen that held on is known to have held the break
before it. How much more it held says nothing of the weak ones; taken in, it would only widen the curve and pull the
bound down, as if a strong specimen made the others weaker.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from breakyard.comparison.goodness import CURVES, Curve, fits
from breakyard.comparison.log_linear import Floats, fit_rows
from breakyard.comparison.pivots import Pattern, pattern_of
from breakyard.comparison.reference import standard_group
from breakyard.comparison.tolerance import BoundKind, margin, one_sided_factor
from breakyard.comparison.weibull import Sample, WeibullFit, fit_weibull, sample_of
from breakyard.comparison.weibull_intervals import quantile_lower_bound

IMPLAUSIBLE: Final = 0.05
"""Observed significance level below which a curve is left aside (CMH-17-1G, 8.3.4)."""

LEAST_LOG_SCATTER: Final = {"characteristic": 0.05}
"""EN 14358:2016, 3.2.2 c) and d), formula (3): the characteristic value is that of a log-normal curve whose logarithms
scatter by 0.05 or more (read in a public calculation that quotes the clauses, not in the standard): a handful of
specimens that happen to agree proves no small scatter."""


@dataclass(frozen=True, slots=True)
class CurveBound:
    """A bound by one curve. value_n is None where the curve gives none above nothing."""

    curve: Curve
    value_n: float | None


@dataclass(frozen=True, slots=True)
class Loads:
    """One group's loads as the bounds need them: breaks, and bounds moved down to the break before them."""

    values: tuple[float, ...]
    sample: Sample
    weibull: WeibullFit | None
    complete: bool
    own_n: float
    """Typical standard uncertainty of one pull by itself."""
    shared: float
    """Relative standard uncertainty that all pulls have in common."""

    @property
    def own_relative(self) -> float:
        """The same over the mean load."""
        return self.own_n * len(self.values) / sum(self.values)


def loads_of(values: Sequence[float], at_least: Sequence[bool], own_n: float, shared: float) -> Loads:
    """Prepare a group's loads in newtons; bounds below the first break tell nothing and are left out."""
    breaks = np.sort([value for value, held in zip(values, at_least, strict=True) if not held])
    moved: list[tuple[float, bool]] = []
    for value, held in zip(values, at_least, strict=True):
        before = int(np.searchsorted(breaks, value, side="right"))
        if not held or not len(breaks):
            moved.append((float(value), held))
        elif before:
            moved.append((float(breaks[before - 1]), True))
    kept, bounds = [value for value, _ in moved], [bound for _, bound in moved]
    return Loads(
        tuple(kept), sample_of(kept, bounds), fit_weibull(kept, bounds), not any(at_least), own_n, shared
    )


def plausible_curves(values: Sequence[float]) -> tuple[tuple[Curve, ...], bool]:
    """Curves that complete loads do not speak against, and whether any fits; all of them where none does."""
    levels = {curve: fits(curve, values) for curve in CURVES}
    kept = tuple(curve for curve, level in levels.items() if level is None or level >= IMPLAUSIBLE)
    return kept or CURVES, bool(kept)


def curve_bounds(loads: Loads, kind: BoundKind, curves: Sequence[Curve]) -> tuple[CurveBound, ...]:
    """The bound of each of these curves."""
    return tuple(CurveBound(curve, _bound(loads, kind, curve)) for curve in curves)


def lowest(bounds: Sequence[CurveBound]) -> CurveBound | None:
    """The lowest of those that are loads at all: a normal curve that reaches below nothing is none of strengths."""
    known = [one for one in bounds if one.value_n is not None]
    return min(known or bounds, key=lambda one: one.value_n or 0.0, default=None)


def _bound(loads: Loads, kind: BoundKind, curve: Curve) -> float | None:
    from scipy import special

    z_sure = float(special.ndtri(kind.confidence))
    if curve == "weibull":
        if loads.weibull is None:
            return None
        value = quantile_lower_bound(loads.sample, loads.weibull, 1.0 - kind.content, kind.confidence)
        if value is None:
            return None
        likeliest = loads.weibull.quantile_n(1.0 - kind.content)
        return likeliest * math.exp(-math.hypot(math.log(likeliest / value), z_sure * loads.shared))
    normal = curve == "normal"
    unit = max(loads.values)
    shown: Floats = np.asarray(loads.values) / unit if normal else np.log(np.asarray(loads.values) / unit)
    least = loads.own_n / unit if normal else loads.own_relative
    if not normal:
        least = max(least, LEAST_LOG_SCATTER.get(kind.name, 0.0))
    if loads.complete:
        # About one of the values: digits that all share would be lost.
        level = float(np.mean(shown - shown[0]) + shown[0])
        sd = float(np.std(shown - shown[0], ddof=1))
        factor = one_sided_factor(len(shown), kind.content, kind.confidence)
    else:
        fit = fit_rows(
            np.ones((len(shown), 1)), shown[None, :], loads.sample.broke, "log-normal", least_scale=1e-9
        )
        level, sd = float(fit.coefficients[0, 0]), float(fit.scale[0])
        factor = censored_factor(pattern_of(loads.sample), kind.content, kind.confidence)
    sd = max(sd, least)
    z_content = float(special.ndtri(kind.content))
    shared = z_sure * loads.shared * (level if normal else 1.0)
    bound = level - margin(factor, z_content, sd, shared)
    if normal:
        return unit * bound if bound > 0.0 else None
    return unit * math.exp(max(bound, -700.0))


@lru_cache(maxsize=256)
def censored_factor(pattern: Pattern, content: float, confidence: float) -> float:
    """The k of "level - k scale, both fitted with the bounds, is exceeded by `content` of the parts": simulated.

    Tolerance factor of a normal sample broken and left in this pattern, as `one_sided_factor` is of a complete one.
    """
    from scipy import special

    fits_of = standard_group("log-normal", pattern, 5)
    true = -float(special.ndtri(content))
    return float(np.quantile((fits_of.coefficients[:, 0] - true) / fits_of.scale, confidence))
