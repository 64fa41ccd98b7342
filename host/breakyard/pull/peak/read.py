"""The highest force, from the samples around the largest one.

Three regimes. Slow: the largest samples are the peak, but for a small correction by the curvature that the
filter rounds off. Ramp and break: the force is recovered through the filter (see `recover`). Too short: the
event is not much longer than the filter's memory; the largest sample is a lower bound and no more is claimed.

Everything here is about reading the samples; zero and calibration add their own doubts in the summary.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.response import variance
from breakyard.pull.peak.between_samples import read_between_samples
from breakyard.pull.peak.reading import WIDEST_READING, Reading, higher_of, lower_bound, normal_factor
from breakyard.pull.peak.recovery import SAMPLES_BEFORE, Recovered, recover
from breakyard.pull.peak.shape import DURATIONS, Durations
from breakyard.pull.peak.smoothing import Crest, find_crest, hump_around

Array = NDArray[np.float64]

PERIODS_PER_EVENT: Final = 90.0
"""ASTM STP19268S: a bandwidth of 3/T and about 30 times that in data rate for 1 % on a peak of duration T."""

SHORTEST_RISE: Final = 10.0
"""Conversions from a tenth of the peak to the peak. The filter remembers four; a line needs as many again that
are free of what came before it, and two to show that it is one. Shorter rises are not recovered."""

WORST_MISFIT: Final = 4.0
"""Residuals this many times what noise explains: the model of ramp and fall does not hold, so none is claimed."""

LONGEST_HOLE: Final = 8.0
"""Across this many conversions without a sample a fall can still be placed, with a wide interval."""

AVERAGED_FROM: Final = 1e-4
"""Noise below this fraction of the peak is not worth averaging."""

SUSPICIOUS_MISFIT: Final = 0.7

SUSPICIOUS_SURPRISE: Final = 4.0
"""Nineteen of twenty good pulls stay below both; beyond, each sample near the fall is doubted in turn."""

GLITCH_CHANCE: Final = 1e-3
"""Prior chance that a given sample near the fall is a wrong reading (1 to 5 % were reported of bad set-ups)."""

_BEFORE_FALL: Final = 6
"""A hump's largest sample is at most this many before the last one of its fall."""

_HIDES_AT_MOST: Final = 5.0
"""Conversions for which a rise may go on unseen: the filter's four and the time between samples."""

_RISES_OVER: Final = (2.5, 4.5, 8.0)
"""Conversions over which a rise before a fall is looked at."""

_AROUND: Final = 6.5
"""Conversions after the largest sample within which a sudden fall shows: the filter's four and a spare."""


@dataclass(frozen=True, slots=True)
class Sampled:
    """What a peak is read from. time_s, load_n: usable samples without glitches, zero subtracted, shape (n,)."""

    time_s: Array
    load_n: Array
    period_s: float
    noise_n: float
    filtered: bool
    """Whether a converter made them whose filter is known; else what it hid is judged by the fall."""
    orders: Mapping[int, float]
    quiet_n: Array
    """Samples of nothing, in a row: they tell what noise is."""
    unfiltered: bool = False
    """Whether it is known that no filter lies before the samples."""


def read_peak(sampled: Sampled, coverage: float, *, rivals: Sequence[int] = ()) -> Reading:
    """Read the highest force.

    rivals: indices of the last samples before other sudden falls. The force may have been higher there than the
    samples show, and higher than at the largest sample: then both are read, and the higher one counts.
    """
    time, load = sampled.time_s, sampled.load_n
    top = int(np.argmax(load))
    reading = read_hump(sampled, top, coverage)
    for start in rivals:
        near = slice(max(0, start - _BEFORE_FALL), start + 2)
        hump = near.start + int(np.argmax(load[near]))
        if abs(hump - top) <= _BEFORE_FALL or reading.bound == "lower":
            continue
        may_reach = float(load[hump]) + _may_hide(time, load, hump, sampled.period_s)
        if may_reach > reading.estimate_n - reading.below_n:
            other = read_hump(sampled, hump, coverage)
            reading = higher_of(reading, other, sampled.noise_n, coverage)
    return reading


def _may_hide(time: Array, load: Array, hump: int, period_s: float) -> float:
    """By how much the force may have been above the last sample of a rise, generously.

    Of the slopes over a few samples and over more the steepest counts: a swing that turned shortly before the fall rose
    from there only.
    """
    slopes = [0.0]
    for conversions in _RISES_OVER:
        first = max(0, int(np.searchsorted(time, time[hump] - conversions * period_s)))
        if hump - first >= 2:
            line = np.polyfit(time[first : hump + 1] - time[hump], load[first : hump + 1], 1)
            slopes.append(float(line[0]))
    return max(slopes) * _HIDES_AT_MOST * period_s


