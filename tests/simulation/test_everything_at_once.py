"""Whatever breaks together, and whoever talks: no committed record is lost, none is invented, no stranger is obeyed.

A few simulated minutes per seed here; hours in tests/bench/everything_at_once.py, which also replays a seed:
python tests/bench/everything_at_once.py --seed N --hours H
"""

from pathlib import Path

import pytest
from everything import simulate

MINUTES = 8


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_everything_at_once(seed: int, tmp_path: Path) -> None:
    """Links, power, flash, clocks and the disk fail in the middle of pulls and downloads, in virtual time."""
    story = simulate(seed, MINUTES / 60, tmp_path)

    counts = story.counts
    assert counts["runs complete"]
    assert counts["newest numbers"]
    assert counts["visits of the stranger"]
    assert counts["starts"] > 1


def test_the_same_seed_is_the_same_story(tmp_path: Path) -> None:
    """A seed that fails fails again: counts, and every byte that the host kept."""
    told = []
    for name in ("a", "b"):
        folder = tmp_path / name
        folder.mkdir()
        story = simulate(5, 0.03, folder)
        kept = {path.name: path.read_bytes() for path in folder.iterdir()}
        told.append((story.counts, story.oldest_s, kept))

    assert told[0] == told[1]
    assert told[0][2]
