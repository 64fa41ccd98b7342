"""The peak of a recording whose converter is not known.

Noise is smoothed to the bandwidth of the crest (see `smoothing`). What the unknown instrument's own filter hid is told
by how the load fells: a fall that is over from one sample to the next was not filtered; one that takes a few samples
was, or was slow, and then the truth lies between the largest sample and the rising line's end at the foot of the fall.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.peak.reading import WIDEST_READING, Reading, lower_bound, normal_factor
from breakyard.pull.peak.smoothing import Crest, find_crest, hump_around

Array = NDArray[np.float64]

AT_ONCE: Final = 1.5
"""A fall that is over within this many steps was not filtered."""

RESOLVED: Final = 7.0
"""A fall that takes more steps than this is longer than the memory of converters' filters: it is seen as it was."""

LONGEST_MEMORY: Final = 4.5
"""Steps. Sigma-delta converters settle within three to five of theirs (data sheets)."""

WIDEST_FILTER: Final = 4.0 / 12.0
"""Variance, in squared steps, of the widest usual filter: a fourth-order sinc (see `breakyard.converter.response`)."""

STEADY_S: Final = 0.3
"""What a rise of the last moments alone shows may be a stroke or a swing: the estimate goes on no faster than this
time's rise, the upper end as fast as the last samples rise."""

NEAR_CREST: Final = 0.9


def read_between_samples(
    time: Array, load: Array, top: int, period_s: float, noise_n: float, coverage: float, quiet: Array
) -> Reading:
    """Read the highest load of another instrument's recording; quiet: samples of nothing, at the same rate.

    Where the load rose until it fell at once, the peak lies anywhere between the largest sample and the line to the
    next one: a uniform distribution (JCGM 100, 4.3.7). Every symmetrical filter shows half of a sudden fall when the
    line through the rise, as filtered, reads the force at it: so the line's value there is the estimate where a fall
    takes a few steps, the largest sample the lower end and the line's value at the fall's foot the upper end.
    """
    largest = float(load[top])
    begin, end, sudden = _stretch(time, load, top, period_s, noise_n)
    crest = find_crest(load[begin : end + 1], noise_n, quiet)
    smoothed = crest.half_width > 0 and crest.standard_n < noise_n
    level, standard = (crest.level_n, crest.standard_n) if smoothed else (largest, noise_n)
    at = begin + crest.index if smoothed else top
    below = above = 0.0
    uniform = False
    if sudden and at >= end - max(2, crest.half_width):
        least, middle, most = _hidden(time, load, end, period_s, noise_n, crest)
        uniform = middle == 0.5 * (least + most) and least == 0.0
        level, below, above = level + middle, middle - least, most - middle
    else:
        rounded = _rounded(time, load, at, end, period_s, level, noise_n, crest.half_width)
        level, standard = level + 0.5 * rounded, math.hypot(standard, 0.5 * rounded)
    factor = normal_factor(coverage)
    if uniform:
        standard = math.hypot(standard, below / math.sqrt(3.0))
        below = above = factor * standard
    else:
        own = factor * standard
        below, above = math.hypot(below, own), math.hypot(above, own)
        standard = math.hypot(standard, (below + above) / (2.0 * factor)) if below != above else standard
    if max(below, above) > WIDEST_READING * level:
        return lower_bound(time, load, top, noise_n, "the load rose too much between two samples")
    reason = "no converter is known: what its filter may have hidden is allowed for"
    if smoothed:
        reason += (
            f"; noise averaged over {2 * crest.half_width + 1} samples (to about "
            f"{crest.bandwidth_hz(period_s):.3g} Hz)"
        )
    hidden = sudden and (below > 2.0 * factor * noise_n or above > 2.0 * factor * noise_n)
    return Reading(
        level,
        standard,
        below,
        above,
        max(largest, float(load[begin : end + 1].max())),
        float(time[at]),
        "ramp_and_break" if hidden else "slow",
        "two-sided",
        None,
        None,
        reason,
        smoothed=smoothed,
    )


