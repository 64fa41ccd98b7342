"""What one, two, three specimens can and can't show."""

import math
from dataclasses import dataclass

from breakyard.errors import UsageError
from breakyard.plan.specimens import check, smallest_difference


@dataclass(frozen=True, slots=True)
class Shows:
    """What n specimens of a group can and can't show, at a given scatter; shares of the mean."""

    n: int
    mean_within: float | None
    """Half width of the interval of the mean."""
    difference: float | None
    """Smallest difference to an equal group that is found with the wanted power."""
    bound: float | None
    """The 95/95 bound as a share of the mean; None where there is none above zero."""
    scatter_low: float | None
    scatter_high: float | None
    """The true scatter may be this many times the one seen."""
    weakest_is_weak: float
    """Chance that the weakest of them is among the weakest 5 % of all such parts."""


def shows(
    n: int, cv: float, *, confidence: float = 0.95, power_wanted: float = 0.8, groups: int = 2
) -> Shows:
    """What n specimens per group tell. One tells its own load, and nothing about scatter or the next one."""
    check(difference=cv, cv=cv, confidence=confidence, groups=groups)
    if n < 1:
        raise UsageError("a group needs at least one specimen")
    weakest = 1.0 - 0.95**n
    if n == 1:
        return Shows(1, None, None, None, None, None, weakest)
    from scipy import special, stats

    t = float(special.stdtrit(n - 1, 0.5 + confidence / 2.0))
    root = math.sqrt(n)
    factor = float(stats.nct.ppf(0.95, n - 1, stats.norm.ppf(0.95) * root) / root)
    bound = 1.0 - factor * cv
    low, high = (
        float(stats.chi2.ppf(share, n - 1)) for share in (0.5 - confidence / 2.0, 0.5 + confidence / 2.0)
    )
    return Shows(
        n,
        t * cv / root,
        smallest_difference(n, cv, confidence=confidence, power_wanted=power_wanted, groups=groups),
        bound if bound > 0.0 else None,
        math.sqrt((n - 1) / high),
        math.sqrt((n - 1) / low),
        weakest,
    )


@dataclass(frozen=True, slots=True)
class SinglePull:
    """What has to be true for one specimen against one to mean anything."""

    cv: float
    difference: float
    """Smallest relative difference of two single specimens that scatter alone rarely makes (1 - confidence)."""


def single_pull(cv: float, *, confidence: float = 0.95) -> SinglePull:
    """One against one, with a scatter that is known from elsewhere: exp(z sqrt 2 CV) - 1."""
    from scipy import special

    check(difference=cv, cv=cv, confidence=confidence, groups=2)
    return SinglePull(cv, math.expm1(float(special.ndtri(0.5 + confidence / 2.0)) * math.sqrt(2.0) * cv))


@dataclass(frozen=True, slots=True)
class PastScatter:
    """A scatter from past sessions: as seen, and the one to plan with."""

    cv: float
    degrees_of_freedom: int
    cautious_cv: float


def cautious_scatter(cv: float, degrees_of_freedom: int) -> PastScatter:
    """The upper 80 % limit of a scatter that was itself seen in few specimens.

    Planning with the scatter as seen ends with too little power half of the time (Browne, Statistics in Medicine 14,
    1995, 1933). Raises: UsageError without degrees of freedom.
    """
    if degrees_of_freedom < 1 or not cv > 0.0:
        raise UsageError("those sessions show no scatter: a group of two or more broken specimens is needed")
    from scipy import stats

    lowest = float(stats.chi2.ppf(0.2, degrees_of_freedom))
    return PastScatter(cv, degrees_of_freedom, cv * math.sqrt(degrees_of_freedom / lowest))
