"""Several pulls in one recording."""

import numpy as np
import pytest
from analysis_cases import calibrated, curve_of

from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.pulls import split_pulls
from breakyard.simulate.families import family
from breakyard.summary import summarise

PEAKS = [4000.0, 2500.0, 5200.0]


def recording(peaks: list[float]) -> LoadCurve:
    """One ramp and break after another, ten seconds apart."""
    time = np.arange(0.0, 20.0 * len(peaks) + 5.0, 0.02)
    load = np.zeros_like(time)
    for i, peak in enumerate(peaks):
        since = time - 20.0 * i - 5.0
        load += np.where((since > 0) & (since < 8.0), peak * since / 8.0, 0.0)
    load += 0.5 * np.random.default_rng(1).standard_normal(len(time))
    return curve_from_columns(time, load, name="day")


def test_each_pull_gets_its_own_curve_and_peak() -> None:
    """Three pulls come out as three, in order, with the recording's times."""
    parts = split_pulls(recording(PEAKS))

    assert [part.name for part in parts] == ["day#1", "day#2", "day#3"]
    assert [summarise(part).peak.estimate_n for part in parts] == pytest.approx(PEAKS, rel=0.01)
    assert [summarise(part).failure.time_s for part in parts] == pytest.approx([13.0, 33.0, 53.0], abs=0.05)
    assert sum(len(part.time_s) for part in parts) == len(recording(PEAKS).time_s)


@pytest.mark.parametrize("name", ["progressive", "recoil", "snatch", "let_go"])
def test_one_pull_stays_whole(name: str) -> None:
    """Drops, ringing, a shock and slow unloading do not cut a pull."""
    for seed in range(6):
        case = family(name, seed)
        curve = curve_of(case.conversions, calibrated(seed, "good", case.cell), name)

        assert split_pulls(curve) == (curve,)
