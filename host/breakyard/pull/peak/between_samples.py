"""The peak of a recording whose converter is not known: only the time between samples is allowed for."""

import math

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.peak.reading import WIDEST_READING, Reading, lower_bound, normal_factor

Array = NDArray[np.float64]


def read_between_samples(time: Array, load: Array, top: int, noise_n: float, coverage: float) -> Reading:
    """Read the highest load of another instrument's recording.

    Where the load rose until the largest sample and fell at once after it, the peak lies anywhere between that
    sample and the line to the next one: a uniform distribution (JCGM 100, 4.3.7). Where it went round, the
    parabola through three samples says how much they missed, with half of that as its own doubt.
    """
    largest = float(load[top])
    hidden = 0.0
    if 0 < top < len(load) - 1:
        first = max(0, top - 4)
        slope = max(float(np.polyfit(time[first : top + 1] - time[top], load[first : top + 1], 1)[0]), 0.0)
        onward = slope * float(time[top + 1] - time[top])
        fallen = float(load[top] - load[top + 1])
        hidden = onward if fallen > 3.0 * slope * float(time[top] - time[top - 1]) else 0.0
    if hidden > 0.0:
        more, standard = 0.5 * hidden, hidden / math.sqrt(12.0)
    else:
        more = _vertex(time[top - 1 : top + 2], load[top - 1 : top + 2]) - largest if top else 0.0
        standard = 0.5 * more
    standard = math.hypot(standard, noise_n)
    estimate = largest + more
    half = normal_factor(coverage) * standard
    if half > WIDEST_READING * estimate:
        return lower_bound(time, load, top, noise_n, "the load rose too much between two samples")
    reason = "no converter is known: only the time between samples is allowed for"
    return Reading(
        estimate, standard, half, half, largest, float(time[top]), "slow", "two-sided", None, None, reason
    )


def _vertex(time: Array, load: Array) -> float:
    """Top of the parabola through three samples, of which the middle one is the largest."""
    if len(time) < 3:
        return float(load.max())
    left, right = (load[1] - load[0]) / (time[1] - time[0]), (load[2] - load[1]) / (time[2] - time[1])
    bend = (right - left) / (time[2] - time[0])
    if bend >= 0.0:
        return float(load[1])
    # Slope at the middle sample of the parabola, weighted by the opposite steps.
    steps = np.diff(time)
    slope = (left * steps[1] + right * steps[0]) / (time[2] - time[0])
    return float(load[1] - slope**2 / (4.0 * bend))
