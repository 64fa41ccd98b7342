"""Readings written down several times each, told from a display's coarse steps."""

import numpy as np
import pytest
from analysis_cases import calibrated

from breakyard.converter.repeats import copies
from breakyard.curve import REPEATS, curve_from_columns, curve_from_run
from breakyard.pull.summarize import summarize
from breakyard.run import run_from_columns
from breakyard.simulate.cell import Cell

TIME = np.arange(0.0, 20.0, 0.0125)
PULL = np.interp(TIME, [0, 3, 15, 15.01, 20], [0, 0, 1000, 0, 0])
NOISE = np.random.default_rng(6).standard_normal(len(TIME))


def held(load: np.ndarray, times: float) -> np.ndarray:
    """As written down by a program that asks `times` times as often as the instrument makes a reading."""
    number = np.arange(len(load))
    return np.asarray(load[(np.floor(number / times) * times).astype(int)])


@pytest.mark.parametrize("times", [2.0, 2.5, 3.0, 8.0])
def test_copies_are_told_from_new_readings(times: float) -> None:
    """Of every `times` lines one is new, whether the program's clock goes with the instrument's or not."""
    load = held(PULL + NOISE, times)

    assert copies(load).mean() == pytest.approx(1.0 - 1.0 / times, abs=0.12)


@pytest.mark.parametrize("step", [0.0, 0.5, 1.0, 5.0, 10.0])
@pytest.mark.parametrize("noise", [0.0, 0.1, 1.0, 5.0])
def test_a_coarse_display_makes_no_copies(step: float, noise: float) -> None:
    """A slow ramp on a ladder repeats itself as long as it takes to the next step, with noise and without."""
    load = PULL + noise * NOISE

    assert not copies(np.round(load / step) * step if step else load).any()


@pytest.mark.parametrize("times", [3.0, 8.0])
def test_stairs_of_copies_are_no_partial_drops(times: float) -> None:
    """A steady pull with 1 % of noise, each reading written down 3 or 8 times: brittle, its peak within the noise that
    is left, and told."""
    load = held(PULL + 10.0 * NOISE, times)

    summary = summarize(curve_from_columns(TIME, load, name="polled", accuracy=0.001), misalignment_deg=0.0)

    assert summary.failure.manner == "brittle"
    assert not summary.drops
    assert REPEATS in summary.flags
    assert summary.run.rate_hz == pytest.approx(80.0 / times, rel=0.01)
    assert summary.peak.high_n is not None
    assert summary.peak.low_n <= 1000.0 <= summary.peak.high_n


def test_counts_of_a_converter_that_was_asked_too_often_are_copies_too() -> None:
    """A converter of 27 readings a second, written down 80 times a second."""
    counts = held(np.rint(1000.0 * (PULL + NOISE)), 3.0)

    run = run_from_columns(TIME, counts, name="polled")
    curve = curve_from_run(run, calibrated(1, "good", Cell(5000.0, 2.0)))

    assert REPEATS in curve.flags
    assert curve.usable.mean() == pytest.approx(1.0 / 3.0, abs=0.01)
    assert curve.period_s == pytest.approx(0.0375, rel=0.01)
