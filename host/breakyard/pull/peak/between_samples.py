"""The peak of a recording whose converter is not known, or has no filter.

Noise is smoothed to the bandwidth of the crest (see `smoothing`). What the unknown instrument's own filter hid no
sample tells: a force that falls at once, seen through a filter, and one that falls as slowly as it is seen to, without
any, give the same samples. The first was as high as the line through the rise is where the samples are half-way down
(every symmetrical filter shows half of a sudden fall then, and a ramp as late as that); the second no higher than its
largest sample. Nothing speaks for the one or the other, so the peak lies anywhere between the two alike.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.peak.reading import WIDEST_READING, Reading, lower_bound, normal_factor
from breakyard.pull.peak.smoothing import find_crest, hump_around

Array = NDArray[np.float64]

AT_ONCE: Final = 1.5
"""A fall that is over within this many steps was not filtered."""

RESOLVED: Final = 7.0
"""A fall that takes more steps than this is longer than the memory of converters' filters: it is seen as it was."""

LONGEST_MEMORY: Final = 4.5
"""Steps. Sigma-delta converters settle within three to five of theirs (data sheets)."""

WIDEST_FILTER: Final = 4.0 / 12.0
"""Variance, in squared steps, of the widest usual filter: a fourth-order sinc (see `breakyard.converter.response`)."""

SLOW_S: Final = 0.5
"""Amplifiers for slow tests are often set to a low pass of 1 to 10 Hz: what falls within this time may have fallen at
once. Common practice, no source."""

EXPONENTIAL: Final = 1.45
"""A low pass of one pole is half-way down after ln 2 of its delay, so that a ramp is later by this factor."""

SURE_SLOPE: Final = 0.1
"""The slope before the fall is taken over so many samples that noise makes it this unsure, as a fraction of itself."""

SUDDEN_TIMES: Final = 4.0
"""A fall at a break is so many times steeper than the rise: a filter of four steps makes it no less of a rise that
took four times as long."""

SLOPE_SAMPLES: Final = (4, 5, 7, 10, 14, 20, 28, 40, 56, 80, 112, 160)

NEAR_CREST: Final = 0.9


def read_between_samples(
    time: Array,
    load: Array,
    top: int,
    period_s: float,
    noise_n: float,
    coverage: float,
    quiet: Array,
    *,
    unfiltered: bool = False,
) -> Reading:
    """Read the highest load of another instrument's recording; quiet: samples of nothing, at the same rate.

    unfiltered: each sample is the load at its moment, so that only what lies between two of them is hidden.

    Where the load rose until it fell at once, the peak lies anywhere between the largest sample and the line to the
    next one: a uniform distribution (JCGM 100, 4.3.7). Where the fall takes a few steps it lies anywhere between the
    largest sample and the line's value at half of the fall, and the upper end is the line's value at its foot.
    """
    largest = float(load[top])
    begin, end, sudden = _stretch(time, load, top, period_s, noise_n)
    crest = find_crest(load[begin : end + 1], noise_n, quiet)
    smoothed = crest.half_width > 0 and crest.standard_n < noise_n
    level, standard = (crest.level_n, crest.standard_n) if smoothed else (largest, noise_n)
    at = begin + crest.index if smoothed else top
    below = above = 0.0
    uniform = False
    sudden = sudden and _steeper(time, load, end, noise_n, period_s)
    if sudden and at >= end - max(2, crest.half_width):
        middle, most = _hidden(time, load, end, period_s, noise_n, unfiltered=unfiltered)
        uniform = most > 0.0 and middle == 0.5 * most
        level, above = level + middle, most - middle
        below = max(middle, level - float(load[begin : end + 1].max()))  # what was seen is never ruled out
    else:
        widest = 0.0 if unfiltered else WIDEST_FILTER
        rounded, cusp = _rounded(time, load, at, end, period_s, level, noise_n, crest.half_width, widest)
        level, standard = level + 0.5 * rounded, math.hypot(standard, 0.5 * rounded)
        above = max(cusp - 0.5 * rounded, 0.0)
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
    if unfiltered:
        reason = "the converter has no filter: what lies between two samples is allowed for"
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
        smoothing=crest.told(period_s) if smoothed else None,
    )


def _stretch(time: Array, load: Array, top: int, period_s: float, noise_n: float) -> tuple[int, int, bool]:
    """First and last sample of what belongs to the crest, and whether it ends in a sudden fall."""
    begin, past = hump_around(load, top, noise_n, NEAR_CREST)
    if past >= len(load) or load[past] >= NEAR_CREST * load[top] - 4.0 * noise_n:
        return begin, past - 1, False
    foot = end = past
    while end > top and load[end] < load[end - 1] - 3.0 * noise_n:
        end -= 1
    over = max(RESOLVED * period_s, SLOW_S, float(time[min(end + 1, len(time) - 1)] - time[end]))
    return begin, end if end < foot else foot - 1, bool(time[foot] - time[end] <= over)


