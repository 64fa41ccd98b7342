"""Many groups at a glance: one line each, the strongest first, its interval drawn with letters."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from breakyard.comparison.results import Comparison
from breakyard.report.words.scatter import scatter_n, spread_text
from breakyard.report.words.values import interval_text, load_text
from breakyard.units import FORCE_UNITS, force_unit

if TYPE_CHECKING:
    from breakyard.comparison.factors import FactorComparison

MANY: Final = 6
"""With more groups than this a ranking comes before any table."""
LONGEST_NAME: Final = 24
NARROWEST: Final = 20


@dataclass(frozen=True, slots=True)
class Ranked:
    """One group's level with its interval in newtons; an end is None where it is not known."""

    name: str
    middle_n: float
    low_n: float | None
    high_n: float | None
    n: int
    at_least: int
    scatter_n: float | None = None
    """By which its numbers are rounded; None: by its interval."""


def ranked_combinations(found: "FactorComparison") -> tuple[Ranked, ...]:
    """Combinations of levels, the strongest first; those that cannot be estimated are left out."""
    return tuple(
        Ranked(one.name, one.median_n, one.low_n, one.high_n, one.n, one.at_least)
        for one in found.combinations
        if one.median_n is not None
    )


def ranked_groups(comparison: Comparison) -> tuple[Ranked, ...]:
    """Groups, the strongest first, by their mean or median; one of which nothing broke by its lowest bound."""
    made = []
    for group in comparison.groups:
        middle = group.mean_n
        if middle is None:
            middle = group.min_n if group.weibull is None else group.weibull.median_n
        interval = group.interval
        low_n = None if interval is None else interval.low_n
        high_n = None if interval is None else interval.high_n
        made.append(Ranked(group.name, middle, low_n, high_n, group.n, group.at_least, scatter_n(group)))
    return tuple(sorted(made, key=lambda one: -one.middle_n))


def ranking_lines(ranked: Sequence[Ranked], unit: str, *, width: int = 78) -> tuple[str, ...]:
    """One line a group: name, interval as |---o---| on one axis from the lowest to the highest end, number.

    Raises: UnitError.
    """
    factor = FORCE_UNITS[force_unit(unit)]
    if not ranked:
        return ()
    texts = [level_text(one, unit) for one in ranked]
    name_width = min(max(len(one.name) for one in ranked), LONGEST_NAME)
    room = max(width - name_width - max(len(text) for text in texts) - 4, NARROWEST)
    lows = [one.middle_n if one.low_n is None else one.low_n for one in ranked]
    highs = [one.middle_n if one.high_n is None else one.high_n for one in ranked]
    # An interval that is open or runs far out would leave the others no room: it is cut at the axis's end.
    least = max(min(lows), 0.0) / factor
    most = min(max(highs), 2.0 * max(one.middle_n for one in ranked)) / factor
    length = max(most - least, 1e-12)

    def place(value_n: float) -> int:
        return min(max(round((value_n / factor - least) / length * (room - 1)), 0), room - 1)

    lines = []
    for one, low_n, high_n, text in zip(ranked, lows, highs, texts, strict=True):
        cells = [" "] * room
        low, high = place(low_n), place(high_n)
        cells[low : high + 1] = "-" * (high + 1 - low)
        cells[low] = "|"
        cells[high] = "|" if one.high_n is not None and high_n / factor <= most * (1.0 + 1e-12) else ">"
        cells[place(one.middle_n)] = "o"
        lines.append(f"{one.name[:name_width]:{name_width}}  {''.join(cells)}  {text}")
    return tuple(lines)


def level_text(one: Ranked, unit: str) -> str:
    """A group's level with its interval, without the unit. Raises: UnitError."""
    if one.scatter_n is not None:
        middle = spread_text(one.middle_n, unit, one.scatter_n)
        if one.low_n is None or one.high_n is None:
            return middle
        low, high = (
            spread_text(end, unit, one.scatter_n, way) for end, way in ((one.low_n, -1), (one.high_n, 1))
        )
        return f"{middle} ({low} to {high})"
    if one.low_n is None or one.high_n is None:
        return load_text(one.middle_n, unit)
    return interval_text(one.middle_n, one.low_n, one.high_n, unit)
