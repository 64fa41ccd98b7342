"""The sanity net: mistakes that people really make, named, each with what to check.

A wrong calibration still looks like a straight line. What betrays it is its slope: the cell's plate says
how much output a newton gives, and the usual mistakes miss that by telling factors.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from breakyard.calibration.fit import Floats
from breakyard.calibration.model import Calibration
from breakyard.calibration.plate import COUNTS_PER_MV_V_AT_GAIN_1
from breakyard.calibration.slips import off_the_line, single_slip
from breakyard.calibration.terms import combine
from breakyard.units import significant

RAIL: Final = 2**23 - 1
NEAR_RAIL: Final = 0.95
PLATE_TOLERANCE: Final = 0.10
"""Rated output is nominal within 10 % (OIML R 60, sample data sheet)."""
NAMED_WITHIN: Final = 0.12
"""A slope within 12 % of a telling factor may come from that mistake."""
ZERO_NOTICE: Final = 0.001
"""Of the capacity: a lasting shift above it is the usual sign of a damaged cell."""
ZERO_OF_LOAD: Final = 0.01
"""Of the highest known load: the masses themselves become doubtful by this much."""
SUPPLY_V: Final = 3.3
"""Of the converter's analogue side, as hardware_notes wires it."""
NOISE_NV: Final = {"fast": 90.0, "slow": 50.0}
"""HX711 data sheet at gain 128: nanovolts rms at 80/s and 10/s."""
NOISE_FACTOR: Final = 4.0
BENT: Final = 0.005
"""Of the highest known load; five times what is taken for a cell whose sheet states nothing."""
LOOP_OF_LOAD: Final = 0.5
"""Percent of the load: the widest class of ISO 376 ends there (from memory)."""
LOOP_OF_SPAN: Final = 0.2
"""Percent of the highest known load, so that the noise of a light one is no loop."""
POOR_FIT: Final = 0.02
"""Of the highest known load: points that miss their own line by more, or leave it as unsure, are no calibration."""
MOVED: Final = 0.002
"""A slope that moved by less than this is not worth a word even when it is significant."""

MISTAKES: Final[tuple[tuple[float, str, str], ...]] = (
    (
        1.0 / 2.20462,
        "pounds_as_kilograms",
        "the masses may be marked in pounds but were stated in kilograms: check their marking",
    ),
    (
        2.20462,
        "kilograms_as_pounds",
        "the masses may be marked in kilograms but were stated in pounds: check their marking",
    ),
    (
        0.5,
        "half",
        (
            "half the output: check whether two cells share one converter, whether a sheave halves the load, "
            "and that gain and channel are those stated (64 for 128 gives the same)"
        ),
    ),
    (
        0.25,
        "quarter",
        (
            "a quarter of the output: check gain and channel (channel B has gain 32, channel A 128), "
            "and whether four cells share one converter"
        ),
    ),
    (
        2.0,
        "double",
        (
            "twice the output: check that gain and channel are those stated (128 for 64), "
            "and whether a lever or sheave doubles the load"
        ),
    ),
    (
        4.0,
        "fourfold",
        "four times the output: check gain and channel (channel A has gain 128, channel B 32)",
    ),
    (
        1.0 / 9.80665,
        "newtons_as_kilograms",
        "newtons may have been typed as kilograms: check the unit of the known loads",
    ),
    (
        9.80665,
        "kilograms_as_newtons",
        "kilograms may have been typed as newtons: check the unit of the known loads",
    ),
    (
        0.001,
        "grams_as_kilograms",
        "grams may have been typed as kilograms: check the unit of the known loads",
    ),
    (
        1000.0,
        "kilograms_as_grams",
        "kilograms may have been typed as grams: check the unit of the known loads",
    ),
)
"""Output seen / output promised by the plate, for each mistake; the strongest telling first."""


@dataclass(frozen=True, slots=True)
class CalibrationFinding:
    """One thing that looks wrong: `code` for programs, `message` says what was seen and what to check.

    `serious` means: do not use this calibration before it is settled.
    """

    code: str
    message: str
    serious: bool = True


def check_sanity(
    calibration: Calibration,
    *,
    noise_counts: float | None = None,
    rate_hz: float | None = None,
    previous: Calibration | None = None,
) -> tuple[CalibrationFinding, ...]:
    """Look at a calibration for usual mistakes; nothing found is an empty tuple.

    `noise_counts` is the standard deviation of single samples on a plateau, `rate_hz` their rate,
    `previous` the last calibration of the same cell and logger.
    """
    findings = [*_slope(calibration), *_zero(calibration), *_rails(calibration), *_fit(calibration)]
    if not any(finding.code in ("poor_fit", "zero_not_returning") for finding in findings):
        findings += _shape(calibration)
    if noise_counts is not None:
        findings += _noise(noise_counts, rate_hz, calibration.gain)
    if previous is not None:
        findings += _moved(calibration, previous)
    return tuple(findings)


