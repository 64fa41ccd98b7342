"""Points in, calibration out."""

import math
from collections.abc import Collection, Mapping, Sequence
from typing import Final

import numpy as np

from breakyard.calibration.degree import REACH, Suspect, choose_degree, find_suspects
from breakyard.calibration.fit import Floats, fit_polynomial, powers
from breakyard.calibration.known_loads import (
    ASSUMED_SOURCE,
    COMMON_SOURCE,
    EACH,
    SCALE_SOURCE,
    WAYS_OUT,
    Force,
)
from breakyard.calibration.loops import loops
from breakyard.calibration.model import TEMPERATURE_RANGE_C, Calibration, Effect
from breakyard.calibration.plate import DEFAULT_NONLINEARITY, Plate
from breakyard.calibration.points import Point
from breakyard.calibration.weight import Air, Gravity, air_at_height, standard_gravity
from breakyard.errors import CalibrationError
from breakyard.units import significant

EVERYWHERE: Final = ("gravity", "air density", "lever ratio")
COMMON: Final = (*EVERYWHERE, ASSUMED_SOURCE, COMMON_SOURCE, SCALE_SOURCE)
"""Sources that all points share; they shift the points together and so say nothing about weights."""

RARE: Final = 0.05
"""Chance of residuals smaller than those seen, from which on masses are taken to be more alike."""

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
    stated, ways = _patterns(forces), loops(loads, plate)
    apart = told_apart(stated, loads, counts)
    known = {name: (apart if EACH in name else 1.0) * pattern for name, pattern in stated.items()}
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
    standard = np.hypot(np.hypot(own, looped), _independent(known, len(loads), (*COMMON, *certificates)))
    fit = fit_polynomial(counts, loads, degree, standard if np.any(standard > 0.0) else None)
    masses = _independent(stated, len(loads), (*EVERYWHERE, *certificates))
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
            Effect(source, _floats(fit.jacobian @ pattern)) for source, pattern in {**known, **ways}.items()
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
        told_apart=apart,
    )


def _patterns(forces: Sequence[Force]) -> dict[str, Floats]:
    """(n,) newtons that one standard uncertainty of each source of the known loads adds to each of them."""
    sources = sorted({source for force in forces for source in force.sources})
    return {source: np.array([force.sources.get(source, 0.0) for force in forces]) for source in sources}


def told_apart(patterns: Mapping[str, Floats], loads: Floats, counts: Floats) -> float:
    """By which part of their limit masses may differ from one another at most, as the residuals of a line show.

    Where they err for themselves the points leave the line. In the independent directions that this leaves residuals
    in, their size against what the full limit would make is a chi-square variable; the part is the one that makes
    residuals as small as these rare (5 %). 1 where the points show nothing of it. Reading noise and a bent cell make
    residuals too, and so only raise it.
    """
    each = [pattern for name, pattern in patterns.items() if EACH in name]
    if not each:
        return 1.0
    line = np.linalg.qr(powers(counts, float(np.mean(counts)), float(np.ptp(counts)), 1))[0]
    free = np.eye(len(loads)) - line @ line.T
    left = free @ np.stack(each, axis=-1)
    ways, sizes, _ = np.linalg.svd(left, full_matrices=False)
    seen = sizes > 0.05 * max(float(np.linalg.norm(np.stack(each))), 1e-300)
    if not seen.any():
        return 1.0
    from scipy.special import chdtri

    found = float(np.sum((ways.T @ (free @ loads))[seen] ** 2 / sizes[seen] ** 2))
    return float(min(1.0, math.sqrt(found / chdtri(int(seen.sum()), 1.0 - RARE))))


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


def _independent(patterns: Mapping[str, Floats], number: int, shared: Collection[str]) -> Floats:
    """(n,) newtons of uncertainty of each load that it does not share with all the others."""
    total = sum((pattern**2 for name, pattern in patterns.items() if name not in shared), np.zeros(number))
    return np.asarray(np.sqrt(total))


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
        said.append(_assumed_sentence(points))
        said.append(WAYS_OUT)
    if any(point.load.ratio_assumed for point in points):
        flags.append("ratio_uncertainty_assumed")
        said.append("No uncertainty was stated for the lever: its ratio is taken to be within 1 %.")
    if plate is None:
        flags.append("no_plate")
        said.append(
            "The cell's plate is unknown: a straight line is taken, its non-linearity as 0.1 % of the load asked for, "
            "and a wrong unit, gain or wiring cannot show; state --capacity and --rated-output."
        )
    elif plate.nonlinearity is None:
        flags.append("nonlinearity_assumed")
        said.append("The cell's sheet states no non-linearity: 0.1 % of its capacity is taken.")
    elif plate.rated_output_mv_v is None and plate.nonlinearity < DEFAULT_NONLINEARITY:
        flags.append("plate_unconfirmed")
        said.append(
            "The plate's rated output was not stated, so nothing confirms that the sheet is this cell's: 0.1 % of the "
            "capacity is taken for its non-linearity; state --rated-output."
        )
    if not any(point.load.nothing for point in points):
        flags.append("no_zero_point")
        said.append("No point has an empty cell: hang nothing first and last to see the zero return.")
    if suspects:
        flags.append("bad_point")
        said.append(_suspect_sentence(points, suspects[0]))
    return tuple(flags), tuple(said)


def _assumed_sentence(points: Sequence[Point]) -> str:
    pieces = [piece for point in points for piece in point.load.pieces if piece.assumed]
    limits = {
        100.0 * round(math.sqrt(3.0) * piece.standard_kg / piece.kilograms, 6)
        for piece in pieces
        if piece.source.startswith("mass")
    }
    taken = [f"masses are taken to be within {limit:g} %" for limit in sorted(limits)]
    if any(piece.source.startswith("water") for piece in pieces):
        taken.append("volumes within 1 %")
    return (
        f"No uncertainty was stated for some loads: {', '.join(taken)}, all to one side or each for itself, whichever "
        "does more harm."
    )


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
        f"the load stated is {significant(abs(suspect.off_n), 3)} N too {'high' if suspect.off_n > 0 else 'low'} for "
        "its counts. Check what hung there, or whether it touched something; it was left in."
    )
