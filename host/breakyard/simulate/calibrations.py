"""Calibrations of the instruments of `families`: with small masses, or a good one.

Both are invented, as is the instrument.
"""

from dataclasses import dataclass, replace
from typing import Final
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import UsageError
from breakyard.simulate import recipes
from breakyard.simulate.cell import Cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import Conversions, Converter, counts_per_mv_v
from breakyard.simulate.families import KGF, instrument
from breakyard.simulate.pull import PullTruth, pull
from breakyard.simulate.weights import Weights, stack


@dataclass(frozen=True, slots=True)
class Point:
    """One step of a calibration as the user has it, with the truth beside it."""

    mass_kg: float | None
    """Stated mass on the hook; None when a reference cell was read."""
    stated_n: float | None
    """What the reference cell showed; None for a mass."""
    true_n: float
    counts: float
    """Mean of the step."""
    counts_standard: float
    """Standard deviation of that mean, from the converter's noise."""
    rising: bool


@dataclass(frozen=True, slots=True)
class CalibrationCase:
    """A calibration of the instrument of a seed."""

    seed: int
    kind: str
    points: tuple[Point, ...]
    weights: Weights | None
    reference_relative_standard: float | None
    """Relative standard uncertainty of the reference cell."""
    cell: Cell
    converter: Converter


SMALL_KG: Final = (20.0, 20.0, 20.0)
GOOD_KGF: Final = (0.0, 200.0, 400.0, 600.0, 800.0, 1000.0, 800.0, 600.0, 400.0, 200.0, 0.0)
REFERENCE_STANDARD: Final = 0.0005


def calibration(seed: int, kind: str, *, cell: Cell | None = None) -> CalibrationCase:
    """Calibrate the instrument of a seed (or that converter with another cell).

    "small": 0, 20, 40, 60, 40, 20, 0 kg of masses known to 10 g each, at a random place; "good": against a
    certified cell up to 1000 kgf (at most its capacity), known to 0.05 %. Raises: UsageError for another
    kind.
    """
    own, converter = instrument(seed)
    # On another day, before whatever befell the cell in the pull.
    cell = replace(own if cell is None else cell, zero_drift_per_s=0.0, zero_shift=0.0)
    rng = np.random.default_rng([seed, crc32(kind.encode())])
    if kind == "small":
        weights = draw_weights(rng)
        true = np.array(weights.forces_n)
        points = _points(rng, cell, converter, true, masses=weights.stated_kg)
        return CalibrationCase(seed, kind, points, weights, None, cell, converter)
    if kind == "good":
        true = np.array(GOOD_KGF) * min(KGF, cell.capacity_n / max(GOOD_KGF))
        shown = true * (1.0 + REFERENCE_STANDARD * rng.standard_normal())
        points = _points(rng, cell, converter, true, shown=tuple(shown.tolist()))
        return CalibrationCase(seed, kind, points, None, REFERENCE_STANDARD, cell, converter)
    raise UsageError(f'no calibration "{kind}"; there are small and good')


def calibration_recording(seed: int) -> tuple[CalibrationCase, Conversions, PullTruth]:
    """The "small" calibration of a seed, hung step by step, swinging; the truth's `holds` are its steps."""
    case = calibration(seed, "small")
    assert case.weights is not None
    rng = np.random.default_rng([seed, crc32(b"recording")])
    phases = recipes.hanging(case.weights, hold_s=12.0, swing_rad=rng.uniform(0.02, 0.08))
    truth = pull(phases, seed=int(rng.integers(2**31)))
    return case, measure(truth, case.cell, case.converter, seed=int(rng.integers(2**31))), truth


def draw_weights(rng: np.random.Generator) -> Weights:
    """Three masses of 20 kg, each known to 10 g (standard), at a random place."""
    standard = 0.01
    errors = tuple((standard * rng.standard_normal(len(SMALL_KG))).tolist())
    return stack(
        SMALL_KG,
        errors,
        standard_kg=standard,
        latitude_deg=rng.uniform(-60.0, 60.0),
        height_m=rng.uniform(0.0, 800.0),
        anomaly=2e-5 * rng.standard_normal(),
    )


def _points(
    rng: np.random.Generator,
    cell: Cell,
    converter: Converter,
    true_n: NDArray[np.float64],
    *,
    masses: tuple[float, ...] | None = None,
    shown: tuple[float, ...] | None = None,
) -> tuple[Point, ...]:
    """Means of 400 conversions at each load, in this order (the cell's hysteresis remembers)."""
    standard = converter.noise_counts / 20.0
    mv_v = cell.output_mv_v(np.arange(true_n.size), true_n)
    counts = mv_v * counts_per_mv_v(converter.gain) + standard * rng.standard_normal(true_n.size)
    top = int(np.argmax(true_n))
    return tuple(
        Point(
            mass_kg=masses[i] if masses else None,
            stated_n=shown[i] if shown else None,
            true_n=float(true_n[i]),
            counts=float(counts[i]),
            counts_standard=standard,
            rising=i <= top,
        )
        for i in range(true_n.size)
    )