def output_ratio(calibration: Calibration) -> float | None:
    """Output per newton seen over that promised by the plate; None where plate or gain is unknown."""
    plate, gain = calibration.plate, calibration.gain
    promised = None if plate is None or gain is None else plate.counts_per_newton(gain)
    if promised is None:
        return None
    return 1.0 / float(calibration.slope_n_per_count(calibration.zero_counts)) / promised


def _fit(calibration: Calibration) -> list[CalibrationFinding]:
    """Whether the points agree with one another at all."""
    highest = calibration.highest_known_n
    missed = max(map(abs, calibration.residuals_n)) / highest
    counts = calibration.counts_at(highest, calibration.zero_counts)
    terms = calibration.terms(counts, calibration.zero_counts) if math.isfinite(counts) else ()
    unsure = next((term.standard_n for term in terms if term.source == "calibration fit"), 0.0) / highest
    if math.isfinite(counts) and max(missed, unsure) <= POOR_FIT:
        return []
    slip = single_slip(*_loads_and_counts(calibration), [point.load.text for point in calibration.points])
    likely = "" if slip is None else f". They would fit {slip}"
    return [
        CalibrationFinding(
            "poor_fit",
            f"the points miss their own line by up to {missed:.1%} of the highest known load and leave it unsure by "
            f"{unsure:.1%}: check that each load is understood as it was meant, the order in which they hung, and that "
            f"nothing touched{likely}",
        )
    ]


def _loads_and_counts(calibration: Calibration) -> tuple[Floats, Floats]:
    """Loads in newtons and counts of the points."""
    points = calibration.points
    forces = [point.load.force(calibration.gravity, calibration.air) for point in points]
    return np.array([force.newtons for force in forces]), np.array([point.counts for point in points])


def _shape(calibration: Calibration) -> list[CalibrationFinding]:
    """More bend, or more of a loop, than a cell by itself has."""
    quality, findings = calibration.quality(), []
    bend = off_the_line(*_loads_and_counts(calibration))
    if calibration.degree > 1 and bend > BENT:
        findings.append(
            CalibrationFinding(
                "bent",
                f"the points follow a curve that leaves a straight line by up to {bend:.1%} of the highest known load; "
                "cells bend by some hundredths of a percent: check that the load hangs in line and touches nothing, "
                "that nothing else bears a part of it as it grows, and how the masses are known",
                serious=False,
            )
        )
    loop, of_load = quality.hysteresis_span or 0.0, quality.reversibility or 0.0
    if loop > LOOP_OF_SPAN and of_load > LOOP_OF_LOAD:
        findings.append(
            CalibrationFinding(
                "loop",
                f"falling readings differ from rising ones by up to {loop:.2g} % of the highest known load "
                f"({of_load:.2g} % of the load itself), where a cell by itself stays within some hundredths: check for "
                "friction (a sheave, a rope over an edge, a jammed shackle), and that each load had come to rest",
                serious=False,
            )
        )
    return findings


def _slope(calibration: Calibration) -> list[CalibrationFinding]:
    slope = float(calibration.slope_n_per_count(calibration.zero_counts))
    ratio = output_ratio(calibration)
    findings = []
    if slope < 0.0 and (ratio is None or ratio < 0.0):
        findings.append(
            CalibrationFinding(
                "swapped_wires",
                "counts fall when load is added: the two signal wires are swapped or the cell is pressed instead of "
                "pulled; check the wiring (the calibration itself accounts for the sign)",
                serious=False,
            )
        )
    plate, gain = calibration.plate, calibration.gain
    if ratio is None or plate is None or gain is None or plate.rated_output_mv_v is None:
        return findings
    size = abs(ratio)
    implied = size * abs(plate.rated_output_mv_v)
    if abs(size - 1.0) <= PLATE_TOLERANCE:
        return findings
    seen = (
        f"the counts imply {implied:.3g} mV/V at capacity, the plate says {abs(plate.rated_output_mv_v):.3g} "
        f"(ratio {size:.3g})"
    )
    near = [
        (abs(math.log(size / factor)), code, advice)
        for factor, code, advice in MISTAKES
        if abs(math.log(size / factor)) <= NAMED_WITHIN
    ]
    for _, code, advice in sorted(near):
        findings.append(CalibrationFinding(code, f"{seen}: {advice}"))
    if not near:
        advice = (
            "check capacity and mV/V on the plate, the stated loads and their unit, the gain and the wiring"
        )
        findings.append(CalibrationFinding("slope_off_plate", f"{seen}: {advice}"))
    return findings


