"""Points in, calibration out."""

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from breakyard.calibration.air import Air, air_at_height
from breakyard.calibration.fit import PolynomialFit, fit_polynomial
from breakyard.calibration.gravity import Gravity, standard_gravity
from breakyard.calibration.known_loads import ASSUMED_SOURCE, Force
from breakyard.calibration.model import TEMPERATURE_RANGE_C, Calibration
from breakyard.calibration.plate import Plate
from breakyard.calibration.points import Point
from breakyard.errors import CalibrationError

COMMON: Final = ("gravity", "air density", "lever ratio", ASSUMED_SOURCE)
"""Sources that all points share; they shift the points together and so say nothing about weights."""

DEFAULT_REPEATABILITY: Final = 0.001
"""Of the highest known load, where the points leave no scatter to see and carry no uncertainty."""


def calibrate(
    points: Sequence[Point],
    *,
    plate: Plate | None = None,
    gain: int | None = 128,
    gravity: Gravity | None = None,
    air: Air | None = None,
    degree: int | None = 1,
    name: str = "",
    created: str = "",
    provenance: Mapping[str, str] | None = None,
    temperature_range_c: float = TEMPERATURE_RANGE_C,
) -> Calibration:
    """Fit newtons as a polynomial in counts through known loads.

    `degree` None chooses 1 to 3 by what the points support. Without `gravity` standard gravity is taken
    with its large uncertainty and the flag "standard_gravity"; without `air` its usual density at that
    height. The order of the points does not matter to the fit.
    Raises: CalibrationError when the points cannot carry a calibration.
    """
    points = tuple(points)
    gravity = standard_gravity() if gravity is None else gravity
    if air is None:
        air = Air() if gravity.height_m is None else air_at_height(gravity.height_m)
    forces = tuple(point.load.force(gravity, air) for point in points)
    _check(points, forces)
    loads = np.array([force.newtons for force in forces])
    counts = np.array([point.counts for point in points])
    fit = _weighted(points, forces, loads, counts, 1 if degree is None else degree, plate)
    sources = sorted({source for force in forces for source in force.sources})
    effects = tuple(
        (source, _floats(fit.jacobian @ np.array([force.sources.get(source, 0.0) for force in forces])))
        for source in sources
    )
    flags, sentences = _remarks(points, gravity, plate)
    return Calibration(
        name=name,
        created=created,
        points=points,
        gravity=gravity,
        air=air,
        plate=plate,
        gain=gain,
        centre=fit.centre,
        scale=fit.scale,
        coefficients=_floats(fit.coefficients),
        covariance=tuple(_floats(row) for row in fit.covariance),
        effects=effects,
        curvature=(_floats(fit.jacobian @ (loads * np.abs(loads))), _floats(fit.jacobian @ loads**3)),
        residuals_n=_floats(fit.residuals),
        between_n=fit.between,
        degrees_of_freedom=fit.degrees_of_freedom,
        highest_known_n=float(np.max(np.abs(loads))),
        flags=flags,
        sentences=sentences,
        provenance=tuple(sorted((provenance or {}).items())),
        temperature_range_c=float(temperature_range_c),
    )


def _floats(array: "np.typing.NDArray[np.float64]") -> tuple[float, ...]:
    return tuple(float(value) for value in array)


def _check(points: Sequence[Point], forces: Sequence[Force]) -> None:
    different = len({round(force.newtons, 9) for force in forces})
    if len(points) < 2 or different < 2:
        raise CalibrationError(
            f"{len(points)} points with {different} different loads make no calibration: "
            "give the empty cell and at least one known mass, better three"
        )
    if len({point.counts for point in points}) < 2:
        raise CalibrationError(
            "all points have the same counts: the cell is not connected, or the converter stands on a rail"
        )


def _weighted(
    points: Sequence[Point],
    forces: Sequence[Force],
    loads: "np.typing.NDArray[np.float64]",
    counts: "np.typing.NDArray[np.float64]",
    degree: int,
    plate: Plate | None,
) -> PolynomialFit:
    """The fit with the points' own variances; the spread of the counts counts through the mean slope."""
    if not 1 <= degree <= 3:
        raise CalibrationError(f"a polynomial of degree {degree} is not offered: use 1, 2 or 3")
    first = fit_polynomial(counts, loads, 1)
    slope = abs(float(first.coefficients[1])) / first.scale
    known = [point.counts_standard is not None for point in points]
    own = np.array([slope * (point.counts_standard or 0.0) for point in points])
    independent = np.array(
        [
            math.hypot(*(size for source, size in force.sources.items() if source not in COMMON), 0.0)
            for force in forces
        ]
    )
    standard = np.hypot(own, independent)
    if not any(known) and len(points) == degree + 1:
        # Nothing shows the scatter: assume one rather than none.
        stated = None if plate is None else plate.repeatability
        floor = DEFAULT_REPEATABILITY * float(np.max(np.abs(loads)))
        if plate is not None and stated is not None:
            floor = max(floor, stated * plate.capacity_n)
        standard = np.hypot(standard, floor)
    return fit_polynomial(counts, loads, degree, standard if np.any(standard > 0.0) else None)


def _remarks(
    points: Sequence[Point], gravity: Gravity, plate: Plate | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Flags for programs and sentences for people, in the same order where both exist."""
    flags: list[str] = []
    sentences = ["This is a calibration by its owner, not an accredited one.", f"Used {gravity.sentence}."]
    if gravity.source == "standard":
        flags.append("standard_gravity")
    if any(piece.assumed for point in points for piece in point.load.pieces):
        flags.append("mass_uncertainty_assumed")
        sentences.append(
            "No uncertainty was stated for some masses: they are taken to be within 0.5 %; weigh them to be surer."
        )
    if any(point.load.ratio_assumed for point in points):
        flags.append("ratio_uncertainty_assumed")
        sentences.append("No uncertainty was stated for the lever: its ratio is taken to be within 1 %.")
    if plate is None:
        flags.append("no_plate")
        sentences.append(
            "The cell's plate is unknown: its non-linearity is taken as 0.1 % of the load asked for."
        )
    if not any(point.load.nothing for point in points):
        flags.append("no_zero_point")
        sentences.append("No point has an empty cell: hang nothing first and last to see the zero return.")
    return tuple(flags), tuple(sentences)
