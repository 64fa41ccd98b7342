"""The noise of one sample, from a recording that also holds loads."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

NOISE_BLOCK: Final = 16
"""Samples over which the noise is judged at a time."""

LOWER_THIRD: Final = 1.15
"""The lower third of the blocks' medians lies below what normal noise has on the whole (by simulation)."""

STEADY: Final = 1.4826
"""Median absolute deviation -> standard deviation of a normal distribution: 1 / (its quantile at 3/4)."""


def noise_of(load: NDArray[np.float64]) -> float:
    """Standard deviation of one sample, from second differences: slow changes do not count.

    The median over the recording's quietest third of blocks, so that a rough pull does not count either.
    """
    second = load[:-2] - 2.0 * load[1:-1] + load[2:]
    if len(second) < 3:
        return 0.0
    blocks = len(second) // NOISE_BLOCK
    if blocks:
        sizes = np.median(np.abs(second[: blocks * NOISE_BLOCK]).reshape(blocks, NOISE_BLOCK), axis=1)
    else:
        sizes = np.array([np.median(np.abs(second))])
    return LOWER_THIRD * STEADY * float(np.quantile(sizes, 0.33)) / float(np.sqrt(6.0))
