"""Which gain and which size of cell fit an expected load."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from breakyard.units import STANDARD_GRAVITY

COMMON_CAPACITIES_KGF: Final = (
    20,
    50,
    100,
    200,
    300,
    500,
    1000,
    2000,
    3000,
    5000,
    10000,
    20000,
    30000,
    50000,
)
"""Sizes in which tension cells are commonly sold (practice)."""

LARGEST_ERROR: Final = 0.01
"""Of the expected load: the cell's own error (own choice)."""


@dataclass(frozen=True, slots=True)
class Recommendation:
    """A gain for the cell in hand and a size of cell for the load; None where no common size fits."""

    gain: int
    capacity_n: float | None
    """Of each cell."""
    smallest_n: float
    """Each cell's capacity must be at least this."""
    largest_n: float
    """Beyond this the cell's own error passes 1 % of the lower expected load."""


def recommend(
    *,
    expected: tuple[float, float],
    surprise: float,
    cells: int,
    ratio: float,
    clip_shares: Mapping[int, float],
    output_tolerance: float,
    safe_overload: float,
    cell_error: float,
) -> Recommendation:
    """Recommend a gain and a size of cell.

    Gain: the highest whose clip lies above the safe overload even for a plate that is low by its tolerance, so that
    no load which the cell survives is off scale. `clip_shares` are the clips in capacities, by gain.
    Size: the smallest common one that carries the expected load within its capacity and the surprise within its
    safe overload, if its own error is still small against the lower expected load.
    """
    per_cell = ratio / cells
    smallest_n = per_cell * expected[1] * max(1.0, surprise / safe_overload)
    largest_n = per_cell * expected[0] * LARGEST_ERROR / cell_error if cell_error > 0.0 else float("inf")
    fitting = (
        kgf * STANDARD_GRAVITY
        for kgf in COMMON_CAPACITIES_KGF
        if smallest_n <= kgf * STANDARD_GRAVITY * (1.0 + 1e-9) and kgf * STANDARD_GRAVITY <= largest_n
    )
    enough = (
        gain
        for gain, share in sorted(clip_shares.items(), reverse=True)
        if share / (1.0 + output_tolerance) >= safe_overload
    )
    return Recommendation(
        gain=next(enough, min(clip_shares)),
        capacity_n=next(fitting, None),
        smallest_n=smallest_n,
        largest_n=min(largest_n, 1e12),
    )
