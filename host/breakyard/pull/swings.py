"""Falls after which the load comes back: ripple of the drive, its stops, and loads let off. No event of the specimen.

Strokes of a hand winch, a surging vehicle, a stop in which a line relaxes and a cycle of unloading all make the load
fall for a while. What the specimen does looks different: when something lets go the load falls at once and is built up
again as slowly as before, and when it yields the load does not come back as steeply as it rose. So a fall that takes
its time and is made up for as quickly as the load was put on is the drive's, even if it comes once only.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.results import Ripple

Array = NDArray[np.float64]

MOST_SAMPLES: Final = 20_000
"""Longer recordings are looked at through the lowest and the highest of this many pieces."""

REGAINED: Final = 0.7
"""Ripple regains at least this share of a fall ..."""

AS_FAST: Final = 3.0
"""... within this many times the time that the fall took."""

LONGEST_S: Final = 2.5
"""Strokes and surges come faster than every few seconds: a fall that takes longer is none."""

RINGS_BELOW: Final = 0.25
"""A fall that took less than this share of the time in which its load was built up, and is no part of a repeated
pattern, was no swing of the drive."""

MADE_UP_FOR: Final = 0.95
"""A fall that took its time is the drive's if it is made up for to this share; on a yield plateau it is not."""

AS_STEEP: Final = 0.5
"""A drive goes on at least at this fraction of its rate before; what yielded hardens more slowly."""

EXPLAINS: Final = 1.5
"""Swings of the drive explain another one that is at most this many times as large."""

AT_ONCE_S: Final = 0.1
"""What lets go does so within this time (or what the converter's filter makes of it)."""

AS_USUAL: Final = 0.15
"""... and of the pull's usual rate: before it yielded the load may have bent over already."""

FILTERED: Final = 5.0
"""Steps that a sudden fall may take through a converter's filter: one that took its time needs this many more."""

STOP_S: Final = 0.55
"""In a stop of the drive the load eases for at least this long, ..."""

RATE_SAMPLES: Final = 4
"""Steps over which a rate before a fall is taken at least."""

STEEP: Final = 0.3
"""... from a rise and into a rise that are at least this fraction of the usual rate."""

REGULAR: Final = 4
"""This many falls of like size and spacing are a pattern ..."""

LIKE: Final = 2.5
"""... if most differ from the middle one by less than this factor, ..."""

SMALL: Final = 0.05
"""... and are not larger than this fraction of the peak (or three times as large where they are twice as many)."""

FEWEST: Final = 3
"""Falls that make a ripple."""


@dataclass(frozen=True, slots=True)
class Swing:
    """One fall between two turning points; indices into the samples."""

    top: int
    bottom: int
    from_n: float
    to_n: float

    @property
    def size_n(self) -> float:
        return self.from_n - self.to_n


def find_swings(load: Array, least_n: float) -> list[Swing]:
    """Falls of at least `least_n` between turning points, in order; a last fall that never ends is one too."""
    at, y = _pieces(load)
    found: list[Swing] = []
    if not len(y):
        return found
    high = low = 0
    falling = False
    for i, value in enumerate(y.tolist()):
        if falling:
            if value < y[low]:
                low = i
            elif value - y[low] >= least_n:
                found.append(Swing(int(at[high]), int(at[low]), float(y[high]), float(y[low])))
                falling, high = False, i
        elif value > y[high]:
            high = i
        elif y[high] - value >= least_n:
            falling, low = True, i
    if falling:
        found.append(Swing(int(at[high]), int(at[low]), float(y[high]), float(y[low])))
    return found


