"""The demo's load cell as a logger keeps its calibration, and a pull at it, for those who watch it live. Invented."""

from pathlib import Path
from typing import Final

import numpy as np

from breakyard.simulate import recipes
from breakyard.simulate.chain import measure
from breakyard.simulate.feed import write_feed
from breakyard.simulate.pull import pull
from breakyard.simulate.scenario import boatyard
from breakyard.wire.records import CalibrationCopy

KGF: Final = 9.80665
COUNTS: Final = 6_467_000
"""Of the demo's cell at its capacity of 1000 kgf: 3.0114 mV/V x 2 147 483.648 counts a mV/V."""

RIG: Final = recipes.Rig(quiet_s=4.0, bumps=0, slack_s=1.0, line_n=KGF)

CALIBRATION: Final = CalibrationCopy(
    run=0,
    index=0,
    name="yard",
    made_s=1_790_000_000,
    input=1,
    centre_counts=0,
    scale_counts=COUNTS,
    c0_n=0.0,
    c1_n=float(np.float32(1000 * KGF)),
    c2_n=0.0,
    c3_n=0.0,
    highest_known_n=600.0,
    capacity_n=float(np.float32(1000 * KGF)),
    sha256=bytes(32),
)


def write_pull(path: Path, peak_kgf: float) -> Path:
    """A brittle pull at 100 kgf/s after four quiet seconds, as counts for the virtual logger's converter."""
    yard = boatyard()
    truth = pull(recipes.brittle(RIG, peak_n=peak_kgf * KGF, rate_n_per_s=100 * KGF), seed=5, clear=True)
    write_feed(path, measure(truth, yard.cell, yard.converter, seed=5))
    return path
