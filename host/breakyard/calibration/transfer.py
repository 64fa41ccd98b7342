"""Calibration against a second cell in the same line that is already calibrated.

Both cells carry the same force, so the reference gives the known loads, up to its whole calibrated range and
without weights. What is unsure in the reference (its own calibration) is the same at every point and is
carried over as one common source; its zero and noise differ from point to point.
"""

import math
from collections.abc import Sequence

from breakyard.calibration.known_loads import KnownLoad, reference_load
from breakyard.calibration.model import Calibration
from breakyard.calibration.plateaus import CalibrationPlateau
from breakyard.calibration.points import Point
from breakyard.calibration.terms import combine
from breakyard.errors import CalibrationError


def transferred_load(
    reference: Calibration, counts: float, zero_counts: float, counts_standard: float, zero_standard: float
) -> KnownLoad:
    """The force that the reference shows, as a known load for the other cell.

    The standard uncertainties are those of the two mean readings of the reference, in counts.
    """
    force = float(reference.load_n(counts, zero_counts))
    slope = abs(float(reference.slope_n_per_count(counts)))
    shared = combine(reference.terms(counts, zero_counts)).standard_n
    own = slope * math.hypot(counts_standard, zero_standard)
    name = f"reference cell {reference.name or reference.content_hash[:8]}"
    return reference_load(force, own, shared=shared / abs(force) if force else 0.0, name=name)


def transfer_points(
    reference: Calibration,
    reference_plateaus: Sequence[CalibrationPlateau],
    plateaus: Sequence[CalibrationPlateau],
) -> tuple[Point, ...]:
    """Points for a cell from plateaus that both cells recorded, paired in order; the first is the empty line.

    Raises: CalibrationError when the two recordings do not show equally many plateaus, or fewer than two.
    """
    if len(reference_plateaus) != len(plateaus):
        raise CalibrationError(
            f"the reference cell shows {len(reference_plateaus)} plateaus, the other cell {len(plateaus)}: "
            "hold each load for 10 s and cut both recordings to the same steps"
        )
    if len(plateaus) < 2:
        raise CalibrationError("a transfer needs the empty line and at least one load: record both")
    zero = reference_plateaus[0]
    points = [
        Point(
            KnownLoad("0"),
            plateaus[0].counts,
            plateaus[0].standard_counts,
            plateaus[0].samples,
            plateaus[0].start_s,
            plateaus[0].end_s,
        )
    ]
    for shown, other in zip(reference_plateaus[1:], plateaus[1:], strict=True):
        load = transferred_load(
            reference, shown.counts, zero.counts, shown.standard_counts, zero.standard_counts
        )
        points.append(
            Point(load, other.counts, other.standard_counts, other.samples, other.start_s, other.end_s)
        )
    return tuple(points)
