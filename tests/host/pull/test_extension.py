"""Lengths beside a pull: what they say, against other people's regression and against geometry."""

import numpy as np
import pytest
from scipy import stats

from breakyard.pull.extension import Points, first_movement, read_extension, slope_of


def test_stiffness_is_that_of_another_regression() -> None:
    """Slope and interval against scipy.stats.linregress (its own standard error) with Student's t."""
    rng = np.random.default_rng(1)
    x = np.sort(rng.uniform(0.0, 0.05, 12))
    y = 2e5 * x + 300.0 + rng.normal(0.0, 200.0, 12)

    ours = slope_of(x, y, 0.95)
    theirs = stats.linregress(x, y)
    half = stats.t.ppf(0.975, 10) * theirs.stderr

    assert ours is not None
    assert (ours.value, ours.low, ours.high) == pytest.approx(
        (theirs.slope, theirs.slope - half, theirs.slope + half)
    )


def test_the_interval_of_a_slope_keeps_its_promise() -> None:
    """600 lines of eight points with normal errors: 95 % of the intervals hold the slope (binomial, 3 sigma)."""
    rng = np.random.default_rng(2)
    x = np.linspace(0.0, 1.0, 8)
    held = 0
    for _ in range(600):
        found = slope_of(x, 5.0 * x + rng.normal(0.0, 0.3, 8), 0.95)
        assert found is not None
        held += found.low <= 5.0 <= found.high
    assert abs(held / 600 - 0.95) < 3 * np.sqrt(0.95 * 0.05 / 600)


def test_first_movement_is_the_corner() -> None:
    """An anchor that hardly moves up to 6 kN and gives way from there, read every 500 N to 0.1 mm."""
    load = np.arange(0.0, 10001.0, 500.0)
    moved = 1e-7 * load + np.maximum(load - 6000.0, 0.0) * 3e-6
    rng = np.random.default_rng(3)

    assert first_movement(load, np.round(moved, 4)) == pytest.approx(6000.0, abs=500.0)
    # Without a corner, none is told more often than chance has it.
    told = sum(
        first_movement(load, 1e-6 * load + rng.normal(0, 1e-4, len(load))) is not None for _ in range(200)
    )
    assert told < 40


def points(*rows: tuple[float, float, float]) -> Points:
    """Time, load, extension."""
    time, load, extension = np.array(rows).T
    return Points(time, load, extension)


def test_lengths_at_shares_of_the_peak_and_what_was_left() -> None:
    """Straight lines by hand: 1 kN at 1 mm, 10 kN at 10 mm, let down to 2 mm; the tape began at 1.5 m."""
    found = read_extension(
        points((0, 0, 1.5), (1, 1000, 1.501), (5, 5000, 1.505), (10, 10000, 1.510), (20, 0, 1.502)),
        0.5,
        10.0,
        10000.0,
        gauge_m=1.5,
        coverage=0.95,
    )

    assert found.at_10_percent_m == pytest.approx(0.001, rel=0.01)
    assert found.at_50_percent_m == pytest.approx(0.005, rel=0.01)
    assert found.at_peak_m == pytest.approx(0.010)
    assert found.permanent_m == pytest.approx(0.002)
    assert found.stiffness is None


def test_creep_is_what_a_logarithm_of_time_gives() -> None:
    """0.4 mm per decade in a hold of 300 s, after the definition of the creep rate (EN 1537)."""
    since = np.array([0.0, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 300.0])
    lengths = 0.010 + 4e-4 * np.log10(np.maximum(since, 0.5))
    rows = [(0.0, 0.0, 0.0), *((10.0 + t, 5000.0, e) for t, e in zip(since, lengths, strict=True))]

    found = read_extension(points(*rows), 5.0, 10.0, 5000.0, gauge_m=None, coverage=0.95)

    assert found.creep_m_per_decade is not None
    assert found.creep_m_per_decade.value == pytest.approx(4e-4)


def pulled(rng: np.random.Generator, load_error: float, length_error: float) -> Points:
    """A specimen of 200 N/mm up to 10 kN, read at 24 loads to 0.05 mm; each scale is off by so much."""
    load = np.linspace(0.0, 10000.0, 24)
    length = load / 2e5 + rng.normal(0.0, 5e-5, 24)
    return points(*zip(np.arange(24.0), load * (1 + load_error), length * (1 + length_error), strict=True))


def test_the_interval_of_a_stiffness_holds_the_truth_when_both_scales_are_off() -> None:
    """400 pulls, scales off by 1 % and 2 %: 95 % hold 200 N/mm (binomial, 3 sigma); by the line alone too few do."""
    rng = np.random.default_rng(5)
    held = {(0.01, 0.02): 0, (0.0, 0.0): 0}
    for _ in range(400):
        for stated in held:
            found = read_extension(
                pulled(rng, rng.normal(0.0, 0.01), rng.normal(0.0, 0.02)),
                0.0, 23.0, 10000.0, gauge_m=None, coverage=0.95, load_relative=stated[0], accuracy=stated[1],
            ).stiffness  # fmt: skip
            assert found is not None
            held[stated] += found.low <= 2e5 <= found.high
    with_scales, by_line = held.values()
    assert abs(with_scales / 400 - 0.95) < 3 * np.sqrt(0.95 * 0.05 / 400)
    assert by_line / 400 < 0.8


def test_a_scale_of_lengths_that_nobody_states_is_wide() -> None:
    """Vouching for less never narrows; what is assumed is told."""
    found = {
        said: read_extension(
            pulled(np.random.default_rng(6), 0.0, 0.0), 0.0, 23.0, 10000.0, gauge_m=None, coverage=0.95,
            accuracy=said,
        )
        for said in (None, 0.0, 0.05)
    }  # fmt: skip
    width = {said: one.stiffness.high - one.stiffness.low for said, one in found.items() if one.stiffness}

    assert width[0.0] < width[None] < width[0.05]
    assert found[None].accuracy is None
