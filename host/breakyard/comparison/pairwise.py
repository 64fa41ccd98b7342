"""Two groups against each other, each with its own scatter: Welch's t, and the Games-Howell probability for all pairs.

Games and Howell, J. Educ. Statist. 1 (1976) 113: studentized range with Welch's degrees of freedom (Welch 1938;
Satterthwaite 1946). For two groups it is Welch's test exactly.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from breakyard.comparison.groups import scatter_n
from breakyard.comparison.instrument import own_standard_n, ratio_standard
from breakyard.comparison.observations import Observation
from breakyard.comparison.permute import Permutation, rank_test
from breakyard.comparison.studentized import interval_factor, two_sided_probability


@dataclass(frozen=True, slots=True)
class Welch:
    """Difference of two means (first minus second), all for the whole family of pairs."""

    difference: float
    low: float
    high: float
    t: float
    degrees_of_freedom: float
    p: float
    """Games-Howell over the family of `groups` groups."""
    p_single: float
    """Welch's test of this pair alone."""


def welch(
    first: Sequence[float],
    second: Sequence[float],
    *,
    groups: int = 2,
    coverage: float = 0.95,
    least_sd: tuple[float, float] = (0.0, 0.0),
    instrument: float = 0.0,
) -> Welch | None:
    """Compare two means whatever the scatter of each; None where a group has one value, or neither shows scatter.

    least_sd: what each group's values scatter at least. instrument: a standard uncertainty of the difference itself.
    """
    if min(len(first), len(second)) < 2:
        return None
    sd_a, sd_b = (
        max(scatter_n(values), least) for values, least in zip((first, second), least_sd, strict=True)
    )
    # Relative to the larger scatter, so that squares of very large or small values stay in range.
    unit = max(sd_a, sd_b)
    if unit == 0.0:
        return None
    part_a, part_b = (sd_a / unit) ** 2 / len(first), (sd_b / unit) ** 2 / len(second)
    error, freedom = _error(part_a, part_b, len(first), len(second), (instrument / unit) ** 2)
    error *= unit
    # About one of the values: digits that all of them share would be lost.
    origin = first[0]
    difference = float(np.mean(np.asarray(first) - origin) - np.mean(np.asarray(second) - origin))
    half = interval_factor(groups, freedom, coverage) * error
    t = difference / error
    return Welch(
        difference=difference,
        low=difference - half,
        high=difference + half,
        t=t,
        degrees_of_freedom=freedom,
        p=two_sided_probability(groups, freedom, t),
        p_single=two_sided_probability(2, freedom, t),
    )


@dataclass(frozen=True, slots=True)
class OwnScatter:
    """Ratio of two groups' typical loads (geometric means), each group with its own scatter; for the whole family."""

    ratio: float
    ratio_low: float
    ratio_high: float
    t: float
    degrees_of_freedom: float
    p: float
    """Games-Howell over the family of `groups` groups."""
    p_single: float
    """Welch's test of this pair alone."""


def own_scatter(
    first: Sequence[Observation], second: Sequence[Observation], *, groups: int = 2, coverage: float = 0.95
) -> OwnScatter | None:
    """Welch's test on the logarithms of two groups in which every specimen broke; None otherwise.

    On logarithms the interval of the ratio and the test are one thing: both ends are positive, swap with the groups,
    and leave out 1 where p is below the risk. What the instrument leaves on the ratio joins the standard error; what
    both groups share does not. A group that scatters less than its pulls' own uncertainty is taken to scatter so much.
    """
    if any(pull.at_least for pull in (*first, *second)):
        return None
    logs = [[math.log(pull.value_n) for pull in pulls] for pulls in (first, second)]
    least = [own_standard_n(pulls) * len(pulls) / sum(p.value_n for p in pulls) for pulls in (first, second)]
    found = welch(
        *logs,
        groups=groups,
        coverage=coverage,
        least_sd=(least[0], least[1]),
        instrument=ratio_standard(first, second),
    )
    if found is None:
        return None
    return OwnScatter(
        ratio=math.exp(found.difference),
        ratio_low=math.exp(max(found.low, -700.0)),
        ratio_high=math.exp(min(found.high, 700.0)),
        t=found.t,
        degrees_of_freedom=found.degrees_of_freedom,
        p=found.p,
        p_single=found.p_single,
    )


