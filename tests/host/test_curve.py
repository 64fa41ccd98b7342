"""Curves from runs and from other instruments' columns."""

import json
from pathlib import Path

import numpy as np
import pytest
from analysis_cases import calibrated, curve_of

from breakyard.curve import curve_from_columns, curve_from_run
from breakyard.errors import DataError, NoPull
from breakyard.run import read_run
from breakyard.simulate.families import family

TIME = np.arange(20) * 0.1
LOAD = np.linspace(0.0, 100.0, 20)


def test_uneven_steps_are_kept_and_time_starts_at_zero() -> None:
    """Other instruments' times are taken as they are, but for the start."""
    time = 5.0 + np.cumsum(np.linspace(0.01, 0.2, 20))

    curve = curve_from_columns(time, LOAD, name="x")

    assert np.allclose(curve.time_s, time - time[0], atol=1e-12)
    assert not curve.time_s.flags.writeable
    assert not curve.load_n.flags.writeable


def test_a_long_step_is_a_gap_with_the_number_of_samples_that_fit_in() -> None:
    """One second of silence at ten per second is nine samples short."""
    time = np.concatenate([TIME, TIME[-1] + 1.0 + TIME])

    gaps = curve_from_columns(time, np.concatenate([LOAD, LOAD]), name="x").gaps

    assert [(gap.after_sample, gap.missing) for gap in gaps] == [(19, 9)]


def test_a_change_of_rate_is_no_gap() -> None:
    """An instrument that samples slowly during a hold has not lost anything."""
    time = np.concatenate([TIME, TIME[-1] + 1.0 + np.arange(20) * 1.0])

    assert len(curve_from_columns(time, np.concatenate([LOAD, LOAD]), name="x").gaps) <= 1


def test_cells_without_a_number_are_not_used() -> None:
    """A hole in the load column stays a hole."""
    load = LOAD.copy()
    load[7] = np.nan

    curve = curve_from_columns(TIME, load, name="x")

    assert np.flatnonzero(~curve.usable).tolist() == [7]


@pytest.mark.parametrize(
    ("time", "load", "options", "error"),
    [
        (TIME[:5], LOAD[:5], {}, NoPull),
        (TIME[:10], LOAD, {}, DataError),
        (TIME[::-1], LOAD, {}, DataError),
        (np.where(np.arange(20) == 3, np.nan, TIME), LOAD, {}, DataError),
        (TIME, LOAD, {"accuracy": 1.5}, DataError),
        (TIME, LOAD, {"extension_m": LOAD[:4]}, DataError),
    ],
)
def test_columns_that_cannot_be_used_get_one_clear_line(
    time: np.ndarray, load: np.ndarray, options: dict[str, object], error: type[Exception]
) -> None:
    """The message names the recording and fits one line."""
    with pytest.raises(error) as problem:
        curve_from_columns(time, load, name="pull 7", **options)

    assert "pull 7" in str(problem.value)
    assert "\n" not in str(problem.value)


def test_counts_become_the_newtons_that_pulled() -> None:
    """Through cell, converter and calibration, a slow part of the curve shows the true load within 0.3 %."""
    case = family("let_go", 3)
    curve = curve_of(case.conversions, calibrated(3, "good", case.cell), "x")
    at = case.truth.peak_time_s + 0.2
    zero = np.median(curve.load_n[curve.time_s < 3.0])

    shown = np.interp(at - case.converter.phase / case.converter.rate_hz, curve.time_s, curve.load_n) - zero

    assert shown == pytest.approx(case.truth.force_at(at), rel=0.003)


def test_a_run_that_the_logger_lost_with_its_memory_says_so(root: Path) -> None:
    """Its one record tells why there is no curve; it is no pull that was too short."""
    cases = json.loads((root / "protocol" / "vectors" / "streams.json").read_text())["cases"]
    data = next(bytes.fromhex(case["bytes"]) for case in cases if case["id"] == "memory-lost")

    run = read_run(data, name="W1")

    assert run.loss.complete
    with pytest.raises(NoPull, match="W1: the logger's power went"):
        curve_from_run(run, None)  # type: ignore[arg-type]