def read_hump(sampled: Sampled, top: int, coverage: float) -> Reading:
    """Read the force at one hump, whose largest sample is `top`."""
    time, load, period_s, noise_n = sampled.time_s, sampled.load_n, sampled.period_s, sampled.noise_n
    if not sampled.filtered:
        return read_between_samples(
            time, load, top, period_s, noise_n, coverage, sampled.quiet_n, unfiltered=sampled.unfiltered
        )
    if _hidden_by_gap(time, load, top, period_s):
        return replace(
            lower_bound(time, load, top, noise_n, "conversions are missing where it fell"), holed=True
        )
    rise = (time[top] - _rise_start(time, load, top)) / period_s
    if rise < SHORTEST_RISE:
        return lower_bound(time, load, top, noise_n, f"the load rose within {rise:.0f} conversions")
    falling = _sudden_fall(time, load, top, period_s, noise_n)
    if falling is None:
        return _smooth(sampled, top, coverage)
    try:
        return _recovered(time, load, top, falling, period_s, noise_n, coverage, sampled.orders)
    except np.linalg.LinAlgError:
        return lower_bound(time, load, top, noise_n, "the samples around the fall fit no ramp and fall")


def shortest_event_s(period_s: float) -> float:
    """Duration of the shortest event whose peak this rate supports to 1 % (ASTM STP19268S)."""
    return PERIODS_PER_EVENT * period_s


def _rise_start(time: Array, load: Array, top: int) -> float:
    """When the load last left a tenth of its largest value before reaching it."""
    low = np.flatnonzero(load[:top] < 0.1 * load[top])
    if not len(low):
        return float(time[0]) if top == 0 or load[0] < 0.5 * load[top] else -np.inf
    k = int(low[-1])
    part = (0.1 * load[top] - load[k]) / max(load[k + 1] - load[k], 1e-300)
    return float(time[k] + min(part, 1.0) * (time[k + 1] - time[k]))


def _hidden_by_gap(time: Array, load: Array, top: int, period_s: float) -> bool:
    """Whether the load fell within a gap so long that nothing of the fall itself was recorded."""
    if top + 1 >= len(load):
        return False
    return bool(time[top + 1] - time[top] > LONGEST_HOLE * period_s and load[top + 1] < 0.9 * load[top])


def _sudden_fall(time: Array, load: Array, top: int, period_s: float, noise_n: float) -> int | None:
    """Index of the first sample that is clearly down in a sudden fall right after `top`; None if there is none."""
    next_s = time[min(top + 1, len(time) - 1)]
    after = load[top : np.searchsorted(time, max(next_s - period_s, time[top]) + _AROUND * period_s)]
    before = load[np.searchsorted(time, time[top] - _AROUND * period_s) : top + 1]
    fall = float(load[top] - after.min())
    rise = float(load[top] - before.min())
    if fall < max(12.0 * noise_n, 0.01 * load[top]) or fall < min(1.5 * rise, 0.5 * load[top]):
        return None
    steps = -np.diff(after)
    steep = np.flatnonzero(steps > 0.08 * fall)
    return top + 1 + int(steep[0]) if len(steep) else None


def _recovered(
    time: Array,
    load: Array,
    top: int,
    falling: int,
    period_s: float,
    noise_n: float,
    coverage: float,
    orders: Mapping[int, float],
) -> Reading:
    found = recover(time, load, falling, period_s, noise_n, orders)
    glitch = _wrong_reading(time, load, falling, period_s, noise_n, found, orders)
    if glitch is not None:
        falling -= glitch < falling
        load, time = np.delete(load, glitch), np.delete(time, glitch)
        found = recover(time, load, falling, period_s, noise_n, orders)
        near = slice(max(0, falling - SAMPLES_BEFORE), falling + 1)
        top = near.start + int(np.argmax(load[near]))
    largest = float(load[top])
    floor = largest - 3.0 * noise_n
    low, high = found.quantiles(0.5 - 0.5 * coverage, 0.5 + 0.5 * coverage)
    estimate = max(found.estimate_n, floor)
    below, above = max(estimate - max(low, floor), 0.0), max(high - estimate, 0.0)
    contradicted = high < floor or found.misfit > WORST_MISFIT
    if max(below, above) > WIDEST_READING * estimate or contradicted:
        reason = "the load rose too fast and unsteadily before it fell"
        return lower_bound(time, load, top, noise_n, reason, glitch)
    return Reading(
        estimate,
        found.deviation_n,
        below,
        above,
        largest,
        found.break_s,
        "ramp_and_break",
        "two-sided",
        found,
        glitch,
        "recovered from ramp and fall through the converter's filter",
    )


