"""What one specimen can tell: not which group is stronger, but what would have to be true for the order to hold."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from breakyard.comparison.groups import Group
from breakyard.comparison.instrument import ratio_standard

USUAL_SCATTER: Final = (0.02, 0.05, 0.10, 0.20)
"""Coefficients of variation for which the smallest distinguishable difference is given."""


@dataclass(frozen=True, slots=True)
class AtScatter:
    """Two single specimens with this scatter differ by at least `difference` (a share) only 1 time in 20 by chance."""

    cv: float
    difference: float


@dataclass(frozen=True, slots=True)
class Single:
    """The conditions on which an order of two groups, one of them a single specimen, would rest."""

    ratio: float
    """Of the loads seen, first over second; the median of a group that holds bounds, its highest bound without one."""
    order_seen: bool
    """False where the loads are alike, or the weaker one only "at least": then there is no order to speak of."""
    holds_below_cv: float | None
    """The order holds, at the coverage asked for, if specimens scatter less than this; None: at no scatter."""
    at_scatter: tuple[AtScatter, ...]
    group_difference: float | None
    """With one group's own scatter taken for both: smallest difference that the single specimen would need."""


def single(first: Group, second: Group, *, coverage: float = 0.95) -> Single:
    """Say what one specimen of either group (or of both) leaves open."""
    from scipy import special

    z = float(special.ndtri(0.5 + coverage / 2.0))
    residual = ratio_standard(first.pulls, second.pulls)
    level_a, level_b = _level(first), _level(second)
    # Each mean scatters by CV / sqrt(n); the logarithm of the ratio by both together.
    weight = math.sqrt(1.0 / first.n + 1.0 / second.n)
    room = (math.log(level_a / level_b) / z) ** 2 - residual**2
    weaker = first if level_a < level_b else second
    seen = level_a != level_b and (weaker.at_least == 0 or weaker.weibull is not None)
    return Single(
        ratio=level_a / level_b,
        order_seen=seen,
        holds_below_cv=math.sqrt(room) / weight if seen and room > 0.0 else None,
        at_scatter=tuple(
            AtScatter(cv, math.expm1(z * math.hypot(weight * cv, residual))) for cv in USUAL_SCATTER
        ),
        group_difference=_from_scatter(
            [group for group in (first, second) if group.cv], weight, residual, coverage
        ),
    )


def _level(group: Group) -> float:
    if group.mean_n is not None:
        return group.mean_n
    return group.max_n if group.weibull is None else group.weibull.median_n


def _from_scatter(known: Sequence[Group], weight: float, residual: float, coverage: float) -> float | None:
    """Student's t for a single value against a group's mean (prediction interval), as a share."""
    if len(known) != 1 or known[0].cv is None:
        return None
    from scipy import special

    t = float(special.stdtrit(known[0].n - 1, 0.5 + coverage / 2.0))
    return math.expm1(min(t * math.hypot(weight * known[0].cv, residual), 700.0))
