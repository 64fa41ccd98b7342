"""What happened: first peak, plateaus, settled load, partial drops, and how the specimen let go.

The rules use the load alone and do not depend on the sampling step. They are common practice unless a source
is named; the manner of break says which rule decided, and `sure` is False near a rule's limit.

brittle      a sudden fall from within 2 % of the peak, at once after it was reached
ductile      the load bent over: it stayed within 3 % of the peak five times longer than the loading rate
             explains, or it had eased by 2 % or more before it let go
progressive  at least one partial drop of 5 % of the peak or more before the last fall
none         no fall to below half of the load
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.falls import Fall, find_falls
from breakyard.pull.results import Break, Drop, Energy, FirstPeak, Manner, Plateau, Settled

Array = NDArray[np.float64]

FIRST_PEAK_FALL: Final = 0.005
"""ISO 6892-1, upper yield: the highest load before a reduction of at least 0.5 % (from memory)."""

FIRST_PEAK_FLOOR: Final = 0.1
"""Below this fraction of the peak a maximum is handling or take-up, not the specimen."""

PARTIAL_DROP: Final = 0.05
EASED: Final = 0.02
NEAR_PEAK: Final = 0.97
BENT_OVER: Final = 5.0
LEFT_AFTER_BREAK: Final = 0.5
ENDED_EARLY: Final = 0.1
"""A recording that ends above this fraction of the peak, unbroken, ended early."""

PLATEAU_RATE: Final = 0.1
"""On a plateau the load changes at less than this fraction of the loading rate ..."""
PLATEAU_S: Final = 0.75
"""... for at least this long."""


@dataclass(frozen=True, slots=True)
class Pull:
    """What the rules look at. time_s, load_n: usable samples without glitches, zero subtracted, shape (n,)."""

    time_s: Array
    load_n: Array
    onset: int
    """Index of the first sample after the onset."""
    period_s: float
    noise_n: float
    usual_rate: float
    """Typical loading rate in N/s."""
    delay_s: float
    """By how much the filter shows a sudden fall late."""
    clipped: bool
    """Whether the top of the curve is cut off at a rail."""
    too_short: bool = False
    """Whether the event is too short for the rate, so that its shape is the filter's."""

    @property
    def top(self) -> int:
        """Index of the largest sample."""
        return int(np.argmax(self.load_n))

    @property
    def peak_n(self) -> float:
        return float(self.load_n.max())


@dataclass(frozen=True, slots=True)
class Story:
    """The events of one pull."""

    first_peak: FirstPeak
    failure: Break
    settled: Settled | None
    plateaus: tuple[Plateau, ...]
    drops: tuple[Drop, ...]
    break_index: int | None
    """Index of the last sample before the break."""
    ended_early: bool
    end_load_n: float


def tell(pull: Pull) -> Story:
    """Tell the events of a pull."""
    time, load, top, peak = pull.time_s, pull.load_n, pull.top, pull.peak_n
    falls = [
        fall
        for fall in find_falls(time, load, peak, pull.noise_n, pull.usual_rate)
        if fall.start >= pull.onset
    ]
    last = _break_of(pull, falls)
    ended = float(np.median(load[-max(3, int(0.2 / pull.period_s)) :]))
    stop = last.start if last else _end_of_hold(load, top, peak)
    plateaus = _plateaus(pull, stop)
    settled = _settled(plateaus, time, top, stop, broke=last is not None)
    drops = tuple(
        Drop(float(time[fall.start]) - pull.delay_s, fall.from_n, fall.to_n)
        for fall in falls
        if fall is not last and fall.start < stop and fall.to_n >= 0.2 * peak
    )
    return Story(
        first_peak=_first_peak(pull),
        failure=_failure(pull, last, drops, settled),
        settled=settled,
        plateaus=plateaus,
        drops=drops,
        break_index=last.start if last else None,
        ended_early=last is None and ended > ENDED_EARLY * peak,
        end_load_n=ended,
    )


def work(time: Array, load: Array, extension: Array, onset: int, top: int, broke: int | None) -> Energy:
    """Work under the load over the extension, from the onset, and the stiffness between 20 and 60 % of the peak."""
    stretch = extension - extension[onset]

    def until(stop: int) -> float:
        return float(np.trapezoid(load[onset : stop + 1], stretch[onset : stop + 1]))

    rising = slice(onset, top + 1)
    inside = (load[rising] > 0.2 * load[top]) & (load[rising] < 0.6 * load[top])
    x, y = stretch[rising][inside], load[rising][inside]
    stiffness = float(np.polyfit(x, y, 1)[0]) if inside.sum() >= 3 and np.ptp(x) > 0 else None
    return Energy(until(top), None if broke is None else until(broke), stiffness, float(stretch[top]))


def _first_peak(pull: Pull) -> FirstPeak:
    load, onset, top = pull.load_n, pull.onset, pull.top
    begin = (
        onset + int(np.argmax(load[onset : top + 1] >= FIRST_PEAK_FLOOR * load[top])) if top > onset else top
    )
    part = load[begin : top + 1]
    highest = np.maximum.accumulate(part)
    fallen = np.flatnonzero(highest - part >= np.maximum(FIRST_PEAK_FALL * highest, 8.0 * pull.noise_n))
    first = top if not len(fallen) else begin + int(np.argmax(part[: fallen[0] + 1]))
    return FirstPeak(float(load[first]), float(pull.time_s[first]))


