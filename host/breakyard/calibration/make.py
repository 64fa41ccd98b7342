"""Points in, calibration out."""

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from breakyard.calibration.air import Air, air_at_height
from breakyard.calibration.degree import REACH, Suspect, choose_degree, find_suspects
from breakyard.calibration.fit import Floats, fit_polynomial
from breakyard.calibration.gravity import Gravity, standard_gravity
from breakyard.calibration.known_loads import ASSUMED_SOURCE, COMMON_SOURCE, Force
from breakyard.calibration.loops import loops
from breakyard.calibration.model import TEMPERATURE_RANGE_C, Calibration
from breakyard.calibration.plate import Plate
from breakyard.calibration.points import Point
from breakyard.errors import CalibrationError

EVERYWHERE: Final = ("gravity", "air density", "lever ratio")
COMMON: Final = (*EVERYWHERE, ASSUMED_SOURCE, COMMON_SOURCE)
"""Sources that all points share; they shift the points together and so say nothing about weights."""

DEFAULT_REPEATABILITY: Final = 0.001
"""Of the highest known load, where the points are too few to show their scatter."""


def calibrate(
    points: Sequence[Point],
    *,
    plate: Plate | None = None,
    gain: int | None = 128,
    gravity: Gravity | None = None,
    air: Air | None = None,
    degree: int | None = None,
    name: str = "",
    created: str = "",
    provenance: Mapping[str, str] | None = None,
    temperature_range_c: float = TEMPERATURE_RANGE_C,
    temperature_c: float | None = None,
) -> Calibration:
    """Fit newtons as a polynomial in counts through known loads.

    Without a `degree` 1 to 3 is chosen by what the points support. Without `gravity` standard gravity is taken
    with its large uncertainty and the flag "standard_gravity"; without `air` its usual density at that
    height. The fit does not depend on the order of the points; hysteresis and zero return do. Points that
    the others contradict are named in `suspects` and stay in: leave them out yourself if you know why.
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
    known, ways = _patterns(forces), loops(loads, plate)
    # Points off the rising branch all err to one side, by up to the limit: as that they are weighed.
    looped = np.sqrt(3.0 * sum((size**2 for size in ways.values()), np.zeros(len(loads))))
    if degree is None:
        capacity = None if plate is None else plate.capacity_n
        read = np.hypot(_own(points, loads, counts, 1, plate), looped) if ways else None
        degree = choose_degree(loads, counts, _columns(known), capacity, read, looped == 0.0)
    if not 1 <= degree <= 3:
        raise CalibrationError(f"a polynomial of degree {degree} is not offered: use 1, 2 or 3")
    own = _own(points, loads, counts, degree, plate)
    certificates = _certificates(points)
    standard = np.hypot(np.hypot(own, looped), _independent(forces, (*COMMON, *certificates)))
    fit = fit_polynomial(counts, loads, degree, standard if np.any(standard > 0.0) else None)
    masses = _independent(forces, (*EVERYWHERE, *certificates))
    suspects = find_suspects(
        loads, counts, degree, np.hypot(own, looped), masses, [point.load.text for point in points]
    )
    flags, sentences = _remarks(points, gravity, plate, suspects)
    if degree > 1:
        sentences += (_curve_sentence(degree),)
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
        covariance=tuple(_floats(row) for row in _scatter(fit.jacobian, fit.between, own)),
        effects=tuple(
            (source, _floats(fit.jacobian @ pattern)) for source, pattern in {**known, **ways}.items()
        ),
        curvature=(_floats(fit.jacobian @ (loads * np.abs(loads))), _floats(fit.jacobian @ loads**3)),
        residuals_n=_floats(fit.residuals),
        variances_n2=_floats(fit.variances),
        between_n=fit.between,
        degrees_of_freedom=fit.degrees_of_freedom,
        highest_known_n=float(np.max(np.abs(loads))),
        flags=flags,
        sentences=sentences,
        suspects=suspects,
        provenance=tuple(sorted((provenance or {}).items())),
        temperature_range_c=float(temperature_range_c),
        temperature_c=None if temperature_c is None else float(temperature_c),
    )


def _patterns(forces: Sequence[Force]) -> dict[str, Floats]:
    """(n,) newtons that one standard uncertainty of each source of the known loads adds to each of them."""
    sources = sorted({source for force in forces for source in force.sources})
    return {source: np.array([force.sources.get(source, 0.0) for force in forces]) for source in sources}


def _columns(patterns: Mapping[str, Floats]) -> Floats | None:
    return np.stack(list(patterns.values()), axis=-1) if patterns else None


def _certificates(points: Sequence[Point]) -> set[str]:
    """Names of what every point read from one reference shares: it moves them together."""
    return {point.load.reference_name or "reference cell" for point in points if point.load.reference_n}


def _floats(array: Floats) -> tuple[float, ...]:
    return tuple(float(value) for value in array)


def _scatter(jacobian: Floats, between: float, own: Floats) -> Floats:
    """Covariance of the coefficients from scatter alone; the known loads come in by their sources."""
    return np.asarray((jacobian * (own**2 + between**2)) @ jacobian.T)


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


def _independent(forces: Sequence[Force], shared: Sequence[str]) -> Floats:
    """(n,) newtons of uncertainty of each load that it does not share with all the others."""
    return np.array(
        [
            math.hypot(*(size for name, size in force.sources.items() if name not in shared), 0.0)
            for force in forces
        ]
    )


def _own(points: Sequence[Point], loads: Floats, counts: Floats, degree: int, plate: Plate | None) -> Floats:
    """(n,) the spread of the counts in newtons, through the mean slope."""
    first = fit_polynomial(counts, loads, 1)
    slope = abs(float(first.coefficients[1])) / first.scale
    own = np.array([slope * (point.counts_standard or 0.0) for point in points])
    if len(points) == degree + 1:
        # Nothing shows how well loads repeat (a steady reading does not): assume something rather than nothing.
        floor = DEFAULT_REPEATABILITY * float(np.max(np.abs(loads)))
        if plate is not None and plate.repeatability is not None:
            floor = max(floor, plate.repeatability * plate.capacity_n)
        own = np.hypot(own, floor)
    return own


def _remarks(
    points: Sequence[Point], gravity: Gravity, plate: Plate | None, suspects: Sequence[Suspect]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Flags for programs and sentences for people."""
    flags: list[str] = []
    said = ["This is a calibration by its owner, not an accredited one.", f"Used {gravity.sentence}."]
    if gravity.source == "standard":
        flags.append("standard_gravity")
    if any(piece.assumed for point in points for piece in point.load.pieces):
        flags.append("mass_uncertainty_assumed")
        said.append(
            "No uncertainty was stated for some loads: masses are taken to be within 0.5 %, volumes 1 %."
        )
    if any(point.load.ratio_assumed for point in points):
        flags.append("ratio_uncertainty_assumed")
        said.append("No uncertainty was stated for the lever: its ratio is taken to be within 1 %.")
    if plate is None:
        flags.append("no_plate")
        said.append("The cell's plate is unknown: its non-linearity is taken as 0.1 % of the load asked for.")
    elif plate.nonlinearity is None:
        flags.append("nonlinearity_assumed")
        said.append("The cell's sheet states no non-linearity: 0.1 % of its capacity is taken.")
    if not any(point.load.nothing for point in points):
        flags.append("no_zero_point")
        said.append("No point has an empty cell: hang nothing first and last to see the zero return.")
    if suspects:
        flags.append("bad_point")
        said.append(_suspect_sentence(points, suspects[0]))
    return tuple(flags), tuple(said)


def _curve_sentence(degree: int) -> str:
    return (
        f"The points follow a curve of degree {degree}; it is read up to {REACH:g} times the highest known load. "
        "For higher pulls calibrate with --degree 1."
    )


def _suspect_sentence(points: Sequence[Point], suspect: Suspect) -> str:
    first = suspect.points[0]
    which = " and ".join(str(i + 1) for i in suspect.points)
    many = len(suspect.points) > 1
    when = points[first].start_s
    where = "" if when is None else f" (from {when:.0f} s)"
    verb = "do" if many else "does"
    return (
        f'Point{"s" if many else ""} {which}, "{points[first].load.text}"{where}, {verb} not fit the others: '
        f"the load stated is {abs(suspect.off_n):.3g} N too {'high' if suspect.off_n > 0 else 'low'} for its counts. "
        "Check what hung there, or whether it touched something; it was left in."
    )