def _steeper(time: Array, load: Array, end: int, noise_n: float, period_s: float) -> bool:
    """Whether it falls much faster than it rose: a crest that goes down as it came up is no break."""
    stop = int(np.searchsorted(time, time[end] + RESOLVED * period_s)) + 1
    t, y = time[end : max(stop, end + 2)], load[end : max(stop, end + 2)]
    if len(t) < 2:
        return False
    return bool((-np.diff(y) / np.diff(t)).max() > SUDDEN_TIMES * _slope_before(time, load, end, noise_n))


def _hidden(
    time: Array, load: Array, end: int, period_s: float, noise_n: float, *, unfiltered: bool
) -> tuple[float, float]:
    """By how much the peak lies above the last sample of the rise on the average, and at most."""
    slope = _slope_before(time, load, end, noise_n)
    next_s = float(time[min(end + 1, len(time) - 1)] - time[end])
    stop = int(np.searchsorted(time, time[end] + max(2.0 * RESOLVED * period_s, SLOW_S, 2.0 * next_s))) + 1
    after = load[end : max(stop, end + 2)]
    floor = float(after.min())
    fallen = float(load[end]) - floor
    half_s = _crosses(time, load, end, floor + 0.5 * fallen) - float(time[end])
    foot_s = _crosses(time, load, end, floor + 0.1 * fallen) - float(time[end])
    step_s = max(next_s, period_s, 1e-12)
    if unfiltered or step_s > 2.0 * period_s or foot_s <= AT_ONCE * step_s:
        # Over from one sample to the next, or samples are missing: it may have risen until just before that one.
        most = (
            slope * min(next_s, 2.0 * LONGEST_MEMORY * period_s)
            if step_s <= 2.0 * period_s
            else slope * next_s
        )
        return 0.5 * most, most
    if foot_s > RESOLVED * step_s:  # longer than converters remember; a low pass of the amplifier might
        return 0.0, slope * (EXPONENTIAL * half_s + 0.5 * step_s)
    until_s = min(foot_s, LONGEST_MEMORY * step_s)
    return 0.5 * slope * min(half_s, 0.6 * until_s), slope * until_s


def _slope_before(time: Array, load: Array, end: int, noise_n: float) -> float:
    """Rise per second just before a fall, 0 if it does not rise; over as few samples as noise allows."""
    if end < 2:
        return 0.0
    last = end
    if end >= 3 and load[end] - load[end - 1] < 0.5 * (load[end - 1] - load[end - 2]):
        last = end - 1  # on its way down already
    slope = 0.0
    for number in SLOPE_SAMPLES:
        first = max(0, last + 1 - number)
        t, y = time[first : last + 1] - time[last], load[first : last + 1]
        if len(t) < 3:
            break
        t = t - t.mean()
        spread = float(t @ t)
        slope = float(t @ y) / max(spread, 1e-300)
        if noise_n / math.sqrt(max(spread, 1e-300)) <= SURE_SLOPE * abs(slope) or first == 0:
            break
    return max(slope, 0.0)


def _crosses(time: Array, load: Array, end: int, level: float) -> float:
    """When the load first falls through a level after `end`."""
    below = np.flatnonzero(load[end + 1 :] <= level)
    if not len(below):
        return float(time[-1])
    k = end + 1 + int(below[0])
    part = (load[k - 1] - level) / max(load[k - 1] - load[k], 1e-300)
    return float(time[k - 1] + min(max(part, 0.0), 1.0) * (time[k] - time[k - 1]))


def _rounded(
    time: Array,
    load: Array,
    at: int,
    end: int,
    period_s: float,
    level: float,
    noise_n: float,
    half: int,
    widest: float,
) -> tuple[float, float]:
    """By how much a crest may lie above what is seen of it, if it goes round and if it is a corner.

    Round: half of the filter's variance (`widest`) times the curvature, to second order, and what lies between
    samples. A corner between two slopes: their mean times the filter's mean distance from its middle, which is at most
    half a step (0.46 for a fourth-order sinc).
    """
    reach = max(3.0, float(half))
    sides = np.interp([time[at] - reach * period_s, min(time[at] + reach * period_s, time[end])], time, load)
    drop = max(level - float(sides.max()), 0.0)
    if drop < 4.0 * noise_n:
        return 0.0, 0.0
    curvature = 2.0 * drop / reach**2
    return 0.5 * (widest + 0.25) * curvature, 0.5 * (level - float(sides.mean())) / reach
