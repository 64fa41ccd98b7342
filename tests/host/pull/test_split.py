"""Several pulls in one recording."""

import numpy as np
import pytest
from analysis_cases import calibrated, curve_of

from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.pull.split import split_pulls
from breakyard.pull.summarize import summarize
from breakyard.simulate.chain import measure
from breakyard.simulate.families import FAMILIES, family, instrument
from breakyard.simulate.pull import pull

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
    assert [summarize(part).peak.estimate_n for part in parts] == pytest.approx(PEAKS, rel=0.01)
    assert [summarize(part).failure.time_s for part in parts] == pytest.approx([13.0, 33.0, 53.0], abs=0.05)
    assert sum(len(part.time_s) for part in parts) == len(recording(PEAKS).time_s)


@pytest.mark.parametrize("name", sorted(FAMILIES))
def test_one_pull_stays_whole(name: str) -> None:
    """Drops, jerks, ringing, shocks, slow unloading, wrong readings: no family's pull is cut.

    Cycles down to nothing are one pull where a person says so.
    """
    for seed in range(3):
        case = family(name, seed)
        curve = curve_of(case.conversions, calibrated(seed, "good", case.cell), name)

        assert len(split_pulls(curve, one_specimen=name == "cyclic")) == 1


def test_three_pulls_of_any_kinds_come_out_as_three() -> None:
    """Drawn at random, one after another in one recording: each part holds the peak of its own pull."""
    kinds = ["slow_brittle", "fast_brittle", "ductile", "progressive", "towing", "let_go", "recoil"]
    for seed in range(8):
        rng = np.random.default_rng(seed)
        phases = [
            list(FAMILIES[kind][0](np.random.default_rng([seed, i]))[0])
            for i, kind in enumerate(rng.choice(kinds, 3))
        ]
        singles = [pull(part, seed=seed) for part in phases]
        cell, converter = instrument(seed)
        whole = pull([phase for part in phases for phase in part], seed=seed)
        conversions = measure(whole, cell, converter, seed=seed)

        parts = split_pulls(curve_of(conversions, calibrated(seed, "good", cell), "day"))

        assert len(parts) == 3
        for part, single in zip(parts, singles, strict=True):
            assert part.load_n.max() - part.load_n[0] == pytest.approx(
                single.peak_n, rel=0.12
            )  # fast ramps read low


def test_a_wrong_reading_does_not_hide_the_pulls() -> None:
    """One reading a hundred times too high in a recording of three pulls."""
    day = recording(PEAKS)
    load = day.load_n.copy()
    load[100] = 4e5
    spoilt = curve_from_columns(day.time_s, load, name="day")

    assert len(split_pulls(spoilt)) == 3


def test_a_yield_plateau_is_no_pause_between_pulls() -> None:
    """A machine's recording that stays at four fifths of its peak for most of the time, and never comes down."""
    time = np.arange(0.0, 600.0, 0.1)
    load = np.interp(time, [0, 10, 150, 400, 560, 590, 600], [200.0, 49e3, 47.5e3, 60e3, 60.9e3, 47e3, 46e3])
    curve = curve_from_columns(time, load, name="steel")

    assert split_pulls(curve) == (curve,)


def test_cycles_of_one_specimen_stay_together_when_that_is_said() -> None:
    """Three loadings to rising loads, let out slowly, and a fourth to the break."""
    time = np.arange(0.0, 64.0, 0.02)
    load = np.zeros_like(time)
    for k, top in enumerate((1000.0, 2000.0, 3000.0)):
        load += np.interp(time, [15 * k + 3, 15 * k + 7, 15 * k + 11], [0.0, top, 0.0])
    load += np.where(time < 58.0, np.interp(time, [48, 58], [0.0, 4000.0]), 0.0)
    curve = curve_from_columns(time, load, name="eye")

    parts = split_pulls(curve)
    whole = split_pulls(curve, one_specimen=True)

    assert len(parts) == 4
    assert all("cycles" in summarize(part).flags for part in parts)
    assert len(whole) == 1
    assert summarize(whole[0]).peak.estimate_n == pytest.approx(4000.0, rel=0.01)
    assert "cycles" not in summarize(whole[0]).flags


def test_pulls_that_broke_are_not_taken_for_cycles() -> None:
    """Three specimens, each broken, in one recording."""
    assert not any("cycles" in summarize(part).flags for part in split_pulls(recording(PEAKS)))


def test_a_rough_load_with_pauses_is_split_or_not_but_read() -> None:
    """Teeth of a sample or two at 2/s, with and without pauses: the median of a pause may lie above all of a pull."""
    for seed in range(300):
        rng = np.random.default_rng([seed, 11])
        load = 100.0 * rng.uniform(0.0, 1.0, 30) * np.repeat(rng.random(6) > 0.4, 5)
        curve = curve_from_columns(0.5 * np.arange(30), load, name="rough", accuracy=0.001)

        assert split_pulls(curve)
