"""What a picture of a calibration needs: the interval over the whole range, and the residuals."""

from dataclasses import dataclass

import numpy as np

from breakyard.calibration.fit import Floats
from breakyard.calibration.model import Calibration


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """Arrays of shape (m,), read-only: load in newtons and half-width of the interval at it.

    Loads up to `calibrated_n` were calibrated; beyond, they are extrapolated.
    """

    load_n: Floats
    half_width_n: Floats
    calibrated_n: float
    coverage: float


def interval_band(
    calibration: Calibration, *, up_to_n: float | None = None, number: int = 120, coverage: float = 0.95
) -> Band:
    """The interval's half-width from zero to `up_to_n` (the capacity, else twice the highest known load)."""
    top = up_to_n
    if top is None:
        plate = calibration.plate
        top = plate.capacity_n if plate else 2.0 * calibration.highest_known_n
    loads = np.linspace(0.0, top, number)
    zero = calibration.zero_counts
    half = np.empty(number)
    for i, load in enumerate(loads):
        counts = calibration.counts_at(float(load), zero)
        if np.isfinite(counts) and calibration.reaches(float(load)):
            shown = calibration.interval(counts, zero, coverage=coverage)
            half[i] = (shown.high_n - shown.low_n) / 2.0
        else:
            half[i] = np.nan
    loads.setflags(write=False)
    half.setflags(write=False)
    return Band(loads, half, calibration.highest_known_n, coverage)