def _zero(calibration: Calibration) -> list[CalibrationFinding]:
    empty = [point.counts for point in calibration.points if point.load.nothing]
    if len(empty) < 2:
        return []
    slope = abs(float(calibration.slope_n_per_count(calibration.zero_counts)))
    shift = abs(empty[-1] - empty[0]) * slope
    limits = [ZERO_OF_LOAD * calibration.highest_known_n]
    shown = f"{shift / calibration.highest_known_n:.2%} of the highest known load"
    if calibration.plate is not None:
        limits.append(ZERO_NOTICE * calibration.plate.capacity_n)
        shown += f", {shift / calibration.plate.capacity_n:.2%} of the capacity"
    if shift <= min(limits):
        return []
    return [
        CalibrationFinding(
            "zero_not_returning",
            f"the empty cell came back {significant(shift, 3)} N off its first reading ({shown}): check that nothing "
            "was left hanging or jammed, let the cell warm up for 10 min; if it stays, suspect an overload",
            serious=shift > 5.0 * min(limits),
        )
    ]


def _rails(calibration: Calibration) -> list[CalibrationFinding]:
    findings = []
    if any(abs(point.counts) >= NEAR_RAIL * RAIL for point in calibration.points):
        findings.append(
            CalibrationFinding(
                "near_rail",
                "a calibration point lies within 5 % of the converter's rail: check the wiring for an open or swapped "
                "wire, and use a lower gain",
            )
        )
    plate = calibration.plate
    if plate is not None:
        at_capacity = calibration.counts_at(plate.capacity_n, calibration.zero_counts)
        if math.isfinite(at_capacity) and abs(at_capacity) >= RAIL:
            slope = abs(float(calibration.slope_n_per_count(calibration.zero_counts)))
            sign = 1.0 if at_capacity >= 0.0 else -1.0
            reach = abs(sign * RAIL - calibration.zero_counts) * slope
            findings.append(
                CalibrationFinding(
                    "clips_below_capacity",
                    f"the converter will clip at {significant(reach, 4)} N, below the cell's capacity of "
                    f"{significant(plate.capacity_n, 4)} N: "
                    "pull less than that or use gain 64",
                    serious=False,
                )
            )
    return findings


def noise_counts_at(nanovolts: float, supply_v: float = SUPPLY_V, gain: int = 128) -> float:
    """Counts that this many nanovolts at the input make: the converter measures against its supply (data sheet)."""
    return nanovolts * 1e-6 / supply_v * gain * COUNTS_PER_MV_V_AT_GAIN_1


def _noise(noise_counts: float, rate_hz: float | None, gain: int | None) -> list[CalibrationFinding]:
    usual = noise_counts_at(NOISE_NV["slow" if rate_hz is not None and rate_hz < 30.0 else "fast"])
    shown = noise_counts / (gain or 1) / COUNTS_PER_MV_V_AT_GAIN_1 * SUPPLY_V * 1e6
    nanovolts = "" if gain is None else f" ({shown:.0f} nV at {SUPPLY_V:g} V)"
    seen = (
        f"the counts scatter by {significant(noise_counts, 3)}{nanovolts}, the converter's data sheet says about "
        f"{usual:.0f}"
    )
    if noise_counts > NOISE_FACTOR * usual:
        advice = "check the cable's screen and ground (E- to GND), the supply, and that the load hung still"
        return [CalibrationFinding("noisy", f"{seen}: {advice}", serious=False)]
    if noise_counts < usual / NOISE_FACTOR:
        return [
            CalibrationFinding(
                "too_quiet", f"{seen}: check that these are raw counts of a live cell, not filtered or stuck"
            )
        ]
    return []


def _moved(calibration: Calibration, previous: Calibration) -> list[CalibrationFinding]:
    new = float(calibration.slope_n_per_count(calibration.zero_counts))
    old = float(previous.slope_n_per_count(previous.zero_counts))
    change = new / old - 1.0
    load = min(calibration.highest_known_n, previous.highest_known_n)
    doubt = math.hypot(
        combine(calibration.budget(load)).standard_n / load, combine(previous.budget(load)).standard_n / load
    )
    if abs(change) <= max(MOVED, 2.0 * doubt):
        return []
    return [
        CalibrationFinding(
            "slope_moved",
            f"the slope moved by {change:+.2%} since the calibration {_called(previous)}, more than both allow "
            f"({2.0 * doubt:.2%}): check for the same cell, cable, gain and masses, and for an overload in between",
        )
    ]


def _called(calibration: Calibration) -> str:
    words: Sequence[str] = [text for text in (calibration.name, calibration.created) if text]
    return " of ".join(words) or calibration.content_hash[:8]
