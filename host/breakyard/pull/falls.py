"""Sudden falls of the load: partial drops and breaks, distinguished from slow unloading and from ringing."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SUDDEN_S: Final = 0.2
"""A fall is sudden when its steep part lasts no longer than this (or three steps of the recording)."""

SMALLEST_FALL: Final = 0.02
"""Falls below this fraction of the peak are not distinguished from the load's unsteadiness."""

SLOWEST_PER_S: Final = 0.25
"""A steep part falls faster than this fraction of the peak per second."""

STEEP_CORE: Final = 0.2
"""The steep part of a fall is where it is faster than this fraction of its fastest."""

NOISE_OF_TWO: Final = 6.0
"""Two samples hardly ever differ by more than this many times their noise (four times the root of two)."""

LASTING_S: Final = 0.3
"""The level after a fall is the median over this time: ringing averages out."""

RING_WITHIN_S: Final = 1.5
"""After a fall, another one that follows a rebound within this time is looked at as ringing."""

HALF_TURN_S: Final = 0.15
"""Half a turn of the slowest ringing that is looked for (3 to 4 Hz)."""

REBOUND_TIMES: Final = 4.0
"""A rebound rises faster than this many times the pull's usual rate."""


FALLS_FASTER: Final = 2.5
"""What lets go falls at least this many times faster than the load was put on. A converter's filter stretches a sudden
fall to four conversions; a rise shorter than ten is not told at all."""


@dataclass(frozen=True, slots=True)
class Fall:
    """One sudden fall. Indices into the samples: last before it, last of its steep part."""

    start: int
    end: int
    from_n: float
    to_n: float
    """Lasting level after it."""

    @property
    def size_n(self) -> float:
        return self.from_n - self.to_n

    def beats(self, usual_rate: float, time: Array) -> bool:
        """Whether it fell much faster than the load was put on: a pulse or a swing goes as it came."""
        spent = max(float(time[self.end] - time[self.start]), 1e-12)
        return self.size_n / spent > FALLS_FASTER * max(usual_rate, 0.0)


def find_falls(time: Array, load: Array, peak_n: float, noise_n: float, usual_rate: float) -> list[Fall]:
    """All sudden falls in order of time.

    time, load: usable samples, zero subtracted, shape (n,). usual_rate: typical loading rate in N/s.
    """
    steps = np.diff(time)
    fall_rate = -np.diff(load) / steps
    slowest = np.maximum(SLOWEST_PER_S * peak_n, 6.0 * noise_n / steps)
    steep = fall_rate > slowest
    edges = np.flatnonzero(np.diff(np.concatenate([[False], steep, [False]]).astype(np.int8)))
    falls: list[Fall] = []
    for first, past in zip(edges[::2], edges[1::2], strict=True):
        found = _trim(time, load, fall_rate, int(first), int(past))
        if found is None:
            continue
        start, end = found
        if falls and _goes_on(time, load, falls[-1], start, end, noise_n):
            start = falls.pop().start
        if load[start] - load[end] < max(SMALLEST_FALL * peak_n, 10.0 * noise_n):
            continue
        if falls and _is_ringing(time, load, falls[-1], start, usual_rate):
            continue
        falls.append(Fall(start, end, float(load[start]), 0.0))
    return _with_levels(time, load, falls, max(SMALLEST_FALL * peak_n, 10.0 * noise_n))


def _trim(time: Array, load: Array, fall_rate: Array, first: int, past: int) -> tuple[int, int] | None:
    """The steep core of a falling stretch; None if it falls too slowly to be sudden."""
    steepest = first + int(np.argmax(fall_rate[first:past]))
    enough = STEEP_CORE * fall_rate[steepest]
    start, end = steepest, steepest + 1
    while start > first and fall_rate[start - 1] > enough:
        start -= 1
    while end < past and fall_rate[end] > enough:
        end += 1
    sudden = time[end] - time[start] <= SUDDEN_S or end - start <= 3
    if not sudden:
        return None
    # The first partial conversions fall less steeply but belong to the fall.
    while start > max(first, 1) and load[start - 1] > load[start]:
        start -= 1
    return start, end


def _goes_on(time: Array, load: Array, before: Fall, start: int, end: int, noise_n: float) -> bool:
    """Whether a steep part goes on with the fall before it: noise alone may have made it look slower in between."""
    if time[end] - time[before.start] > SUDDEN_S:
        return False
    pause, spent = float(time[start] - time[before.end]), max(float(time[end] - time[start]), 1e-12)
    needed = STEEP_CORE * float(load[start] - load[end]) / spent * pause
    return float(load[before.end] - load[start]) + NOISE_OF_TWO * noise_n >= needed


def _is_ringing(time: Array, load: Array, before: Fall, start: int, usual_rate: float) -> bool:
    pause = time[start] - time[before.end]
    if pause > RING_WITHIN_S or pause <= 0:
        return bool(pause <= 0)
    recent = max(before.end, int(np.searchsorted(time, time[start] - HALF_TURN_S)))
    low = recent + int(np.argmin(load[recent : start + 1]))
    rise = float(load[start] - load[low])
    span = max(float(time[start] - time[low]), 1e-9)
    smaller = rise < 0.9 * (before.from_n - load[before.end])
    return bool(smaller and rise / span > REBOUND_TIMES * max(usual_rate, 0.0))


def _with_levels(time: Array, load: Array, falls: list[Fall], smallest: float) -> list[Fall]:
    """Give each fall its lasting level; drop those after which the load is back at once."""
    answer = []
    for i, fall in enumerate(falls):
        stop = int(np.searchsorted(time, time[fall.end] + LASTING_S, side="right"))
        stop = max(stop, fall.end + 3)
        if i + 1 < len(falls):
            stop = min(stop, falls[i + 1].start)
        after = load[fall.end : max(stop, fall.end + 1)]
        # While it is loaded again the level right after the fall is the first one; ringing goes both ways.
        level = float(np.median(after)) if _turns(after) else float(after[: max(2, len(after) // 6)].mean())
        level = min(max(level, float(after.min())), fall.from_n)
        if fall.from_n - level >= smallest:
            answer.append(Fall(fall.start, fall.end, fall.from_n, level))
    return answer


def _turns(after: Array) -> bool:
    """Whether the load goes up and down, rather than one way."""
    if len(after) < 4:
        return True
    half = len(after) // 2
    one_way = abs(float(after[half:].mean() - after[:half].mean()))
    return float(np.ptp(after)) > 3.0 * one_way
