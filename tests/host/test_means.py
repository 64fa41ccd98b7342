"""Runs of means: hours of a hold, with the samples around the largest peaks."""

from dataclasses import replace

import numpy as np
import pytest
from analysis_cases import calibrated

from breakyard.curve import MEANS, LoadCurve, curve_from_run
from breakyard.pull.summarize import summarize
from breakyard.run import MeanTable, Run, run_from_columns
from breakyard.simulate.families import family


def slow(run: Run, window_s: float = 1.0, every: int = 9) -> Run:
    """The run as a logger with mean_ms stores it: means of so many samples, and those around the largest."""
    count = len(run.counts) // every
    cut = run.counts[: count * every].reshape(count, every)
    means = MeanTable(
        time_s=run.time_s[: count * every : every],
        number=np.full(count, every),
        mean=np.floor(cut.mean(axis=1) + 0.5).astype(np.int32),
        lowest=cut.min(axis=1),
        highest=cut.max(axis=1),
        quality=run.quality[: count * every].reshape(count, every).max(axis=1),
    )
    near = np.abs(run.time_s - run.time_s[np.argmax(run.counts)]) <= window_s
    return replace(
        run,
        number=1,
        counts=run.counts[near],
        time_s=run.time_s[near],
        quality=run.quality[near],
        means=means,
    )


def read(name: str, seed: int, window_s: float = 1.0) -> tuple[LoadCurve, LoadCurve, float]:
    """The curve of all samples, that of the means, and the true peak."""
    case = family(name, seed)
    run = run_from_columns(case.conversions.time_s, case.conversions.counts, name=name)
    calibration = calibrated(seed, "good", case.cell)
    return (
        curve_from_run(run, calibration),
        curve_from_run(slow(run, window_s), calibration),
        case.truth.peak_n,
    )


@pytest.mark.parametrize("name", ["slow_brittle", "ductile", "progressive", "let_go"])
@pytest.mark.parametrize("seed", [0, 1])
def test_a_pull_of_means_is_read(name: str, seed: int) -> None:
    """The interval holds the truth, the settled parts agree with the samples, and it says what it was made of."""
    whole, means, truth = read(name, seed)

    summary = summarize(means)

    assert len(means.time_s) < len(whole.time_s)
    assert MEANS in summary.flags
    assert summary.peak.low_n <= truth
    assert summary.peak.high_n is None or truth <= summary.peak.high_n
    assert summary.peak.largest_sample_n == pytest.approx(summarize(whole).peak.largest_sample_n, rel=0.005)
    at = means.time_s[::7]
    apart = np.abs(np.interp(at, whole.time_s, whole.load_n) - means.load_n[::7])
    assert np.quantile(apart, 0.9) <= 0.02 * truth  # a mean across the break lies between


@pytest.mark.parametrize("window_s", [1.0, -1.0])
@pytest.mark.parametrize(
    ("name", "seed"), [("let_go", 0), ("let_go", 3), ("progressive", 0), ("progressive", 6)]
)
def test_means_of_a_second_are_sure_of_no_manner_that_they_cannot_tell(
    name: str, seed: int, window_s: float
) -> None:
    """A load let down within two or three of them, and partial drops within one: no manner is wrong and sure."""
    case = family(name, seed)
    run = run_from_columns(case.conversions.time_s, case.conversions.counts, name=name)

    summary = summarize(curve_from_run(slow(run, window_s, 92), calibrated(seed, "good", case.cell)))

    assert summary.failure.manner == case.truth.manner or not summary.failure.sure


def test_the_highest_of_all_is_not_lost_without_its_window() -> None:
    """No peak window is left: the largest sample is still the one that the logger saw."""
    whole, means, _ = read("slow_brittle", 0, window_s=-1.0)

    assert means.load_n.max() == pytest.approx(whole.load_n.max())
    assert (np.diff(means.time_s) > 0.0).all()


def test_a_hold_of_hours_is_read() -> None:
    """Three hours at 10 means a second: its creep and its end are there, in a table of 108 000 rows."""
    time = np.arange(0.0, 3 * 3600.0, 0.1)
    load = np.interp(time, [0, 10, 40, 10700, 10700.3], [0, 0, 400000, 396000, 0])
    counts = (load + np.random.default_rng(0).normal(0, 30, len(time))).astype(np.int32)
    table = MeanTable(
        time_s=time,
        number=np.full(len(time), 9),
        mean=counts,
        lowest=counts - 60,
        highest=counts + 60,
        quality=np.zeros(len(time), dtype=np.uint8),
    )
    case = family("slow_brittle", 0)
    empty = run_from_columns([0.0], [0.0], name="anchor")
    run = replace(empty, number=1, counts=counts[:0], time_s=time[:0], quality=table.quality[:0], means=table)

    summary = summarize(curve_from_run(run, calibrated(0, "good", case.cell)))

    assert summary.run.duration_s == pytest.approx(3 * 3600.0, abs=1.0)
    assert summary.failure.manner != "none"
    assert summary.failure.time_s == pytest.approx(10700.0, abs=2.0)
