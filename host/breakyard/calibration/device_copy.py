"""The fit alone, rounded to what a board computes with, so that a phone can show force.

Boards have single-precision floats and small integers. Centre and scale are whole counts here, so that
(counts - centre) is exact on the board, and the coefficients are rounded to single precision. The interval
stays with the calibration; the hash names it.
"""

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from breakyard.calibration.model import Calibration
from breakyard.errors import CalibrationError
from breakyard.wire.layout import GAINS, MAX_TEXT
from breakyard.wire.records import CalibrationCopy

_MOST: Final = 3
"""Degree of the polynomial that a record holds."""


@dataclass(frozen=True, slots=True)
class DeviceCopy:
    """force_n = sum of coefficients_n[k] * z**k with z = (counts - centre) / scale, zero taken off as usual."""

    centre: int
    scale: int
    coefficients_n: tuple[float, ...]
    highest_known_n: float
    gain: int | None
    content_hash: str
    made_s: int
    """When the calibration was made: Unix time, 0 where it does not say."""

    def fields(self) -> dict[str, int | float]:
        """The fields of the protocol's record that a load is computed from, and when they were made."""
        terms = (*self.coefficients_n, *[0.0] * _MOST)[: _MOST + 1]
        return {
            "made_s": self.made_s,
            "centre_counts": self.centre,
            "scale_counts": self.scale,
            "highest_known_n": self.highest_known_n,
            **{f"c{k}_n": term for k, term in enumerate(terms)},
        }


def copy_for_device(calibration: Calibration) -> DeviceCopy:
    """Re-expand the polynomial about whole counts and round it; within 1e-6 of the calibration."""
    centre, scale = round(calibration.centre), max(1, round(calibration.scale))
    shift, ratio = (centre - calibration.centre) / calibration.scale, scale / calibration.scale
    moved = [0.0] * len(calibration.coefficients)
    for k, coefficient in enumerate(calibration.coefficients):
        for j in range(k + 1):
            moved[j] += coefficient * math.comb(k, j) * shift ** (k - j) * ratio**j
    return DeviceCopy(
        centre,
        scale,
        tuple(float(np.float32(value)) for value in moved),
        float(np.float32(calibration.highest_known_n)),
        calibration.gain,
        calibration.content_hash,
        _unix(calibration.created),
    )


def record_for_device(calibration: Calibration) -> CalibrationCopy:
    """The record that a logger keeps and hands to a telephone.

    Raises: CalibrationError when it is not known for which gain the calibration holds.
    """
    copy = copy_for_device(calibration)
    inputs = {gain: number for number, gain in GAINS.items()}
    if copy.gain not in inputs:
        raise CalibrationError(
            f'the calibration "{calibration.name}" does not say for which gain it holds, so no logger can keep it: '
            "calibrate from a run of the logger"
        )
    capacity = calibration.plate.capacity_n if calibration.plate else 0.0
    return CalibrationCopy(
        run=0,
        index=0,
        name=_short(calibration.name),
        input=int(inputs[copy.gain]),
        capacity_n=float(np.float32(capacity)),
        sha256=bytes.fromhex(copy.content_hash),
        **copy.fields(),  # type: ignore[arg-type]
    )


def load_of_copy(copy: CalibrationCopy, counts: float, zero_counts: float) -> float:
    """Newtons as a telephone computes them from the copy alone: force at the counts less that at the zero."""

    def force(at: float) -> float:
        z = (at - copy.centre_counts) / copy.scale_counts
        return copy.c0_n + z * (copy.c1_n + z * (copy.c2_n + z * copy.c3_n))

    return force(counts) - force(zero_counts)


def _short(name: str) -> str:
    """The name, cut at a whole character so that it fits a record."""
    return name.encode()[:MAX_TEXT].decode(errors="ignore")


def _unix(created: str) -> int:
    """Seconds of Unix time of an ISO date, 0 when there is none."""
    try:
        return max(0, int(datetime.fromisoformat(created).timestamp()))
    except ValueError:
        return 0
