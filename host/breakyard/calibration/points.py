"""Calibration points: a known load and the counts it gave."""

import math
from dataclasses import dataclass

from breakyard.calibration.known_loads import KnownLoad, mass_load
from breakyard.errors import CalibrationError


@dataclass(frozen=True, slots=True, repr=False)
class Point:
    """Mean counts under one known load.

    `counts_standard` is the standard uncertainty of the mean (None: not known, the scatter about the
    fit must tell). `start_s`, `end_s` bound the samples used where the point comes from a recording,
    `drift_counts_per_s` is how the counts moved in between.
    """

    load: KnownLoad
    counts: float
    counts_standard: float | None = None
    samples: int = 1
    start_s: float | None = None
    end_s: float | None = None
    drift_counts_per_s: float | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.counts):
            raise CalibrationError(f'"{self.load.text}": counts must be a number')
        if self.counts_standard is not None and not (
            math.isfinite(self.counts_standard) and self.counts_standard >= 0.0
        ):
            raise CalibrationError(f'"{self.load.text}": the uncertainty of the counts cannot be negative')

    def __repr__(self) -> str:
        return f"Point {self.load.text!r}: {self.counts:.9g} counts"


def mass_point(
    kilograms: float, counts: float, *, limit_kg: float | None = None, counts_standard: float | None = None
) -> Point:
    """A point from one mass and the counts it gave. Raises: CalibrationError."""
    return Point(mass_load(kilograms, limit_kg), float(counts), counts_standard)
