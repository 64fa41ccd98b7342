"""The peak of a recording whose converter is not known, or has no filter.

Noise is smoothed to the bandwidth of the crest (see `smoothing`). What the unknown instrument's own filter hid no
sample tells: a force that falls at once, seen through a filter, and one that falls as slowly as it is seen to, without
any, give the same samples. The first was as high as the line through the rise is where the samples are half-way down
(every symmetrical filter shows half of a sudden fall then, and a ramp as late as that); the second no higher than its
largest sample. Nothing speaks for the one or the other, so the peak lies anywhere between the two alike.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.peak.reading import WIDEST_READING, Reading, lower_bound, normal_factor
from breakyard.pull.peak.smoothing import find_crest, hump_around, scatter_of

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
"""The slope before the fall is taken over as many samples as it takes for noise to leave it no more unsure,
as a fraction of itself."""

SUDDEN_TIMES: Final = 4.0
"""A fall at a break is this many times steeper than the rise: a filter of four steps makes it no less of a rise that
took four times as long."""

STEPS_BACK: Final = 3

RARE: Final = 0.95
"""A start that fewer moments of the pull precede than one in twenty is not allowed for."""

SLOPE_SAMPLES: Final = (4, 5, 7, 10, 14, 20, 28, 40, 56, 80, 112, 160)

NEAR_CREST: Final = 0.9

CLEAR_OF_CORNER: Final = 1.5
"""Steps from a corner at which converters' filters show the straight lines on its sides again (4 of memory, halved,
less what their ends hardly weigh), ..."""

CORNER_REACH: Final = 4.5
"""... and up to which these are looked at: three samples a side."""

CUT_OFF: Final = 0.65
"""Steps by whose rise and fall, on the average, a filter and the time between samples cut off a corner at most (0.5 of
a step for samples of the load itself; 0.46 for a fourth-order sinc in the middle of the corner, more beside it), ..."""

PARABOLA: Final = 3.0 / 16.0
"""... and the part of its half-width by which a parabola through either side does: its value at 0 for abs(x)."""

RISE_STEPS: Final = 4
"""A rise of this many steps, the last one aside, tells its slope if ..."""

STRAIGHT: Final = 0.3
"""... they differ by less than this fraction."""

SLACK: Final = 0.3
"""Of a step, by which samples may be off."""


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
    begin, end, last, sudden = _stretch(time, load, top, period_s, noise_n)
    sudden = sudden and _steeper(time, load, end, noise_n, period_s)
    if not sudden:  # a crest that goes down as it came up has two sides
        end = last
        if 0 < top < len(load) - 1 and max(load[top - 1], load[top + 1]) < 0.5 * largest:
            return lower_bound(time, load, top, noise_n, "one sample alone shows it")
    crest = find_crest(load[begin : end + 1], noise_n, quiet)
    smoothed = crest.half_width > 0 and crest.standard_n < noise_n
    level, standard = (crest.level_n, crest.standard_n) if smoothed else (largest, noise_n)
    at = begin + crest.index if smoothed else top
    # Strokes at a few samples a second look like noise of the whole; what is quiet tells that of one sample.
    quietest = min(noise_n, max(2.0 * scatter_of(quiet), noise_n / 8.0)) if len(quiet) >= 8 else noise_n
    below = above = unsteady = 0.0
    uniform = False
    if sudden and at >= end - max(2, crest.half_width):
        middle, most, until_s = _hidden(time, load, end, period_s, noise_n, unfiltered=unfiltered)
        uniform = most > 0.0 and middle == 0.5 * most
        unsteady = _unsteady(time, load, end, until_s, period_s, quietest)
        level, above = level + middle, most - middle
        below = max(middle, level - float(load[begin : end + 1].max()))  # what was seen is never ruled out
    else:
        widest = 0.0 if unfiltered else WIDEST_FILTER
        stop = end if sudden else len(load) - 1
        rounded, corner = _cut_off(time, load, at, stop, period_s, level, noise_n, crest.half_width, widest)
        level, standard = level + 0.5 * (rounded + corner), math.hypot(standard, 0.5 * rounded)
        below, uniform = 0.5 * corner, True
        if sudden:  # lower than the crest by what a stroke between two samples may have made up for
            _, most, until_s = _hidden(time, load, end, period_s, noise_n, unfiltered=unfiltered)
            most += _unsteady(time, load, end, until_s, period_s, quietest)
            unsteady = max(float(load[end]) + most - level, 0.0)
    factor = normal_factor(coverage)
    if uniform:
        standard = math.hypot(standard, below / math.sqrt(3.0))
        below = above = factor * standard
    else:
        own = factor * standard
        below, above = math.hypot(below, own), math.hypot(above, own)
        standard = math.hypot(standard, (below + above) / (2.0 * factor)) if below != above else standard
    if unsteady > 0.0:
        above = math.hypot(above, unsteady)
        standard = math.hypot(standard, unsteady / (2.0 * factor))
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


def _stretch(
    time: Array, load: Array, top: int, period_s: float, noise_n: float
) -> tuple[int, int, int, bool]:
    """First sample of what belongs to the crest, last one if it ends in a fall, last one if not, and whether that
    fall may be sudden."""
    begin, past = hump_around(load, top, noise_n, NEAR_CREST)
    if past >= len(load) or load[past] >= NEAR_CREST * load[top] - 4.0 * noise_n:
        return begin, past - 1, past - 1, False
    foot = end = past
    while end > top and load[end] < load[end - 1] - 3.0 * noise_n:
        end -= 1
    over = max(RESOLVED * period_s, SLOW_S, float(time[min(end + 1, len(time) - 1)] - time[end]))
    return begin, end if end < foot else foot - 1, past - 1, bool(time[foot] - time[end] <= over)


def _steeper(time: Array, load: Array, end: int, noise_n: float, period_s: float) -> bool:
    """Whether it falls much faster than it rose: a crest that goes down as it came up is no break."""
    stop = int(np.searchsorted(time, time[end] + RESOLVED * period_s)) + 1
    t, y = time[end : max(stop, end + 2)], load[end : max(stop, end + 2)]
    if len(t) < 2:
        return False
    return bool((-np.diff(y) / np.diff(t)).max() > SUDDEN_TIMES * _slope_before(time, load, end, noise_n))


def _hidden(
    time: Array, load: Array, end: int, period_s: float, noise_n: float, *, unfiltered: bool
) -> tuple[float, float, float]:
    """By how much the peak lies above the last sample of the rise on the average, and at most; for how long it may have
    gone on rising."""
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
        until_s = min(next_s, 2.0 * LONGEST_MEMORY * period_s) if step_s <= 2.0 * period_s else next_s
        return 0.5 * slope * until_s, slope * until_s, until_s
    if foot_s > RESOLVED * step_s:  # longer than converters remember; a low pass of the amplifier might
        return 0.0, slope * (EXPONENTIAL * half_s + 0.5 * step_s), 0.5 * step_s
    until_s = min(foot_s, LONGEST_MEMORY * step_s)
    return 0.5 * slope * min(half_s, 0.6 * until_s), slope * until_s, until_s


def _unsteady(time: Array, load: Array, end: int, until_s: float, period_s: float, noise_n: float) -> float:
    """By how much the load rose faster than the line before it says, as this very pull shows for other moments.

    The strokes of a pump or a lever begin between two samples of a slow recording: then what came last tells little.
    From a third of the load on, the quantile RARE of what such a line fell short of over as long a time.
    """
    ahead = max(1, round(until_s / period_s))
    begin = max(int(np.argmax(load[: end + 1] >= load[end] / 3.0)), STEPS_BACK)
    at = np.arange(begin, end + 1 - ahead)
    if not len(at):
        return 0.0
    past = load[at] - load[at - STEPS_BACK]
    slope = np.maximum(past / np.maximum(time[at] - time[at - STEPS_BACK], 1e-12), 0.0)
    short = load[at + ahead] - load[at] - slope * (time[at + ahead] - time[at])
    return max(float(np.quantile(short, RARE)) - 6.0 * noise_n, 0.0)


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


def _cut_off(
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
    """By how much a crest may lie above what is seen of it: what its roundness makes likely, and what a
    corner can hide.

    Round: half of the filter's variance (`widest`) times the curvature, to second order, and what lies between
    samples. Corner: the lines through the samples on either side meet at its tip, whatever symmetrical filter they went
    through. As far as those samples bend themselves the crest is round: only what is bent beyond that may be a corner.
    """
    reach = max(3.0, float(half))
    sides = np.interp([time[at] - reach * period_s, min(time[at] + reach * period_s, time[end])], time, load)
    drop = max(level - float(sides.max()), 0.0)
    if drop < 4.0 * noise_n:
        return 0.0, 0.0
    rounded = 0.5 * (widest + 0.25) * 2.0 * drop / reach**2
    near, far = max(CLEAR_OF_CORNER, 0.5 * half), max(CORNER_REACH, 2.0 * half)
    steps = (time[: end + 1] - time[at]) / period_s
    outer = (steps <= -near) & (steps >= -far), (steps >= near) & (steps <= far)
    left, right = (_side(steps[here], load[: end + 1][here], noise_n) for here in outer)
    tip = _meet(left, right) - level
    if half == 0:  # a side may be steep close to the crest only
        close = (
            (steps <= -1.0 + SLACK) & (steps >= -2.0 - SLACK),
            (steps >= 1.0 - SLACK) & (steps <= 2.0 + SLACK),
        )
        tip = max(tip, _meet(*(_side(steps[here], load[: end + 1][here], noise_n) for here in close)) - level)
    share = 1.0
    if left is not None and right is not None and left.slope > right.slope:
        explained = 0.5 * (left.bend + right.bend) * (right.at - left.at) / (left.slope - right.slope)
        share = 1.0 - min(explained, 1.0)
    # Teeth, a few samples each: up to the tip, and off at once.
    if math.isinf(tip) and half == 0 and 0 < at < end:
        tip = min(level - float(load[at - 1]), level - float(load[at + 1])) - 4.0 * noise_n
    elif left is not None and right is not None:
        tip = min(tip, (CUT_OFF + PARABOLA * half) * 0.5 * max(left.slope - right.slope, 0.0))
    corner = share * max(tip, 0.0)
    after = load[at : at + 2]
    easing = max(0.0 if right is None else -right.slope, float(after[0] - after[-1]) - 4.0 * noise_n)
    if _came_at_once(steps, load[: end + 1], at, easing, noise_n):
        corner = max(corner, easing * (1.0 + 0.5 * LONGEST_MEMORY))
    return (1.0 - share) * rounded, corner


def _came_at_once(steps: Array, load: Array, at: int, easing: float, noise_n: float) -> bool:
    """Whether the rise to a crest was too short to tell its slope, and much steeper than what followed, `easing`.

    Then the top may lie between the crest and the sample before it, and a filter may have lowered it.
    """
    first = max(at - RISE_STEPS, 0)
    rates = np.diff(load[first : at + 1]) / np.maximum(np.diff(steps[first : at + 1]), SLACK)
    # The top may lie within the last step, so that the one before it was the steep one.
    if rates[-2:].max(initial=0.0) <= max(SUDDEN_TIMES * easing, 12.0 * noise_n) or easing <= 0.0:
        return False
    before = rates[:-1]
    return len(before) < RISE_STEPS - 1 or bool(
        np.ptp(before) > STRAIGHT * abs(float(before.mean())) + 6.0 * noise_n
    )


@dataclass(frozen=True, slots=True)
class _Side:
    """The line through some samples: its middle, the load there, its slope per step, and its bend down, if sure."""

    at: float
    load: float
    slope: float
    bend: float


def _side(steps: Array, load: Array, noise_n: float) -> _Side | None:
    if len(steps) < 2:
        return None
    at = float(steps.mean())
    x = steps - at
    spread = float(x @ x)
    slope = float(x @ load) / max(spread, 1e-300)
    bend = 0.0
    if len(steps) >= 3:
        round_ = x**2 - spread / len(x) - x * float(x @ x**2) / max(spread, 1e-300)
        size = max(float(round_ @ round_), 1e-300)
        bend = max(-2.0 * float(round_ @ load) / size - 2.0 * noise_n / math.sqrt(size), 0.0)
    return _Side(at, float(load.mean()), slope, bend)


def _meet(left: _Side | None, right: _Side | None) -> float:
    """The load where the line of a rise and that of a fall meet; minus infinity if they do not."""
    if left is None or right is None or not left.slope > 0.0 > right.slope:
        return -math.inf
    at = (right.load - left.load + left.slope * left.at - right.slope * right.at) / (left.slope - right.slope)
    return left.load + left.slope * (at - left.at)
