"""What families draw from: rates, peaks, rigs, and where and with what a pull is recorded."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from breakyard.simulate import recipes
from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import NO_FAULTS, Converter, Faults
from breakyard.simulate.phases import Phase
from breakyard.simulate.pull import PullTruth
from breakyard.simulate.recipes import Rig

KGF: Final = 9.80665
CAPACITY_N: Final = 2000 * KGF

Rng = np.random.Generator
Drawn = tuple[list[Phase], bool]
"""Phases, and whether the load alone shows the manner of break beyond doubt."""


@dataclass(frozen=True, slots=True)
class Recorder:
    """With what, and over which part of the pull, it is recorded."""

    cell: Cell
    converter: Converter
    faults: Faults = field(default=NO_FAULTS)
    from_s: float = -np.inf
    until_s: float = np.inf
    shows: str = "counts"
    """counts: our kind of logger. force: another instrument, zeroed before, that shows newtons."""
    polarity: int = 1
    ended: str = "stopped"
    """stopped, or "store full"."""


Recorded = Callable[[Rng, PullTruth, Recorder], Recorder]
"""What a family changes about the recording, once the pull is known."""


def log_uniform(rng: Rng, low: float, high: float) -> float:
    """Uniform in the logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def peak(rng: Rng) -> float:
    """200 to 1500 kgf, in newtons."""
    return rng.uniform(200.0, 1500.0) * KGF


def rig(rng: Rng, **given: float) -> Rig:
    """A rig with its handling knocks, slack line and recoil."""
    drawn = {
        "quiet_s": rng.uniform(6.0, 8.0),
        "bump_n": rng.uniform(0.0, 3.0) * KGF,
        "slack_s": rng.uniform(1.0, 2.5),
        "line_n": rng.uniform(1.0, 5.0) * KGF,
        "take_up_s": rng.uniform(0.2, 1.0),
        "ring": rng.uniform(0.03, 0.15),
        "ring_hz": rng.uniform(8.0, 25.0),
        "ring_decay_s": rng.uniform(0.08, 0.25),
        "fall_s": rng.uniform(0.0003, 0.0015),
    }
    return Rig(bumps=int(rng.integers(0, 4)), **(drawn | given))


def brittle(low: float, high: float, **given: float) -> Callable[[Rng], Drawn]:
    """A brittle ramp with a rate between two limits, in kgf/s."""

    def draw(rng: Rng) -> Drawn:
        peak_n = peak(rng)
        residual = peak_n * max(0.0, rng.uniform(-0.02, 0.02))
        rate = log_uniform(rng, low, high) * KGF
        return recipes.brittle(rig(rng, **given), peak_n=peak_n, rate_n_per_s=rate, residual_n=residual), True

    return draw


def ductile(rng: Rng) -> Drawn:
    """A ramp of 20 to 200 kgf/s that bends over, may stay, gives and tears within 10 to 60 ms."""
    peak_n, rate = peak(rng), log_uniform(rng, 20.0, 200.0) * KGF
    return recipes.ductile(
        rig(rng),
        peak_n=peak_n,
        rate_n_per_s=rate,
        round_s=rng.uniform(0.15, 0.6) * peak_n / rate,
        plateau_s=max(0.0, rng.uniform(-1.0, 3.0)),
        soften_s=rng.uniform(0.4, 2.0),
        soften_n=rng.uniform(0.04, 0.15) * peak_n,
        fall_s=rng.uniform(0.01, 0.06),
    ), True
