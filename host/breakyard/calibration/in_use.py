"""What two more recordings tell of a cell in use: the same mass hung after several remounts, and for a long time.

They put measured values in the place of defaults (pull/in_use.py). Neither needs the mass to be known well: both are
about the same mass against itself.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from breakyard.calibration.fit import Floats
from breakyard.calibration.model import Calibration
from breakyard.calibration.points import Point
from breakyard.calibration.terms import Term, limits
from breakyard.errors import CalibrationError

REMOUNTS: Final = 3
"""Fewer tell hardly anything of a scatter; ISO 376 turns the transducer into three positions (from memory)."""

REMOUNT: Final = 0.002
"""Limit either way for shackles and pins that sit otherwise than at the calibration: half of the 0.4 % that ISO 376
allows class 2 between rotated positions (from memory)."""
WHERE_REMOUNT: Final = "remounting"
"""Name of its term."""

HOLD_S: Final = 1800.0
"""OIML R 60 watches creep for 30 minutes."""
SHORTEST_S: Final = 0.9 * HOLD_S
SETTLED_S: Final = 10.0
"""After hanging or lifting: swinging and handling."""
LOOK_S: Final = 30.0
CLEAR: Final = 20.0
"""Standard deviations of the empty reading that a mass must show."""


@dataclass(frozen=True, slots=True)
class Remounts:
    """How one mounting scatters, as a share of the load: `standard`, its degrees of freedom, each one's own."""

    standard: float
    freedom: int
    shares: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class CreepHold:
    """By which share of the load the reading crept, without its sign and with its own doubt added; how long it hung."""

    share: float
    seconds: float


def mounting(load_n: float, standard: float | None = None, freedom: float = math.inf) -> Term:
    """What another mounting may show of a load: the default, or the standard deviation of mountings, as its share."""
    if standard is None:
        return limits(WHERE_REMOUNT, REMOUNT * load_n)
    return Term(WHERE_REMOUNT, standard * load_n, freedom, "A")


def remounts(calibration: Calibration, points: Sequence[Point]) -> Remounts:
    """From points that alternate: empty, mass, empty, mass ..., empty; the cell taken out of the line in between.

    Each mass is held against the mean of the empty readings around it, which belong to its own mounting.
    Raises: CalibrationError for another order or too few.
    """
    number = len(points) // 2
    ordered = all(point.load.nothing == (at % 2 == 0) for at, point in enumerate(points))
    if len(points) % 2 == 0 or not ordered or number < REMOUNTS:
        raise CalibrationError(
            f"remounting needs empty, mass, empty, mass ... with {REMOUNTS} masses or more, and empty at the end"
        )
    shown = [
        float(calibration.load_n(points[at].counts, 0.5 * (points[at - 1].counts + points[at + 1].counts)))
        for at in range(1, len(points), 2)
    ]
    mean = sum(shown) / number
    shares = tuple(value / mean - 1.0 for value in shown)
    return Remounts(math.sqrt(math.fsum(x * x for x in shares) / (number - 1)), number - 1, shares)


def hold(time_s: Floats, counts: Floats) -> CreepHold:
    """Creep from one recording: empty for some seconds, the mass for half an hour, better empty again.

    time_s, counts: (n,). Share = |late - early| / (early - empty), each a mean over LOOK_S, the empty reading's own
    drift taken off in proportion to time where it was seen again; two standard deviations of the means are added.
    Raises: CalibrationError for a recording that shows no such hold.
    """
    low, high = np.quantile(counts, [0.005, 0.995])
    loaded = np.abs(counts - np.median(counts[time_s < time_s[0] + 3.0])) > 0.5 * abs(high - low)
    on = np.flatnonzero(loaded)
    if (
        not len(on)
        or abs(high - low) < CLEAR * float(np.std(counts[time_s < time_s[0] + 3.0]))
        or high == low
    ):
        raise CalibrationError(
            "nothing was hung in this recording: empty hook, then the mass for half an hour"
        )
    start, end = float(time_s[on[0]]), float(time_s[on[-1]])
    if end - start < SHORTEST_S:
        raise CalibrationError(
            f"the mass hung for {(end - start) / 60.0:.0f} minutes; {HOLD_S / 60.0:.0f} are needed to see the creep"
        )

    def mean(from_s: float, to_s: float) -> tuple[float, float, float]:
        chosen = counts[(time_s >= from_s) & (time_s <= to_s)]
        if len(chosen) < 10:
            return math.nan, math.nan, math.nan
        return float(chosen.mean()), float(chosen.std(ddof=1)) / math.sqrt(len(chosen)), 0.5 * (from_s + to_s)

    empty, empty_standard, empty_s = mean(start - LOOK_S, start - 1.0)
    early, early_standard, early_s = mean(start + SETTLED_S, start + SETTLED_S + LOOK_S)
    late, late_standard, late_s = mean(end - 2.0 - LOOK_S, end - 2.0)
    if not math.isfinite(empty):
        raise CalibrationError(
            "the empty hook is missing before the mass: leave it empty for ten seconds first"
        )
    again, _, again_s = mean(end + SETTLED_S, end + SETTLED_S + LOOK_S)
    pace = (again - empty) / (again_s - empty_s) if math.isfinite(again) else 0.0
    crept = (late - early - pace * (late_s - early_s)) / (early - empty)
    doubt = 2.0 * math.hypot(empty_standard, early_standard, late_standard) / abs(early - empty)
    return CreepHold(abs(crept) + doubt, end - start)
