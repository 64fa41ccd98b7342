"""What a calibration's document repeats in plain terms, and whether what one says can be computed with.

The document is complete: a program can compute loads and budgets from it without this package. It is written once; the
hash tells whether it was changed, not that it makes sense.
"""

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Final

from breakyard.calibration.terms import combine
from breakyard.document import to_plain
from breakyard.errors import DataError

if TYPE_CHECKING:
    from breakyard.calibration.model import Calibration

MOST_COEFFICIENTS: Final = 4
LARGEST_N: Final = 1e9
"""A hundred thousand tonnes; what is larger is no force that somebody measured."""
LARGEST_COUNTS: Final = 2.0**32
SMALLEST: Final = 1e-9


def derived(calibration: "Calibration") -> dict[str, Any]:
    """What follows from the rest, in plain terms."""
    loads = [calibration.highest_known_n] + ([calibration.plate.capacity_n] if calibration.plate else [])
    return {
        "slope_n_per_count": float(calibration.slope_n_per_count(calibration.zero_counts)),
        "zero_counts": calibration.zero_counts,
        "budgets": [
            {
                "load_n": load,
                "extrapolation": calibration.extrapolation(load),
                "standard_n": combine(terms).standard_n,
                "terms": to_plain(terms),
            }
            for load in loads
            if calibration.reaches(load)
            and math.isfinite(calibration.counts_at(load, calibration.zero_counts))
            for terms in [calibration.budget(load)]
        ],
        "quality": to_plain(calibration.quality()),
    }


def believable(made: "Calibration") -> None:
    """Look at a calibration that was read before it is used. Raises: DataError naming the part that cannot be."""
    _need(made.gain is None or made.gain > 0, "gain")
    _polynomial(made)
    _surroundings(made)


def _polynomial(made: "Calibration") -> None:
    coefficients = made.coefficients
    size = len(coefficients)
    _need(2 <= size <= MOST_COEFFICIENTS and coefficients[1] != 0.0, "coefficients_n")
    _within(coefficients, LARGEST_N, "coefficients_n")
    _need(abs(coefficients[1]) >= SMALLEST, "coefficients_n")
    _within([made.centre], LARGEST_COUNTS, "centre")
    _need(SMALLEST <= made.scale <= LARGEST_COUNTS, "scale")
    _need(SMALLEST <= made.highest_known_n <= LARGEST_N, "highest_known_n")
    covariance = made.covariance
    _need(len(covariance) == size and all(len(row) == size for row in covariance), "covariance_n2")
    for row in covariance:
        _within(row, LARGEST_N**2, "covariance_n2")
    for _, shift in made.effects:
        _need(len(shift) == size, "effects")
        _within(shift, LARGEST_N, "effects")
    for power, vector in enumerate(made.curvature, start=2):
        _need(len(vector) == size, "curvature")
        _within(vector, LARGEST_N**power, "curvature")
    _within(made.residuals_n, LARGEST_N, "residuals_n")
    _within(made.variances_n2, LARGEST_N**2, "variances_n2")
    _within([made.between_n], LARGEST_N, "between_n")
    _need(0 <= made.degrees_of_freedom <= 1_000_000, "degrees_of_freedom")


def _surroundings(made: "Calibration") -> None:
    gravity, air, points = made.gravity, made.air, made.points
    _need(_between(gravity.value, 9.0, 10.5) and _between(gravity.standard, 0.0, 1.0), "gravity")
    for number in (gravity.latitude_deg, gravity.height_m):
        _need(number is None or _between(number, -1e5, 1e5), "gravity")
    _need(_between(air.density, 0.0, 10.0) and _between(air.standard, 0.0, 10.0), "air")
    _need(_between(made.temperature_range_c, 0.0, 200.0), "temperature_range_c")
    _need(len({point.counts for point in points}) > 1, "points")
    for point in points:
        _within([point.counts, point.counts_standard or 0.0], LARGEST_COUNTS, "points")
        _need(all(SMALLEST <= piece.density_kg_m3 <= LARGEST_N for piece in point.load.pieces), "points")
    forces_n = [point.load.force(gravity, air).newtons for point in points]
    _need(max(forces_n) - min(forces_n) >= SMALLEST, "points")
    _within(forces_n, LARGEST_N, "points")
    _need(_between(made.told_apart, 0.0, 1.0), "told_apart")
    for suspect in made.suspects:
        _need(all(0 <= at < len(points) for at in suspect.points), "suspects")
        _need(math.isfinite(suspect.off_n) and math.isfinite(suspect.t), "suspects")
    plate = made.plate
    if plate is not None:
        _need(isinstance(plate.name, str) and SMALLEST <= plate.capacity_n <= LARGEST_N, "plate")
        for name in ("span_per_c", "zero_per_c", "rated_output_tolerance"):
            value = getattr(plate, name)
            _need(value is None or _between(value, -1.0, 1.0), "plate")


def _within(numbers: Iterable[float], largest: float, what: str) -> None:
    _need(all(abs(number) <= largest for number in numbers), what)


def _between(value: Any, low: float, high: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high


def _need(true: bool, what: str) -> None:
    if not true:
        raise DataError(f'this calibration cannot be used: its "{what}" cannot be; calibrate again')