def _break_of(pull: Pull, falls: list[Fall]) -> Fall | None:
    """The first fall that left less than half of what it fell from, with nothing as high after it."""
    load, top, peak = pull.load_n, pull.top, pull.peak_n
    for fall in falls:
        gone = fall.to_n < LEFT_AFTER_BREAK * fall.from_n
        if gone and fall.from_n > 0.1 * peak and fall.end >= top and load[fall.end :].max() < fall.from_n:
            return fall
    return _slow_break(pull.time_s, load, top, peak)


def _slow_break(time: Array, load: Array, top: int, peak: float) -> Fall | None:
    """A tear of up to half a second: too slow for a sudden fall, too quick for letting the line out."""
    below = np.flatnonzero(load[top:] < 0.2 * peak)
    if not len(below):
        return None
    end = top + int(below[0])
    start = top + int(np.flatnonzero(load[top:end] > 0.8 * peak)[-1])
    if time[end] - time[start] > 0.4:
        return None
    after = load[end : end + max(3, int(np.searchsorted(time[end:], time[end] + 0.3)))]
    return Fall(start, end, float(load[start]), float(np.median(after)))


def _end_of_hold(load: Array, top: int, peak: float) -> int:
    """Where the last descent of an unbroken pull begins, or the end of the recording."""
    high = np.flatnonzero(load[top:] > 0.8 * peak)
    return top + int(high[-1])


def _failure(pull: Pull, last: Fall | None, drops: tuple[Drop, ...], settled: Settled | None) -> Break:
    time, load, top, peak = pull.time_s, pull.load_n, pull.top, pull.peak_n
    if last is None:
        return Break("none", None, None, None, True, "no fall to below half of the load")
    residual = _residual(time, load, last)
    instant = _half_way(time, load, last) - pull.delay_s
    sizes = [(drop.from_n - drop.to_n) / peak for drop in drops]
    partial = [size for size in sizes if size >= PARTIAL_DROP]
    eased = 1.0 - last.from_n / peak
    near = int(np.argmax(load[: top + 1] >= NEAR_PEAK * peak))
    expected = max((1 - NEAR_PEAK) * peak / max(pull.usual_rate, 1e-9), 4.0 * pull.period_s)
    lingered = float(time[last.start] - time[near]) / expected
    manner: Manner
    if partial:
        manner, sure = "progressive", len(partial) >= 2 or max(partial) >= 2 * PARTIAL_DROP
        reason = f"{len(partial)} partial drop(s) of 5 % of the peak or more before the last fall"
    elif eased >= EASED and last.start > top + 6:
        manner, sure = "ductile", eased >= 1.5 * EASED and not sizes
        reason = f"the load had eased by {100 * eased:.0f} % before it let go"
    elif lingered >= BENT_OVER and not pull.clipped:
        manner, sure = "ductile", lingered >= 1.6 * BENT_OVER and settled is None
        reason = f"it stayed near the peak {lingered:.0f} times longer than the loading rate explains"
    else:
        manner, sure = (
            "brittle",
            lingered <= 0.6 * BENT_OVER and eased < 0.5 * EASED + 6 * pull.noise_n / peak,
        )
        reason = "a sudden fall from the peak at once after it was reached"
        sure = sure and not sizes and not pull.clipped
    return Break(manner, instant, last.from_n, residual, bool(sure and not pull.too_short), reason)


def _residual(time: Array, load: Array, last: Fall) -> float:
    stop = int(np.searchsorted(time, time[last.end] + 0.8))
    after = load[last.end : max(stop, last.end + 1)]
    return float(np.median(after))


def _half_way(time: Array, load: Array, last: Fall) -> float:
    """When the samples are half-way down: the break, seen late by the filter's delay."""
    middle = 0.5 * (last.from_n + min(last.to_n, float(load[last.end])))
    k = last.start + int(np.argmax(load[last.start : last.end + 1] <= middle))
    if k == last.start:
        return float(time[k])
    part = (load[k - 1] - middle) / (load[k - 1] - load[k])
    return float(time[k - 1] + part * (time[k] - time[k - 1]))


def _plateaus(pull: Pull, stop: int) -> tuple[Plateau, ...]:
    """Stretches of nearly constant load above a third of the peak."""
    time, load, onset, peak = pull.time_s, pull.load_n, pull.onset, pull.peak_n
    if stop - onset < 12:
        return ()
    width = max(4, int(np.searchsorted(time[onset:], time[onset] + 0.25)))
    count = (stop - onset) // width
    if count < 3:
        return ()
    used = load[stop - count * width : stop].reshape(count, width)
    at = time[stop - count * width : stop].reshape(count, width)
    levels, middles = np.median(used, axis=1), at.mean(axis=1)
    rates = np.abs(np.diff(levels) / np.diff(middles))
    still = (
        (rates < PLATEAU_RATE * pull.usual_rate)
        & (levels[1:] > peak / 3)
        & (np.ptp(used[1:], axis=1) < 0.03 * peak)
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
    found = []
    for first, past in zip(edges[::2], edges[1::2], strict=True):
        start, end = float(at[first, 0]), float(at[past, -1])
        level = float(np.median(used[first : past + 1]))
        cut_off = pull.clipped and level > 0.998 * peak  # the rail is level, the load was not
        if end - start >= PLATEAU_S and not cut_off:
            found.append(Plateau(level, start, end))
    return tuple(found)


def _settled(
    plateaus: tuple[Plateau, ...], time: Array, top: int, stop: int, *, broke: bool
) -> Settled | None:
    """The last plateau at or after the peak, if the specimen still held it when it broke or was let go."""
    for plateau in reversed(plateaus):
        if plateau.end_s > time[top] and (plateau.end_s >= time[stop] - 1.0 or not broke):
            return Settled(plateau.load_n, max(plateau.start_s, float(time[top])), plateau.end_s)
    return None
