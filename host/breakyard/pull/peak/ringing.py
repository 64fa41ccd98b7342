"""The ringing after a fall, as the last samples of the window show it: one decaying oscillation.

Only its frequency and decay are taken from here, and how large it is; the model of the fall finds its size and
phase anew, with room for errors of all of these and for other oscillations.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FEWEST: Final = 8
"""Samples, for six unknowns."""

_CYCLES: Final = np.arange(0.03, 0.485, 0.015)

_DECAYS: Final = np.array([4.0, 8.0, 16.0, 40.0])

_FINER: Final = 4


@dataclass(frozen=True, slots=True)
class Ring:
    """A decaying oscillation. Time in conversions."""

    cycles: float
    """Per conversion."""
    decay: float
    size_n: float
    """Amplitude as sampled, at the time from which it was counted."""


def find_ring(time: Array, load: Array) -> Ring | None:
    """The best decaying oscillation about a straight line. None if there are too few samples to tell.

    time: in conversions from the first sample that is down, shape (n,); load: in newtons.
    """
    if len(time) < FEWEST:
        return None
    cycles, decays = _CYCLES, _DECAYS
    step, ratio = 0.5 * float(cycles[1] - cycles[0]), 2.0**0.5
    best = _fit(time, load, cycles, decays)
    for _ in range(_FINER):
        cycles = np.clip(best.cycles + step * np.arange(-2, 3), 0.02, 0.49)
        decays = np.clip(best.decay * ratio ** np.arange(-2, 3), 2.0, 200.0)
        best = _fit(time, load, cycles, decays)
        step, ratio = 0.5 * step, ratio**0.5
    return best


def _fit(time: Array, load: Array, cycles: Array, decays: Array) -> Ring:
    """The best of a grid, by least squares."""
    f, tau = (grid.ravel() for grid in np.meshgrid(cycles, decays, indexing="ij"))
    turning = np.exp((2j * np.pi * f - 1.0 / tau)[:, None] * time)
    level = np.broadcast_to(np.stack([np.ones_like(time), time]), (len(f), 2, len(time)))
    design = np.concatenate([level, turning.real[:, None], turning.imag[:, None]], axis=1)
    normal = design @ design.swapaxes(1, 2)
    # A trace of a ridge: columns of a fast decay may all but vanish.
    normal[:, range(4), range(4)] *= 1.0 + 1e-9
    moments = design @ load
    factors = np.linalg.solve(normal, moments[..., None])[..., 0]
    left = load - (factors[:, None] @ design)[:, 0]
    at = int(np.argmin((left**2).sum(-1)))
    return Ring(float(f[at]), float(tau[at]), float(np.hypot(*factors[at, 2:])))
