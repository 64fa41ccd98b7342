"""Loads of a group, rounded to what its scatter leaves meaning to: the same in every table and picture."""

import math
from typing import Final

from breakyard.comparison.groups import Group
from breakyard.report.words.values import ceiled, decimals_for, fixed, floored
from breakyard.units import from_newtons

NOTHING: Final = "\N{EN DASH}"


def scatter_n(group: Group) -> float:
    """Standard deviation, of the Weibull curve where some loads are only "at least" (of logs: pi / sqrt(6) / shape)."""
    if group.sd_n:
        return group.sd_n
    least = max(group.own_n, 0.01 * group.max_n)
    curve = group.weibull
    return least if curve is None else max(least, math.pi / math.sqrt(6.0) / curve.shape * curve.median_n)


def spread_text(value_n: float | None, unit: str, spread_n: float, way: int = 0) -> str:
    """A load with the decimals that a scatter of this size leaves meaning to. way: -1 rounds down, +1 up."""
    if value_n is None:
        return NOTHING
    decimals = decimals_for(from_newtons(spread_n, unit))
    return (fixed, ceiled, floored)[way](from_newtons(value_n, unit), decimals)
