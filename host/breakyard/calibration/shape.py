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
are part of the calibration. How much of each shape a cell has is in `bend`.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration.plate import DEFAULT_NONLINEARITY, Plate

S_PEAK: Final = math.sqrt(3.0) / 18.0
"""Largest value of x (1 - x) (1 - 2 x) on 0..1."""


def scale_of(plate: Plate | None, load_n: float, highest_known_n: float) -> tuple[float, float]:
    """Capacity and largest bend in newtons. Without a plate the load itself (or the highest known load) is taken
    as the capacity, and the default as the bend. A sheet is believed to bend less than that only where the plate's
    rated output is stated too: then a wrong plate shows (`sanity`), else nothing confirms that it is this cell's."""
    capacity = plate.capacity_n if plate else max(abs(load_n), highest_known_n)
    stated = plate.nonlinearity if plate else None
    if plate is None or stated is None:
        return capacity, DEFAULT_NONLINEARITY * capacity
    least = 0.0 if plate.rated_output_mv_v is not None else DEFAULT_NONLINEARITY
    return capacity, max(stated, least) * capacity


def shapes(load_n: NDArray[np.float64], capacity_n: float) -> NDArray[np.float64]:
    """Bow and S-curve at these loads, in units of L; shape (n, 2)."""
    x = load_n / capacity_n
    square = x * np.abs(x)
    return np.stack([4.0 * (x - square), (x - 3.0 * square + 2.0 * x**3) / S_PEAK], axis=-1)


def errors_of_fit(
    load_n: float, fitted_square: float, fitted_cube: float, capacity_n: float
) -> tuple[float, float]:
    """True load less shown load for a cell that is all bow, and all S-curve, in units of L.

    `fitted_square` and `fitted_cube` are what the calibration makes of load**2 and load**3 (N^2, N^3).
    """

    def error(part: float) -> tuple[float, float]:
        """The same at a part of this load; the fit's share goes down with it (exactly so for a line)."""
        load = part * load_n
        square = (load * abs(load) - part * fitted_square) / capacity_n**2
        cube = (load**3 - part * fitted_cube) / capacity_n**3
        return 4.0 * square / part, (3.0 * square - 2.0 * cube) / S_PEAK / part

    if abs(load_n) <= capacity_n:
        return error(1.0)
    # Beyond the capacity the sheet promises nothing: the shapes turn back there, the doubt does not.
    within = capacity_n / abs(load_n)
    return max(
        [error(1.0), *(error(within * step / 20.0) for step in range(1, 21))],
        key=lambda pair: math.hypot(*pair),
    )


def departure(load_n: float, capacity_n: float, highest_known_n: float) -> float:
    """How far the characteristic may leave, beyond the highest known load, what the points below it show; in
    units of L.

    Nothing below shows a bend that begins only there. It leaves the known part smoothly, without a kink, over no
    shorter stretch than was calibrated, and reaches the rated limit at capacity at most.
    """
    stretch = max(capacity_n - highest_known_n, highest_known_n)
    beyond = max(abs(load_n) - highest_known_n, 0.0) / stretch
    return min(beyond, 1.0) ** 2 * max(abs(load_n) / capacity_n, 1.0)
