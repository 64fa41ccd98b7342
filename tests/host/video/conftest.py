"""A pull of known course, and clips in which it breaks; all invented."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from clip_maker import Coding, Scene, make_clip

import breakyard as by
from breakyard.curve import LoadCurve
from breakyard.pull.results import Summary
from breakyard.video.alignment import Alignment
from breakyard.video.clip import Clip, read_clip
from breakyard.video.readout import ReadOut, make_readout

pytest.importorskip("av", reason="no PyAV: pip install 'breakyard[video]'")

ONSET_S, BREAK_S, PEAK_N = 4.0, 12.0, 4000.0


def true_load_n(time_s: float) -> float:
    """What the specimen was made to bear: a ramp until it breaks."""
    return PEAK_N * (time_s - ONSET_S) / (BREAK_S - ONSET_S) if ONSET_S < time_s < BREAK_S else 0.0


@pytest.fixture(scope="session")
def curve() -> LoadCurve:
    """Another instrument's recording of it: 200 samples a second, no filter."""
    time = np.arange(0.0, 18.0, 0.005)
    load = np.array([true_load_n(moment) for moment in time.tolist()])
    noisy = load + 0.3 * np.random.default_rng(3).standard_normal(len(time))
    return LoadCurve.from_columns(time, noisy, name="B1", accuracy=0.002)


@pytest.fixture(scope="session")
def summary(curve: LoadCurve) -> Summary:
    """As the analysis reads it."""
    return by.summarize(curve)


@pytest.fixture(scope="session")
def readout(curve: LoadCurve, summary: Summary) -> ReadOut:
    """In newtons."""
    return make_readout(curve, summary, unit="N", specimen="B1", group="bonded", date="2026-05-03")


@pytest.fixture(scope="session")
def films(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Clip]:
    """Makes a clip; the same one is made once."""
    folder = tmp_path_factory.mktemp("clips")
    made: dict[str, Path] = {}

    def make(scene: Scene, coding: Coding | None = None, kind: str = "mp4") -> Clip:
        key = repr((scene, coding, kind))
        if key not in made:
            made[key] = folder / f"{len(made)}.{kind}"
            make_clip(made[key], scene, coding)
        return read_clip(made[key])

    return make


def aligned(clip_s: float, *, stretch: float = 1.0) -> Alignment:
    """As if it were known that the pull broke at a moment of the clip."""
    return Alignment(clip_s, BREAK_S, 0.01, stretch, (), ())