def _error(part_a: float, part_b: float, n_a: int, n_b: int, instrument: float) -> tuple[float, float]:
    """Standard error, and Welch-Satterthwaite degrees of freedom of the scatter alone.

    Counting the instrument's part as well known would raise the degrees of freedom, so that an added error could make a
    difference of very few specimens look surer.
    """
    scatter = part_a + part_b
    doubt = (part_a / scatter) ** 2 / (n_a - 1) + (part_b / scatter) ** 2 / (n_b - 1)
    return math.sqrt(scatter + instrument), 1.0 / doubt


@dataclass(frozen=True, slots=True)
class Ranks:
    """Rank-sum test; `exact` tells whether its probability comes from listing every arrangement."""

    p: float
    smallest_p: float | None
    """What complete separation would have given; None where arrangements were not listed."""
    exact: bool


def ranks(first: Sequence[Observation], second: Sequence[Observation]) -> Ranks | None:
    """Rank-sum test of two complete groups; None where anything is only "at least"."""
    if any(pull.at_least for pull in (*first, *second)):
        return None
    a = np.array([pull.value_n for pull in first])
    b = np.array([pull.value_n for pull in second])
    p, listed = rank_test(a, b)
    return _ranks(p, listed)


def _ranks(p: float, listed: Permutation | None) -> Ranks:
    return Ranks(p, None if listed is None else listed.smallest_p, listed is not None)


@dataclass(frozen=True, slots=True)
class Beats:
    """Probability that the next specimen of the first group bears more than the next of the second."""

    probability: float
    """Over the doubt about both groups (predictive)."""
    low: float
    high: float
    """Interval of the probability itself."""
    method: str
    """ "normal", or "weibull" where some specimens are only "at least"; generalised pivots either way."""


def beats(
    first: Sequence[Observation], second: Sequence[Observation], *, coverage: float = 0.95
) -> Beats | None:
    """For two complete groups of two or more: next against next; None otherwise.

    The estimate counts the doubt about means and scatter (predictive distribution); the interval is that of
    P(X > Y) itself, by the generalised pivots of Weerahandi and Johnson 1992 with a fixed seed.
    """
    if min(len(first), len(second)) < 2 or any(pull.at_least for pull in (*first, *second)):
        return None
    from scipy import special

    a, b = [pull.value_n for pull in first], [pull.value_n for pull in second]
    unit = max(*a, *b)
    sd_a = max(scatter_n(a), own_standard_n(first)) / unit
    sd_b = max(scatter_n(b), own_standard_n(second)) / unit
    if sd_a == 0.0 and sd_b == 0.0:
        return None
    generator = np.random.default_rng(19450601)
    draws = 20_000
    gap = (float(np.mean(a)) - float(np.mean(b))) / unit
    spread_a = sd_a * np.sqrt((len(a) - 1) / generator.chisquare(len(a) - 1, draws))
    spread_b = sd_b * np.sqrt((len(b) - 1) / generator.chisquare(len(b) - 1, draws))
    centre = (
        gap
        + generator.standard_normal(draws) * spread_a / math.sqrt(len(a))
        - generator.standard_normal(draws) * spread_b / math.sqrt(len(b))
    )
    chance = special.ndtr(centre / np.hypot(spread_a, spread_b))
    low, high = np.quantile(chance, [0.5 - coverage / 2.0, 0.5 + coverage / 2.0])
    return Beats(float(chance.mean()), float(low), float(high), "normal")
