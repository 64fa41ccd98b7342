"""Whether what a calibration document says can be computed with.

Its hash tells that nobody changed it, not that it makes sense.
"""

import math
from collections.abc import Iterable, Mapping
from typing import Any, Final

from breakyard.errors import DataError

MOST_COEFFICIENTS: Final = 4
LARGEST_N: Final = 1e9
"""A hundred thousand tonnes; what is larger is no force that somebody measured."""
LARGEST_COUNTS: Final = 2.0**32
SMALLEST: Final = 1e-9


def believable(fields: Mapping[str, Any]) -> None:
    """Look at the fields of a calibration before they are used. Raises: DataError naming the one that cannot be."""
    _texts(fields)
    _polynomial(fields)
    _surroundings(fields)


def _texts(fields: Mapping[str, Any]) -> None:
    for name in ("name", "created"):
        _need(isinstance(fields[name], str), name)
    for name in ("flags", "sentences"):
        _need(all(isinstance(text, str) for text in fields[name]), name)
    gain = fields["gain"]
    _need(gain is None or (isinstance(gain, int) and not isinstance(gain, bool) and gain > 0), "gain")


def _polynomial(fields: Mapping[str, Any]) -> None:
    coefficients = fields["coefficients"]
    size = len(coefficients)
    _need(2 <= size <= MOST_COEFFICIENTS and coefficients[1] != 0.0, "coefficients_n")
    _within(coefficients, LARGEST_N, "coefficients_n")
    _need(abs(coefficients[1]) >= SMALLEST, "coefficients_n")
    _within([fields["centre"]], LARGEST_COUNTS, "centre")
    _need(SMALLEST <= fields["scale"] <= LARGEST_COUNTS, "scale")
    _need(SMALLEST <= fields["highest_known_n"] <= LARGEST_N, "highest_known_n")
    covariance = fields["covariance"]
    _need(len(covariance) == size and all(len(row) == size for row in covariance), "covariance_n2")
    for row in covariance:
        _within(row, LARGEST_N**2, "covariance_n2")
    for _, shift in fields["effects"]:
        _need(len(shift) == size, "effects")
        _within(shift, LARGEST_N, "effects")
    for power, vector in enumerate(fields["curvature"], start=2):
        _need(len(vector) == size, "curvature")
        _within(vector, LARGEST_N**power, "curvature")
    _within(fields["residuals_n"], LARGEST_N, "residuals_n")
    _within(fields["variances_n2"], LARGEST_N**2, "variances_n2")
    _within([fields["between_n"]], LARGEST_N, "between_n")
    _need(0 <= fields["degrees_of_freedom"] <= 1_000_000, "degrees_of_freedom")


def _surroundings(fields: Mapping[str, Any]) -> None:
    gravity, air, points = fields["gravity"], fields["air"], fields["points"]
    _need(_between(gravity.value, 9.0, 10.5) and _between(gravity.standard, 0.0, 1.0), "gravity")
    for number in (gravity.latitude_deg, gravity.height_m):
        _need(number is None or _between(number, -1e5, 1e5), "gravity")
    _need(_between(air.density, 0.0, 10.0) and _between(air.standard, 0.0, 10.0), "air")
    _need(_between(fields["temperature_range_c"], 0.0, 200.0), "temperature_range_c")
    _need(len({point.counts for point in points}) > 1, "points")
    for point in points:
        _within([point.counts, point.counts_standard or 0.0], LARGEST_COUNTS, "points")
        _need(all(SMALLEST <= piece.density_kg_m3 <= LARGEST_N for piece in point.load.pieces), "points")
    forces_n = [point.load.force(gravity, air).newtons for point in points]
    _need(max(forces_n) - min(forces_n) >= SMALLEST, "points")
    _within(forces_n, LARGEST_N, "points")
    _need(_between(fields["told_apart"], 0.0, 1.0), "told_apart")
    for suspect in fields["suspects"]:
        _need(all(0 <= at < len(points) for at in suspect.points), "suspects")
        _need(math.isfinite(suspect.off_n) and math.isfinite(suspect.t), "suspects")
    plate = fields["plate"]
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
