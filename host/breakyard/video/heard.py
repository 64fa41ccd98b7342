"""Sudden noises in a clip's sound: where it jumps up the most.

A part that breaks is a bang: its pressure rises within a millisecond. The sound is differenced (which takes away wind
and engines, whose power lies low), its power is summed in steps of 1 ms, and a bang is where the amplitude of the next
8 ms is largest against what the 60 ms before had. Its onset is the step with the largest jump in decibels near there:
coders of sound (AAC) smear a bang forward, so the first step above a threshold would be too early.
"""

from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.video.moments import ClipMoment, strongest

Floats = NDArray[np.float64]

STEP_S: Final = 1e-3
AFTER: Final = 8
"""Steps over which the noise of a bang is summed."""
BEFORE: Final = 60
"""Steps before it that say what was usual."""
NEAR: Final = 25
"""Steps around the largest rise in which its onset is looked for."""
APART_S: Final = 0.15
MOST: Final = 6
LEAST: Final = 0.2
"""Noises weaker than this part of the strongest are no candidates."""


def noises(blocks: Iterable[tuple[float, int, Floats]]) -> tuple[ClipMoment, ...]:
    """The sudden noises in blocks of sound (time of the first value, rate, values (n,)), the strongest first."""
    start_s, power = _power(blocks)
    if len(power) < AFTER + BEFORE:
        return ()
    sums = np.concatenate([[0.0], np.cumsum(power)])
    at = np.arange(BEFORE, len(power) - AFTER + 1)
    after = np.sqrt((sums[at + AFTER] - sums[at]) / AFTER)
    before = np.sqrt((sums[at] - sums[at - BEFORE]) / BEFORE)
    rise = after - before
    local = np.flatnonzero((rise[1:-1] >= rise[:-2]) & (rise[1:-1] > rise[2:])) + 1
    # What merely swings up and down has rises of every size: the bang must stand out of them.
    found = [(float(at[k]) * STEP_S, float(rise[k])) for k in local.tolist()]
    kept = strongest(found, APART_S, MOST)
    return tuple(
        ClipMoment(start_s + _onset(power, round(time / STEP_S)) * STEP_S, strength / kept[0][1], "sound")
        for time, strength in kept
        if strength >= LEAST * kept[0][1]
    )


def _power(blocks: Iterable[tuple[float, int, Floats]]) -> tuple[float, Floats]:
    """Time of the first step, and the power of each step; pauses in the sound are silent."""
    start_s, sums, counts = 0.0, np.zeros(0), np.zeros(0)
    first, last = True, 0.0
    for time, rate, values in blocks:
        if first:
            start_s, first, last = time, False, float(values[0]) if len(values) else 0.0
        steps = np.diff(values, prepend=last)
        last = float(values[-1]) if len(values) else last
        place = np.floor((time - start_s + np.arange(len(values)) / rate) / STEP_S + 1e-6).astype(np.int64)
        good = place >= 0
        if not good.any():
            continue
        most = int(place[-1]) + 1
        if most > len(sums):
            # Grown by half at a time: a long clip is not copied for each of its blocks.
            room = max(most, len(sums) + len(sums) // 2)
            sums, counts = np.pad(sums, (0, room - len(sums))), np.pad(counts, (0, room - len(counts)))
        lowest = int(place[good][0])
        sums[lowest:most] += np.bincount(place[good] - lowest, steps[good] ** 2)
        counts[lowest:most] += np.bincount(place[good] - lowest)
    used = int(np.flatnonzero(counts)[-1]) + 1 if counts.any() else 0
    return start_s, sums[:used] / np.maximum(counts[:used], 1.0)


def _onset(power: Floats, near: int) -> int:
    """The step with the largest jump in decibels around a rise: power of it and the next against the two before."""
    low, high = max(4, near - NEAR), min(len(power) - 2, near + NEAR)
    if high <= low:
        return near
    quiet = 1e-4 * float(power[low:high].max()) + 1e-15
    at = np.arange(low, high)
    jump = (power[at] + power[at + 1] + quiet) / (power[at - 1] + power[at - 2] + quiet)
    # Only where the power is already that of the bang, not of the coder's smear before it.
    jump[power[at] + power[at + 1] < 0.05 * float(power[low:high].max())] = 0.0
    first = int(at[np.argmax(jump)])
    # Two steps together rise as soon as the second of them does.
    return first + 1 if power[first] < 0.2 * power[first + 1] else first
