"""The fit alone, rounded to what a board computes with, so that a phone can show force.

Boards have single-precision floats and small integers. Centre and scale are whole counts here, so that
(counts - centre) is exact on the board, and the coefficients are rounded to single precision. The interval
stays with the calibration; the hash names it.
"""

import math
from dataclasses import dataclass

import numpy as np

from breakyard.calibration.model import Calibration


@dataclass(frozen=True, slots=True)
class DeviceCopy:
    """force_n = sum of coefficients_n[k] * z**k with z = (counts - centre) / scale, zero taken off as usual."""

    centre: int
    scale: int
    coefficients_n: tuple[float, ...]
    highest_known_n: float
    gain: int | None
    content_hash: str


def copy_for_device(calibration: Calibration) -> DeviceCopy:
    """Re-expand the polynomial about whole counts and round it; within 1e-6 of the calibration."""
    centre, scale = round(calibration.centre), max(1, round(calibration.scale))
    shift, ratio = (centre - calibration.centre) / calibration.scale, scale / calibration.scale
    moved = [0.0] * len(calibration.coefficients)
    for k, coefficient in enumerate(calibration.coefficients):
        for j in range(k + 1):
            moved[j] += coefficient * math.comb(k, j) * shift ** (k - j) * ratio**j
    return DeviceCopy(
        centre,
        scale,
        tuple(float(np.float32(value)) for value in moved),
        float(np.float32(calibration.highest_known_n)),
        calibration.gain,
        calibration.content_hash,
    )
