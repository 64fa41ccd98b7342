"""The noise of one sample, from a recording that also holds loads."""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

NOISE_BLOCK: Final = 16
"""Samples over which the noise is judged at a time."""

LOWER_THIRD: Final = 1.15
"""The lower third of the blocks' medians lies below what normal noise has on the whole (by simulation)."""

STEADY: Final = 1.4826
"""Median absolute deviation -> standard deviation of a normal distribution: 1 / (its quantile at 3/4)."""


ORDER: Final = 2
"""Of the differences: two take out slow changes. Those of higher order take out quicker ones, too."""


def noise_of(load: NDArray[np.float64], *, order: int = ORDER, share: float = 0.33) -> float:
    """Standard deviation of one sample, from differences: slow changes do not count.

    The median over the recording's quietest third of blocks (or another share), so that a rough pull does not count
    either. The differences of white noise have the variance times C(2 order, order).
    """
    differences = np.diff(load, order)
    if len(differences) < 3:
        return 0.0
    blocks = len(differences) // NOISE_BLOCK
    if blocks:
        used = np.abs(differences[: blocks * NOISE_BLOCK])
        sizes = np.median(used.reshape(blocks, NOISE_BLOCK), axis=1)
    else:
        sizes = np.array([np.median(np.abs(differences))])
    size = float(np.quantile(sizes, share))
    return LOWER_THIRD * STEADY * size / math.sqrt(math.comb(2 * order, order))


FEWEST_CHANGES: Final = 20
"""So often must the step from one reading to the next change, in whole steps: a straight line has even steps, too."""


def resolution_of(load: NDArray[np.float64]) -> float:
    """The step in which an instrument shows its readings; 0 if they are on no such ladder (or nothing tells).

    A reading rounded to steps of q adds a rectangle of half-width q/2 to what it shows: standard uncertainty q/sqrt(12)
    (JCGM 100, F.2.2.1).
    """
    steps = np.diff(load)
    sizes = np.abs(steps)
    sizes = sizes[sizes > 1e-12 * float(np.ptp(load))] if len(load) else sizes
    if len(sizes) < 3:
        return 0.0
    least = float(sizes.min())
    multiples = sizes / least
    if np.abs(multiples - np.round(multiples)).max() > 0.02:
        return 0.0
    changes = np.count_nonzero(np.abs(np.diff(steps)) > 0.5 * least)
    return least if changes >= FEWEST_CHANGES else 0.0
