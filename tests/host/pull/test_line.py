"""Lever, legs and pulleys between cell and specimen."""

import math
from dataclasses import replace

import numpy as np
import pytest
from analysis_cases import calibrated, curve_of

from breakyard.curve import LoadCurve
from breakyard.errors import DataError
from breakyard.pull.line import SOURCE, read_line
from breakyard.pull.split import split_pulls
from breakyard.pull.summarize import summarize
from breakyard.simulate.families import family


@pytest.mark.parametrize(
    ("table", "factor", "relative"),
    [
        ({"lever": 2.5, "lever_pm": 0.05}, 2.5, 0.02 / math.sqrt(3)),
        ({"lever": "2,5"}, 2.5, 0.01 / math.sqrt(3)),
        # Two legs at 60 degrees: each carries F / (2 cos 30 deg) = 0.577 F (any rigging table).
        ({"legs": 2, "angle_deg": 60}, 0.57735, math.tan(math.pi / 6) / 2 * math.radians(3) / math.sqrt(3)),
        ({"legs": 2, "angle_deg": 120, "angle_pm_deg": 0}, 1.0, 0.0),
        ({"legs": 2, "angle_deg": 60, "specimen_is": "the line", "angle_pm_deg": 0}, 1.73205, 0.0),
        # Two falls, hauling, each sheave passing on 0.9: 1 + 0.9.
        ({"falls": 2, "efficiency": 0.9, "efficiency_pm": 0.0}, 1.9, 0.0),
        ({"falls": 2, "efficiency": 0.9, "efficiency_pm": 0.0, "direction": "lowering"}, 1 + 1 / 0.9, 0.0),
        ({"falls": 3, "efficiency": 0.9, "efficiency_pm": 0.02}, 2.71, 2.8 * 0.02 / 2.71 / math.sqrt(3)),
        ({"lever": 2, "lever_pm": 0, "falls": 2, "efficiency": 1, "efficiency_pm": 0}, 4.0, 0.0),
    ],
)
def test_factors_by_statics(table: dict[str, object], factor: float, relative: float) -> None:
    """Moments, cosines and sums of falls, worked out by hand."""
    found = read_line(table, "x")

    assert found is not None
    assert found.factor == pytest.approx(factor, rel=1e-4)
    assert found.relative == pytest.approx(relative, rel=1e-3, abs=1e-12)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"levr": 2}, "unknown key"),
        ({"lever": -2}, "between"),
        ({"legs": 2}, "angle_deg"),
        ({"falls": 2, "direction": "up"}, "hauling or lowering"),
        ({"legs": 2, "angle_deg": 60, "specimen_is": "rope"}, "a leg"),
    ],
)
def test_what_cannot_be_is_named(table: dict[str, object], said: str) -> None:
    """With the key and what it may be."""
    with pytest.raises(DataError, match=said):
        read_line(table, "session.toml, [line]")


def behind_a_lever(seed: int) -> tuple[LoadCurve, LoadCurve, float]:
    """A simulated pull as the cell felt it, the same as loads of a specimen behind a lever of 2.5, and the peak."""
    case = family("slow_brittle", seed)
    felt = curve_of(case.conversions, calibrated(seed, "good", case.cell), "x")
    line = read_line({"lever": 2.5, "lever_pm": 0.05}, "x")
    assert line is not None
    return felt, replace(felt, load_n=felt.load_n * line.factor, line=line), 2.5 * case.truth.peak_n


def test_loads_are_the_specimens_and_the_cell_is_told_beside() -> None:
    """2.5 times as large, the lever a term of the budget, extrapolation and capacity judged at the cell."""
    felt, curve, truth = behind_a_lever(1)

    cell, specimen = summarize(felt), summarize(curve)

    assert specimen.peak.estimate_n == pytest.approx(2.5 * cell.peak.estimate_n)
    assert specimen.rate.median_n_per_s == pytest.approx(2.5 * cell.rate.median_n_per_s)
    assert specimen.at_cell is not None
    assert specimen.at_cell.peak_n == pytest.approx(cell.peak.estimate_n)
    assert specimen.extrapolation == pytest.approx(cell.extrapolation)
    assert {flag for flag in specimen.flags if "capacity" in flag} == {
        f for f in cell.flags if "capacity" in f
    }
    own = {line.source: line.standard_n for line in specimen.budget}
    assert own[SOURCE] == pytest.approx(0.02 / math.sqrt(3) * specimen.peak.estimate_n)
    assert specimen.peak.high_n is not None
    assert cell.peak.high_n is not None
    wide = (specimen.peak.high_n - specimen.peak.low_n) / specimen.peak.estimate_n
    assert wide > (cell.peak.high_n - cell.peak.low_n) / cell.peak.estimate_n
    assert specimen.peak.low_n <= truth <= specimen.peak.high_n
    assert len(split_pulls(curve)) == len(split_pulls(felt))


@pytest.mark.parametrize("lengths", ["at a stated speed", "recorded"])
def test_a_stiffness_is_as_unsure_as_the_lever(lengths: str) -> None:
    """Each half of its interval, relative to the value: the root of the cell's squared plus 1.96 times the lever's."""
    felt, curve, _ = behind_a_lever(2)
    found = []
    for one in (felt, curve):
        if lengths == "recorded":
            read = summarize(replace(one, extension_m=0.002 * np.maximum(one.time_s, 0.0))).extension
        else:
            read = summarize(one, pull_speed_m_per_s=0.002).energy
        assert read is not None
        assert read.stiffness is not None
        found.append(read.stiffness)
    cell, specimen = found

    assert specimen.value == pytest.approx(2.5 * cell.value)
    lever = 1.95996 * 0.02 / math.sqrt(3)
    for end in ("low", "high"):
        alone, both = (getattr(one, end) / one.value - 1.0 for one in found)
        assert abs(both) == pytest.approx(math.hypot(alone, lever), rel=1e-4)


def test_the_interval_holds_what_the_lever_leaves_open() -> None:
    """Ratios drawn from the limits that were said: about 95 % of the intervals hold the specimen's true peak."""
    rng = np.random.default_rng(0)
    held = 0
    base = [behind_a_lever(seed) for seed in range(5)]
    read = [(summarize(curve), truth) for _, curve, truth in base]
    for _ in range(200):
        for summary, truth in read:
            true = truth * (1.0 + rng.uniform(-0.02, 0.02))
            held += summary.peak.low_n <= true <= (summary.peak.high_n or 0.0)
    assert held / 1000 >= 0.93