def _wrong_reading(
    time: Array,
    load: Array,
    falling: int,
    period_s: float,
    noise_n: float,
    found: Recovered,
    orders: Mapping[int, float],
) -> int | None:
    """Index of a sample near the fall that is more likely a wrong reading than part of what was found."""
    odd = found.misfit > SUSPICIOUS_MISFIT or found.surprise > SUSPICIOUS_SURPRISE
    odd = odd or _stands_out(load, falling, noise_n)
    doubted = [
        k
        for k in range(max(1, falling - 4), min(len(load) - 1, falling + 6))
        if 2 <= (falling - 1 if k < falling else falling) < len(load) - 2
    ]
    # Evidence per newton: a wrong reading may lie anywhere within twice the peak.
    needed = found.log_evidence - math.log(GLITCH_CHANCE / (2.0 * float(load.max())))

    def evidence(k: int, durations: Sequence[Durations]) -> float:
        left = np.delete(time, k), np.delete(load, k)
        first = falling - 1 if k < falling else falling
        return recover(*left, first, period_s, noise_n, orders, durations, closely=False).log_evidence

    # What looks like a slow or softened fall may be a sudden one with a wrong reading: that is soon tried.
    for durations, worth in (DURATIONS[:1], odd or found.plain < 0.5), (DURATIONS, odd):
        tried = {k: evidence(k, durations) for k in doubted} if worth else {}
        best = max(tried, key=lambda k: tried[k], default=None)
        if best is not None and tried[best] > needed:
            return best
    return None


def _stands_out(load: Array, falling: int, noise_n: float) -> bool:
    """Whether one of the last samples before the fall lies well above the line through those before it."""
    for k in range(max(falling - 3, 4), falling):
        d, c, b, a = load[k - 4 : k]
        bend = max(abs(a - 2 * b + c), abs(b - 2 * c + d))
        if load[k] - (2 * a - b) > 5.0 * bend + 8.0 * noise_n and load[k] - a > 2.0 * (a - b):
            return True
    return False


def _smooth(sampled: Sampled, top: int, coverage: float) -> Reading:
    """Peak of a load that changes slowly against the filter.

    The filter lowers a curved peak by half its variance times the curvature, to second order. The correction's
    own doubt, the order and the higher terms, is taken as large as 0.6 of it.
    """
    time, load, period_s, noise_n = sampled.time_s, sampled.load_n, sampled.period_s, sampled.noise_n
    level, curvature = _crest(time, load, top, period_s, noise_n)
    own, crest = noise_n, _averaged(sampled, top)
    if crest is not None:
        level, own = crest.level_n, crest.standard_n
    correction = 0.5 * sum(weight * variance(order) for order, weight in sampled.orders.items()) * curvature
    estimate = level + 1.2 * correction
    if crest is None:
        estimate = max(estimate, float(load[top]) - 3.0 * noise_n)
    steps = np.diff(time[max(0, top - 3) : top + 4]) / period_s
    hole = float(np.max(steps, initial=1.0)) - 1.0
    standard = float(np.hypot(0.6 * correction, own))
    if hole > 0.5:  # a conversion is missing beside the peak: it may have been higher by the local bend
        neighbours = load[max(0, top - 1) : top + 2]
        standard = float(np.hypot(standard, float(np.ptp(neighbours)) * min(hole, 3.0) / np.sqrt(12.0)))
    half = normal_factor(coverage) * standard
    if half > WIDEST_READING * estimate:
        return lower_bound(time, load, top, noise_n, "the peak is as short as the filter's memory")
    reason = "slow against the filter: the largest samples are the peak"
    return Reading(
        estimate,
        standard,
        half,
        half,
        float(load[top]),
        float(time[top]),
        "slow",
        "two-sided",
        None,
        None,
        reason,
        smoothing=None if crest is None else crest.told(period_s),
    )


def _averaged(sampled: Sampled, top: int) -> Crest | None:
    """The crest with its noise averaged out, where that gains something; None if the samples themselves are as good."""
    load, noise = sampled.load_n, sampled.noise_n
    if noise < AVERAGED_FROM * load[top]:
        return None
    begin, end = hump_around(load, top, noise, 0.9)
    crest = find_crest(load[begin:end], noise, sampled.quiet_n)
    return crest if crest.half_width > 0 and crest.standard_n < noise else None


def _crest(time: Array, load: Array, top: int, period_s: float, noise_n: float) -> tuple[float, float]:
    """Level at the crest, and how it curves down per squared conversion, from three conversions either side.

    A corner between a rise and a hold is no crest: the flatter side decides.
    """
    reach = 3.0
    sides = np.interp([time[top] - reach * period_s, time[top] + reach * period_s], time, load)
    drop = max(float(load[top] - sides.max()), 0.0)
    near = load[max(0, top - 3) : top + 4]
    level = (
        float(near[near >= load[top] - 4.0 * noise_n].mean()) if drop < 8.0 * noise_n else float(load[top])
    )
    return level, 2.0 * drop / reach**2
