"""What a rated non-linearity can do to a calibration made low in the range.

A sheet states only a bound over the whole range: the output stays within L of a line. It says nothing
of the local slope, and near zero the slope of a bent characteristic differs from the mean slope; a line
through small masses carries that difference all the way up. Here the bend is taken as a mixture of the two
smooth shapes that strain-gauge cells show, each scaled so that its largest deviation from the terminal
line (zero to capacity, the sheets' usual line) is L:

    bow      L * 4 x (1 - x)                       slope at zero 4 L
    S-curve  L * x (1 - x) (1 - 2 x) / 0.0962      slope at zero 10.4 L          x = load / capacity

Whatever of it the calibration points already straightened is taken off exactly: a fit passes any linear
part unchanged, so only the square and the cube of the load matter, and their fits over the same points
are part of the calibration.
"""

import math
from typing import Final

from breakyard.calibration.plate import DEFAULT_NONLINEARITY, Plate

_S_PEAK: Final = math.sqrt(3.0) / 18.0
"""Largest value of x (1 - x) (1 - 2 x) on 0..1."""

SHARE: Final = 1.0 / math.sqrt(6.0)
"""Standard deviation of either amplitude in units of L when all pairs with |bow| + |S| <= L are equally
likely: each alone then has a triangular distribution over -L..L."""


def nonlinearity_n(
    load_n: float, fitted_square: float, fitted_cube: float, plate: Plate | None, highest_known_n: float
) -> float:
    """Standard uncertainty in newtons at this load from the bend of the cell.

    `fitted_square` and `fitted_cube` are what the calibration makes of load**2 and load**3 (N^2, N^3).
    Without a plate the load itself (or the highest known load) is taken as the capacity.
    """
    capacity = plate.capacity_n if plate else max(abs(load_n), highest_known_n)
    stated = plate.nonlinearity if plate else None
    bound = (DEFAULT_NONLINEARITY if stated is None else stated) * capacity

    def bent(part: float) -> float:
        """The same at a part of this load; the fit's share goes down with it (exactly so for a line)."""
        load, square_fit, cube_fit = part * load_n, part * fitted_square, part * fitted_cube
        # Errors of the fit for a characteristic x**2 and x**3, in units of the capacity.
        square = (load * abs(load) - square_fit) / capacity**2
        cube = (load**3 - cube_fit) / capacity**3
        return SHARE * bound * math.hypot(4.0 * square, (2.0 * cube - 3.0 * square) / _S_PEAK)

    if abs(load_n) <= capacity:
        return bent(1.0)
    # Beyond the capacity the sheet promises nothing: the shapes turn back there, the doubt does not.
    within = capacity / abs(load_n)
    return max(bent(1.0), *(bent(within * step / 20.0) / (within * step / 20.0) for step in range(1, 21)))
