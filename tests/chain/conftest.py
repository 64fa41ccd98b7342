"""A virtual logger in front of a short, seeded pull."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from breakyard.simulate import recipes
from breakyard.simulate.cell import Cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import Conversions, Converter
from breakyard.simulate.feed import write_feed
from breakyard.simulate.pull import pull
from breakyard.simulate.recipes import Rig

KGF = 9.80665


@dataclass(frozen=True)
class ShortPull:
    """A feed file and the conversions in it."""

    feed: Path
    conversions: Conversions

    @property
    def duration_s(self) -> float:
        return float(np.max(self.conversions.time_s))


@pytest.fixture(scope="session")
def short_pull(tmp_path_factory: pytest.TempPathFactory) -> ShortPull:
    """A brittle pull of about 20 s: long enough for the pre-trigger and the hang time."""
    truth = pull(
        recipes.brittle(Rig(quiet_s=6.5), peak_n=300 * KGF, rate_n_per_s=120 * KGF), seed=11, clear=True
    )
    cell = Cell(capacity_n=1000 * KGF, rated_output_mv_v=2.0)
    conversions = measure(truth, cell, Converter(rate_hz=88.0, filter_order=3), seed=11)
    feed = tmp_path_factory.mktemp("feed") / "short.feed"
    write_feed(feed, conversions)
    return ShortPull(feed, conversions)