def _pieces(load: Array) -> tuple[NDArray[np.intp], Array]:
    """Local extremes, in order, of at most MOST_SAMPLES pieces."""
    if len(load) <= MOST_SAMPLES:
        index = np.arange(len(load))
    else:
        size = -(-len(load) // (MOST_SAMPLES // 2))
        count = len(load) // size
        cut = load[: count * size].reshape(count, size)
        base = np.arange(count) * size
        both = np.stack([base + cut.argmin(axis=1), base + cut.argmax(axis=1)], axis=1)
        index = np.concatenate([np.sort(both, axis=1).ravel(), np.arange(count * size, len(load))])
    y = load[index]
    if len(y) > 2:
        slope = np.sign(np.diff(y))
        kept = np.concatenate([[True], slope[1:] != slope[:-1], [True]])
        index, y = index[kept], y[kept]
    return index, y


@dataclass(frozen=True, slots=True)
class Driven:
    """Which of the falls are the drive's, one item each."""

    all: list[bool]
    rippling: list[bool]
    """Those of them that are part of a ripple, or a stop; the others are loads let off, or come once."""


def of_the_drive(swings: list[Swing], time: Array, load: Array, usual_rate: float, period_s: float) -> Driven:
    """Which of the falls are ripple, stops or unloading of the drive."""
    back, stops, eased = [], [], []
    begin = 0
    for i, swing in enumerate(swings):
        stop = swings[i + 1].bottom if i + 1 < len(swings) else len(load)
        # Means may lie a hundred times as far apart as the samples around a peak.
        step_s = max(period_s, float(np.median(np.diff(time[swing.top : swing.bottom + 1]))))
        back.append(_swings_back(swing, begin, stop, time, load, step_s))
        stops.append(_is_stop(swing, begin, stop, time, load, usual_rate, step_s))
        eased.append(_takes_its_time(swing, begin, time, load, usual_rate, step_s))
        begin = swing.bottom
    if sum(back) < FEWEST:  # once or twice is no ripple
        back = [False] * len(swings)
    pattern = _in_pattern(swings, time, float(load.max(initial=0.0)))
    rippling = [any(ways) for ways in zip(back, stops, pattern, strict=True)]
    driven = [any(ways) for ways in zip(rippling, eased, strict=True)]
    if sum(driven) >= FEWEST:  # then one more of that size needs no other explanation, unless it came at once
        largest = EXPLAINS * max(swing.size_n for swing, yes in zip(swings, driven, strict=True) if yes)
        driven = [
            yes or (swing.size_n <= largest and not _at_once(swing, time, period_s))
            for swing, yes in zip(swings, driven, strict=True)
        ]
    return Driven(driven, rippling)


def _at_once(swing: Swing, time: Array, period_s: float) -> bool:
    """Whether the load fell as suddenly as when something lets go."""
    return float(time[swing.bottom] - time[swing.top]) < max(FILTERED * period_s, AT_ONCE_S)


def _takes_its_time(
    swing: Swing, begin: int, time: Array, load: Array, usual_rate: float, period_s: float
) -> bool:
    """Whether the load was let off in no less time than it was put on in, and is put on again as quickly.

    Of how it is put on again only the first return to the level counts, whatever swings lie between.
    """
    before = load[begin : swing.top + 1]
    below = np.flatnonzero(before <= swing.from_n - REGAINED * swing.size_n)
    if not len(below):
        return False
    rose_s = float(time[swing.top] - time[begin + int(below[-1])])
    fell_s = float(time[swing.bottom] - time[swing.top])
    if fell_s - FILTERED * period_s < RINGS_BELOW * rose_s:
        return False
    again = _first_above(load, swing.bottom, len(load), swing.to_n + MADE_UP_FOR * swing.size_n)
    if again is None:
        return False
    # From where it is put on again: a stop may last as long as it likes.
    step = swing.to_n + (1.0 - REGAINED) * swing.size_n
    low = swing.bottom + int(np.flatnonzero(load[swing.bottom : again + 1] <= step)[-1])
    before_n, after_n = REGAINED * swing.size_n, (MADE_UP_FOR + REGAINED - 1.0) * swing.size_n
    if rose_s < RATE_SAMPLES * period_s:  # too few samples for a rate: more of the rise tells it
        first = max(swing.top - RATE_SAMPLES, begin)
        before_n, rose_s = swing.from_n - float(load[first]), float(time[swing.top] - time[first])
    rate = max(AS_STEEP * before_n / max(rose_s, period_s), AS_USUAL * usual_rate)
    # Between samples the load is taken to rise straight: a rise over few of them would else seem slower than it was.
    spent_s = _crossing(time, load, again, swing.to_n + MADE_UP_FOR * swing.size_n) - _crossing(
        time, load, low + 1, step
    )
    return bool(after_n >= rate * spent_s)


def _crossing(time: Array, load: Array, index: int, level: float) -> float:
    """When the load rose through a level, on the line to sample `index`, the first above it."""
    before, after = float(load[index - 1]), float(load[index])
    part = min(max((level - before) / (after - before), 0.0), 1.0) if after > before else 1.0
    return float(time[index - 1] + part * (time[index] - time[index - 1]))


def _swings_back(swing: Swing, begin: int, stop: int, time: Array, load: Array, period_s: float) -> bool:
    """Whether the load comes back about as fast as it went, and was built up about as fast before."""
    fell_s = max(float(time[swing.bottom] - time[swing.top]), 2.0 * period_s)
    if fell_s > LONGEST_S:
        return False
    again = _first_above(load, swing.bottom, stop, swing.to_n + REGAINED * swing.size_n)
    if again is None or time[again] - time[swing.bottom] > AS_FAST * fell_s:
        return False
    before = load[begin : swing.top + 1]
    below = np.flatnonzero(before <= swing.from_n - REGAINED * swing.size_n)
    if not len(below):
        return True
    rose_s = float(time[swing.top] - time[begin + int(below[-1])])
    return fell_s >= RINGS_BELOW * rose_s


def _is_stop(
    swing: Swing, begin: int, stop: int, time: Array, load: Array, usual_rate: float, period_s: float
) -> bool:
    """Whether the drive stopped: sharp corners before and after, a slow fall between, and all of it regained."""
    size = swing.size_n
    fell_s = float(time[swing.bottom] - time[swing.top])
    if fell_s < max(STOP_S, 6.0 * period_s):
        return False
    inside = load[swing.top : swing.bottom + 1]
    down = np.flatnonzero(inside <= swing.from_n - 0.1 * size)
    most = np.flatnonzero(inside <= swing.from_n - 0.9 * size)
    steepest_s = float(time[swing.top + int(most[0])] - time[swing.top + int(down[0])])
    if steepest_s < 0.35 * STOP_S:
        return False
    again = _first_above(load, swing.bottom, stop, swing.from_n)
    if again is None:
        return False
    step = max(0.1 * size, 0.002 * swing.from_n)
    onward = _first_above(load, swing.bottom, stop, swing.to_n + step)
    if onward is None:
        return False
    lowest = np.flatnonzero(load[swing.bottom : onward] <= swing.to_n + 0.1 * step)
    leaves = swing.bottom + int(lowest[-1])
    after = step / max(float(time[onward] - time[leaves]), period_s)
    low = np.flatnonzero(load[begin : swing.top] <= swing.from_n - step)
    if not len(low):
        return False
    rise = step / max(float(time[swing.top] - time[begin + int(low[-1])]), period_s)
    return min(rise, after) >= STEEP * usual_rate


def _first_above(load: Array, begin: int, stop: int, level: float) -> int | None:
    reached = np.flatnonzero(load[begin:stop] >= level)
    return begin + int(reached[0]) if len(reached) else None


def _in_pattern(swings: list[Swing], time: Array, largest: float) -> list[bool]:
    """Which falls are one of many alike, at like distances (strokes of a winch whose pawl slips back).

    They are alike in newtons, or in their share of the load. Few such falls are a pattern only if they are small: a
    specimen that tears in steps makes as many.
    """
    none = [False] * len(swings)
    if len(swings) < REGULAR:
        return none
    size = np.array([swing.size_n for swing in swings])
    small = size <= (SMALL if len(swings) < 2 * REGULAR else 3.0 * SMALL) * largest
    if small.sum() < REGULAR:
        return none
    at = time[[swing.top for swing in swings]]
    for measure in size, size / np.maximum([swing.from_n for swing in swings], 1e-300):
        middle = float(np.median(measure[small]))
        like = small & (measure <= LIKE * middle)
        alike = like & (measure >= middle / LIKE)
        apart = np.diff(at[alike])
        if alike.sum() < max(REGULAR, 0.6 * small.sum()) or not len(apart):
            continue
        if np.quantile(apart, 0.75) <= LIKE * max(float(np.quantile(apart, 0.25)), 1e-12):
            return [bool(one) for one in like]
    return none


def ripple_of(swings: list[Swing], driven: list[bool], time: Array) -> Ripple | None:
    """Size and rate of the ripple that these falls make; None if they are too few."""
    chosen = [swing for swing, yes in zip(swings, driven, strict=True) if yes]
    if len(chosen) < FEWEST:
        return None
    apart = np.diff([float(time[swing.top]) for swing in chosen])
    period = float(np.median(apart))
    size = float(np.median([swing.size_n for swing in chosen]))
    return Ripple(size_n=size, rate_hz=1.0 / period if period > 0 else 0.0)
