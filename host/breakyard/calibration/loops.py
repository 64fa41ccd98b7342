"""What hysteresis and zero return do to calibration points, and so to a pull.

A pull rises, and so do the first points of a calibration: both lie on the rising branch and share it. What was
read after a higher load lies off it, by up to the rated limits in proportion to that load. Such points weigh less
in the fit, and what they still bend it by is one source of doubt for all of them.
"""

import math
from collections.abc import Mapping

import numpy as np

from breakyard.calibration.fit import Floats
from breakyard.calibration.plate import Plate


def loops(loads: Floats, plate: Plate | None) -> Mapping[str, Floats]:
    """Standard uncertainties in newtons, (n,) each, of loads in the order they were hung; by source.

    An empty cell begins anew: what rises from it is on the rising branch again. Limits, so rectangles.
    """
    if plate is None:
        return {}
    hysteresis, zero_return = np.zeros(len(loads)), np.zeros(len(loads))
    highest = ever = 0.0
    for i, load in enumerate(np.abs(loads)):
        empty = load <= 1e-9 * float(np.max(np.abs(loads)))
        if empty:
            zero_return[i], highest = ever, 0.0
        elif load < highest * (1.0 - 1e-9):
            hysteresis[i] = highest
        highest, ever = max(highest, float(load)), max(ever, float(load))
    found = {
        "hysteresis": (plate.hysteresis or 0.0) / math.sqrt(3.0) * hysteresis,
        "zero return": (plate.zero_return or 0.0) / math.sqrt(3.0) * zero_return,
    }
    return {source: size for source, size in found.items() if np.any(size > 0.0)}
