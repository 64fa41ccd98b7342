"""The peak as far as the samples tell, before zero and calibration add their doubts."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration.terms import coverage_factor
from breakyard.pull.peak.recovery import Recovered
from breakyard.pull.results import Bound, Regime

Array = NDArray[np.float64]

WIDEST_READING: Final = 0.03
"""A reading whose half interval exceeds this fraction of the peak is given as a lower bound."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The peak as far as samples and filter tell. Offsets are from the estimate, at the asked coverage."""

    estimate_n: float
    standard_n: float
    below_n: float
    """The interval reaches so far below the estimate ..."""
    above_n: float
    """... and so far above it."""
    largest_n: float
    time_s: float
    regime: Regime
    bound: Bound
    recovered: Recovered | None
    glitch: int | None
    """Index of a sample that spoilt the fit and was left out."""
    reason: str
    holed: bool = False
    """Whether it is a lower bound because conversions are missing, not because the event was short."""


def lower_bound(
    time: Array, load: Array, top: int, noise_n: float, reason: str, glitch: int | None = None
) -> Reading:
    """The largest sample as a lower bound, for the reason given."""
    largest = float(load[top])
    return Reading(
        largest,
        noise_n,
        3.0 * noise_n,
        0.0,
        largest,
        float(time[top]),
        "too_short",
        "lower",
        None,
        glitch,
        reason,
    )


def normal_factor(coverage: float) -> float:
    """Half-width of a two-sided interval of a normal distribution, in standard deviations."""
    return coverage_factor(float("inf"), coverage)