def _stretch(time: Array, load: Array, top: int, period_s: float, noise_n: float) -> tuple[int, int, bool]:
    """First and last sample of what belongs to the crest, and whether it ends in a sudden fall."""
    begin, past = hump_around(load, top, noise_n, NEAR_CREST)
    if past >= len(load) or load[past] >= NEAR_CREST * load[top] - 4.0 * noise_n:
        return begin, past - 1, False
    foot = end = past
    while end > top and load[end] < load[end - 1] - 3.0 * noise_n:
        end -= 1
    over = max(RESOLVED * period_s, float(time[min(end + 1, len(time) - 1)] - time[end]))
    return begin, end if end < foot else foot - 1, bool(time[foot] - time[end] <= over)


def _hidden(
    time: Array, load: Array, end: int, period_s: float, noise_n: float, crest: Crest
) -> tuple[float, float, float]:
    """Least, likeliest and most by which the peak lies above the last sample of the rise."""
    count = max(6, min(3 * crest.half_width, 200))
    first = max(0, end - count)
    # The last sample may be on its way down already; noise wants a longer line.
    t, y = time[first : end + 1] - time[end], load[first : end + 1]
    if len(t) < 3:
        return 0.0, 0.0, 0.0
    slope = max(float(np.polyfit(t, y, 1)[0]), 0.0)
    longer = slice(min(first, int(np.searchsorted(time, time[end] - STEADY_S))), end + 1)
    steady = min(slope, max(float(np.polyfit(time[longer] - time[end], load[longer], 1)[0]), 0.0))
    next_s = float(time[min(end + 1, len(time) - 1)] - time[end])
    stop = int(np.searchsorted(time, time[end] + max(2.0 * RESOLVED * period_s, 2.0 * next_s))) + 1
    after = load[end : max(stop, end + 2)]
    floor = float(after.min())
    fallen = float(load[end]) - floor
    half = _crosses(time, load, end, floor + 0.5 * fallen)
    foot = _crosses(time, load, end, floor + 0.1 * fallen)
    steps = (foot - time[end]) / max(period_s, 1e-12)
    gap = max(next_s / max(period_s, 1e-12), 1.0)
    if gap > 2.0:  # samples are missing where it fell: it may have risen until just before the next one
        return 0.0, 0.5 * steady * next_s, slope * next_s
    if steps <= AT_ONCE * gap or steps > RESOLVED * gap:
        most = slope * min(next_s, 2.0 * LONGEST_MEMORY * period_s)
        return 0.0, 0.5 * most, most
    until = min(foot - time[end], LONGEST_MEMORY * period_s * gap)
    return 0.0, steady * min(half - time[end], 0.6 * until), slope * until


def _crosses(time: Array, load: Array, end: int, level: float) -> float:
    """When the load first falls through a level after `end`."""
    below = np.flatnonzero(load[end + 1 :] <= level)
    if not len(below):
        return float(time[-1])
    k = end + 1 + int(below[0])
    part = (load[k - 1] - level) / max(load[k - 1] - load[k], 1e-300)
    return float(time[k - 1] + min(max(part, 0.0), 1.0) * (time[k] - time[k - 1]))


def _rounded(
    time: Array, load: Array, at: int, end: int, period_s: float, level: float, noise_n: float, half: int
) -> float:
    """By how much a crest that goes round may lie above what is seen of it.

    Half of the widest usual filter's variance times the curvature, to second order, and what lies between samples.
    """
    reach = max(3.0, float(half))
    sides = np.interp([time[at] - reach * period_s, min(time[at] + reach * period_s, time[end])], time, load)
    drop = max(level - float(sides.max()), 0.0)
    if drop < 4.0 * noise_n:
        return 0.0
    curvature = 2.0 * drop / reach**2
    return 0.5 * (WIDEST_FILTER + 0.25) * curvature
