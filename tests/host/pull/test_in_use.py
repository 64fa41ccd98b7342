"""What a pull adds to its calibration: saying nothing is never narrower than saying something; all is in the budget."""

import math
from dataclasses import replace

import numpy as np
import pytest
from analysis_cases import KGF, calibrated

from breakyard.calibration import Calibration, calibrate
from breakyard.calibration.in_use import REMOUNT
from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.pull.in_use import IDEAL, Block, InUse
from breakyard.pull.summarize import Summary, summarize
from breakyard.simulate.families import instrument

CELL = instrument(3)[0]
MADE = calibrated(3, "good", CELL)


def ramp(made: Calibration, noise_n: float = 0.5, seed: int = 1) -> LoadCurve:
    """5 s of nothing, 20 s up to 600 kgf, let go; as the calibrated instrument shows it."""
    time = np.arange(0.0, 30.0, 0.0125)
    load = 600.0 * KGF * np.clip((time - 5.0) / 20.0, 0.0, 1.0) * (time < 25.0)
    shown = load + np.random.default_rng(seed).normal(0.0, noise_n, time.size)
    curve = curve_from_columns(time, shown, name="ramp", accuracy=0.0)
    return replace(curve, calibration=made, accuracy=None)


def sizes(summary: Summary) -> dict[str, float]:
    return {line.source: line.standard_n / summary.peak.estimate_n for line in summary.budget}


def width(summary: Summary) -> float:
    assert summary.peak.high_n is not None
    return (summary.peak.high_n - summary.peak.low_n) / summary.peak.estimate_n


def test_who_says_nothing_gets_every_doubt_with_its_size() -> None:
    """Angle of 3 degrees and its side force, 20 C at the usual span drift, another mounting, creep, another day, the
    converter: each as a limit over root three (JCGM 100, 4.3.7)."""
    found = sizes(summarize(ramp(MADE)))
    root = math.sqrt(3.0)

    assert found["misalignment"] == pytest.approx((1 - math.cos(math.radians(3.0))) / root, rel=1e-6)
    assert found["bending"] == pytest.approx(0.05 * math.sin(math.radians(3.0)) / root, rel=1e-6)
    assert found["temperature"] == pytest.approx(20.0 * 0.0001 / root, rel=1e-6)
    assert found["remounting"] == pytest.approx(REMOUNT / root, rel=1e-6)
    assert found["creep"] == pytest.approx(0.0005 / root, rel=1e-6)
    assert found["span from day to day"] == pytest.approx(0.0005 / root, rel=1e-6)
    assert found["gain of the converter"] == pytest.approx(20.0 * 20e-6 / root, rel=1e-6)


def test_knowing_nothing_is_never_rewarded() -> None:
    """Each thing that is stated narrows the interval or leaves it, as long as it is not worse than the default."""
    warm = calibrate(MADE.points, plate=MADE.plate, temperature_c=20.0)
    silent = width(summarize(ramp(warm)))
    told = [
        summarize(ramp(warm), misalignment_deg=1.0),
        summarize(ramp(warm), temperature_c=30.0),
        summarize(ramp(warm), in_use=InUse(remount=0.0003, remount_freedom=2.0)),
        summarize(ramp(warm), in_use=InUse(creep=0.0001)),
        summarize(ramp(warm), misalignment_deg=0.0, in_use=IDEAL),
    ]

    assert all(width(summary) < silent for summary in told)
    assert width(summarize(ramp(warm), in_use=InUse(remount=0.01, remount_freedom=2.0))) > silent
    assert width(summarize(ramp(warm), in_use=InUse(blocks=(Block("sheave", 0.05),)))) > silent


def test_an_ideal_instrument_has_none_of_it() -> None:
    """What a model vouches for: noise, zero and the calibration are left."""
    found = set(sizes(summarize(ramp(MADE), misalignment_deg=0.0, in_use=IDEAL)))

    assert not found & {
        *("misalignment", "bending", "temperature", "remounting", "creep"),
        *("span from day to day", "gain of the converter"),
    }


def test_a_sheets_creep_and_blocks_of_the_rig_are_carried_into_the_result() -> None:
    """0.03 % on the sheet replaces the default; two sheaves of 4 and 9 % take 12.6 % together, their 5 kg weigh."""
    assert MADE.plate is not None
    sheet = replace(MADE, plate=replace(MADE.plate, creep=0.0003))
    blocks = (Block("roller", 0.04, 2.0), Block("plain", 0.09, 3.0))
    summary = summarize(ramp(sheet), in_use=InUse(blocks=blocks))
    found, peak = sizes(summary), summary.peak.estimate_n

    assert found["creep"] == pytest.approx(0.0003 / math.sqrt(3.0), rel=1e-6)
    assert found["friction of blocks"] == pytest.approx((1 - 0.96 * 0.91) / math.sqrt(3.0), rel=1e-6)
    assert found["inertia of blocks"] * peak == pytest.approx(5.0 * 9.80665 / math.sqrt(3.0), rel=1e-6)
    assert any("roller (4 %), plain (9 %)" in said for said in summary.assumptions)


def test_the_zero_is_a_term_of_the_budget_and_of_the_interval() -> None:
    """The same pull in noise of 40 N, its zero seen for 5 s and for 0.4 s: the shorter one's doubt is larger in the
    budget, and the interval is wider by it."""
    curve = ramp(MADE, noise_n=40.0)
    kept = curve.time_s > 4.6
    arrays = ("time_s", "load_n", "usable", "clipped")
    short = replace(curve, **{name: getattr(curve, name)[kept] for name in arrays})  # type: ignore[arg-type]
    long_zero, short_zero = (summarize(one, misalignment_deg=0.0, in_use=IDEAL) for one in (curve, short))

    assert 0.0 < sizes(long_zero)["zero"] < 0.6 * sizes(short_zero)["zero"]
    assert width(short_zero) > 1.05 * width(long_zero)


def test_a_recording_of_force_without_accuracy_is_taken_wide() -> None:
    """Another instrument of which nothing was said: wider than one of 0.5 %."""
    curve = replace(ramp(MADE), calibration=None)

    assert width(summarize(curve)) > 1.5 * width(summarize(replace(curve, accuracy=0.005)))
    assert "accuracy not stated" in sizes(summarize(curve))
