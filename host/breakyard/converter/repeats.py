"""Readings that a program wrote down more often than its instrument made new ones.

Whoever asks a converter of 10 readings a second 80 times a second writes each down eight times. The copies tell nothing
new: they hide noise, make stairs of a ramp, and each stair looks like a sudden step. A display that shows coarse steps
repeats itself, too, but goes from one step to the next; a new reading of a changing load leaps over many.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

OFTEN: Final = 1.5
"""Lines a reading, from which on copies are looked for: with fewer most readings are new ..."""

LEAPS: Final = 3.0
"""... and new readings differ, in the middle, by more than this many of the finest steps seen."""

FEWEST: Final = 8
"""New readings of a changing load that tell."""

LOADED: Final = 0.05
"""Of the range: below this share above the least, a scale may show the same nothing all the time."""

LIKE: Final = 2.0
"""Copies come in even numbers: three in four stretches are at most this many times as long as the middle one."""


def copies(load: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which values repeat the reading before them because no new one was made yet; none where that is not clear.

    load: values in order of time, shape (n,). Where a reading lasts for many times as long as usual, as when nothing
    hangs on the cell, one value for each usual time counts as new.
    """
    none = np.zeros(len(load), dtype=np.bool_)
    if len(load) < 3:
        return none
    new = np.concatenate([[True], np.diff(load) != 0.0])
    starts = np.flatnonzero(new)
    lasts = np.diff(starts)
    leaps = np.abs(np.diff(load[starts]))
    low = float(load.min())
    changing = load[starts[:-1]] > low + LOADED * (float(load.max()) - low)
    if changing.sum() < FEWEST or not len(leaps):
        return none
    usual = float(np.median(lasts[changing]))
    mean = float(np.mean(lasts[changing & (lasts <= LIKE * usual)]))
    even = float(np.quantile(lasts[changing], 0.75)) <= LIKE * usual
    finest = float(leaps.min())
    if mean < OFTEN or not even or float(np.median(leaps[changing])) <= LEAPS * finest:
        return none
    number = np.arange(len(load)) - np.maximum.accumulate(np.where(new, np.arange(len(load)), 0))
    step = max(round(mean), 1)
    return np.asarray(number % step != 0)
