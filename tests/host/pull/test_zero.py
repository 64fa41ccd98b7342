"""Zero, noise and onset."""

from dataclasses import replace

import numpy as np
import pytest
from analysis_cases import KGF, calibrated, read_case
from hypothesis import given
from hypothesis import strategies as st

from breakyard.converter.noise import noise_of
from breakyard.curve import curve_from_columns
from breakyard.errors import NoPull
from breakyard.pull.summarize import summarize
from breakyard.pull.witnesses import INSTRUMENT, Prior, Witness, weigh
from breakyard.pull.zero import ZeroLine, find_zero
from breakyard.run import Converter
from breakyard.simulate.converter import counts_per_mv_v

TIME = np.arange(0.0, 20.0, 0.0125)
ONSET = 6.0
RATE = 500.0


def pull(seed: int = 0, noise: float = 0.3) -> np.ndarray:
    """Quiet until ONSET, then a steady rise."""
    rng = np.random.default_rng(seed)
    return RATE * np.maximum(TIME - ONSET, 0.0) + noise * rng.standard_normal(len(TIME))


def test_onset_is_where_the_load_leaves_zero() -> None:
    """To within three samples, with no threshold given."""
    assert find_zero(TIME, pull()).onset_s == pytest.approx(ONSET, abs=0.04)


@given(scale=st.floats(1e-3, 1e4), shift=st.floats(-1e5, 1e5))
def test_units_and_offset_do_not_matter(scale: float, shift: float) -> None:
    """In other units and from another converter zero the same onset is found, and the zero moves along."""
    plain = find_zero(TIME, pull())

    other = find_zero(TIME, scale * pull() + shift)

    assert other.onset_s == pytest.approx(plain.onset_s, abs=0.02)
    assert other.level_n == pytest.approx(scale * plain.level_n + shift, abs=0.05 * scale + 1e-9 * abs(shift))
    assert other.noise_n == pytest.approx(scale * plain.noise_n, rel=0.02)


@pytest.mark.parametrize("knock", [30.0, -30.0, 400.0])
def test_knocks_of_a_hand_do_not_move_the_zero(knock: float) -> None:
    """Two knocks of 150 ms within the quiet part leave the zero within its own noise."""
    load = pull()
    for at in (1.0, 3.5):
        inside = (at < TIME) & (at + 0.15 > TIME)
        load[inside] += knock * np.sin(np.pi * (TIME[inside] - at) / 0.15)

    zero = find_zero(TIME, load)

    assert zero.at_n(ONSET) == pytest.approx(0.0, abs=0.1)
    assert zero.onset_s == pytest.approx(ONSET, abs=0.05)


def test_drift_of_the_zero_is_carried_to_the_peak() -> None:
    """1 N/s over a quiet part of 6 s is known well enough at the peak 14 s later."""
    drift = 0.1
    load = pull() + drift * TIME

    zero = find_zero(TIME, load)

    assert zero.at_n(20.0) == pytest.approx(2.0, abs=4 * zero.standard_at_n(20.0))
    assert zero.standard_at_n(20.0) < 0.3


def test_slack_drawn_in_is_no_drift() -> None:
    """A line that creeps onto the cell is not extended to the peak as if the instrument drifted."""
    load = pull() + 40.0 * np.clip(TIME - 2.0, 0.0, 4.0)

    zero = find_zero(TIME, load)

    assert zero.at_n(20.0) == pytest.approx(0.0, abs=max(4 * zero.standard_at_n(20.0), 0.5))


def test_zeros_of_simulated_pulls_are_within_their_uncertainty() -> None:
    """20 pulls with knocks, slack and a swaying line: the zero at the peak is off by under 0.1 kgf."""
    errors = []
    for seed in range(20):
        case, summary = read_case("ductile", seed)
        cell = case.cell
        counts = cell.zero_mv_v * counts_per_mv_v(128)
        true = float(calibrated(seed, "good", cell).load_n(counts, 0.0))
        errors.append((summary.zero.load_n - true) / KGF)

    assert np.abs(errors).max() < 0.1


def test_noise_alone_is_no_pull() -> None:
    """Nothing that rises clearly above its own noise is refused."""
    rng = np.random.default_rng(1)

    with pytest.raises(NoPull):
        find_zero(TIME, rng.standard_normal(len(TIME)))


def test_noise_is_that_of_one_sample() -> None:
    """A steady rise does not count as noise."""
    assert noise_of(pull(noise=2.0)) == pytest.approx(2.0, rel=0.15)


def jack(
    *, hold_n: float = 347.0, before_s: float = 0.0, after_s: float = 10.0
) -> tuple[np.ndarray, np.ndarray]:
    """A hand jack: from 50 N up, a hold amid the pull, up to the break at 1315 N, and nothing after it."""
    begun = [(0.0, 0.0), (before_s, 0.0)] if before_s else []
    t0 = before_s + 0.05 if before_s else 0.0
    rise = [(t0, 50.0), (t0 + 1.0, 800.0), (t0 + 1.1, hold_n), (t0 + 2.4, hold_n), (t0 + 5.4, 1315.0)]
    fall = [(t0 + 5.42, 0.0), (t0 + 5.42 + after_s, 0.0)]
    at, load = np.array(begun + rise + (fall if after_s else [])).T
    time = np.arange(0.0, at[-1], 0.0111)
    return time, np.interp(time, at, load) + 0.2 * np.random.default_rng(3).standard_normal(len(time))


def told(time: np.ndarray, load: np.ndarray, **given: Prior) -> tuple[float, float, ZeroLine]:
    """Load of the largest sample, the standard uncertainty of its zero, and the zero."""
    zero = find_zero(time, load, **given)
    top = int(np.argmax(load))
    return float(load[top] - zero.at_n(time[top])), zero.standard_at_n(float(time[top])), zero


@pytest.mark.parametrize("given", [{}, {"prior": INSTRUMENT}])
def test_a_hold_in_mid_pull_is_no_zero(given: dict[str, Prior]) -> None:
    """The pause of a jack at a quarter of the load is quiet, but the load was lower before and after it."""
    largest, standard, zero = told(*jack(), **given)

    assert largest == pytest.approx(1315.0, rel=0.002)
    assert standard < 2.0
    assert zero.believed[0] == "after"
    assert not zero.quiet


def test_a_hold_that_is_lower_than_all_before_it_is_outvoted() -> None:
    """A hold at 30 N after a bump of 100 N: what is read after the break and the instrument's zero speak against it."""
    at = [0.0, 0.4, 0.8, 2.6, 6.6, 6.62, 16.6]
    time = np.arange(0.0, 16.6, 0.0111)
    load = np.interp(time, at, [53.0, 110.0, 30.0, 30.0, 1013.0, 0.0, 0.0])

    largest, standard, _ = told(time, load, prior=INSTRUMENT)

    assert largest == pytest.approx(1013.0, rel=0.002)
    assert standard < 2.0


@pytest.mark.parametrize("late_s", [0.1, 0.5, 1.0, 2.0])
def test_a_run_begun_after_the_onset_takes_its_zero_from_after_the_break(late_s: float) -> None:
    """Begun 0.1 to 2 s late in a rise of 6 s, with 13 s of nothing after the break: within 0.1 %."""
    time = np.arange(0.0, 19.0, 0.0125)
    load = np.where(time < 6.0, 500.0 * time, 0.0) + 0.3 * np.random.default_rng(4).standard_normal(len(time))
    late = time >= late_s

    largest, standard, zero = told(time[late], load[late])

    assert largest == pytest.approx(3000.0, rel=0.003)
    assert standard < 3.0
    assert zero.believed == ("after",)


def test_a_slow_ramp_is_not_quiet() -> None:
    """A recording that begins in a rise of a thousandth of the peak per second has no zero before it."""
    time = np.arange(0.0, 1000.0, 0.1)
    load = 100.0 + 50.0 * time

    zero = find_zero(time, load, prior=INSTRUMENT)

    assert zero.believed == ("instrument",)
    assert zero.level_n == 0.0


@pytest.mark.parametrize("preload_n", [250.0, 2000.0])
def test_the_preload_of_a_machine_is_not_subtracted(preload_n: float) -> None:
    """A machine that zeroed itself, 5 s at its preload, a ramp to 60 kN and the end: the largest load is 60 kN."""
    time = np.arange(0.0, 65.0, 0.02)
    load = np.interp(time, [0, 5, 65], [preload_n, preload_n, 60e3])
    load += 3.0 * np.random.default_rng(5).standard_normal(len(time))

    summary = summarize(curve_from_columns(time, load, name="machine", accuracy=0.001))

    assert summary.peak.largest_sample_n == pytest.approx(60e3, rel=0.002)
    assert "preload" in summary.flags


@pytest.mark.parametrize("offset", [-0.04, -0.01, 0.01, 0.02, 0.04])
@pytest.mark.parametrize("ends", ["under load", "in the fall"])
def test_what_is_quiet_at_the_start_only_may_be_a_preload_or_an_offset(offset: float, ends: str) -> None:
    """5 s at 1 to 4 % of the peak, a ramp, and no unloaded end: nothing tells a preload from a scale that was not
    zeroed, so the interval holds both peaks."""
    time = np.arange(0.0, 45.01 if ends == "under load" else 45.1, 0.02)
    load = np.interp(time, [0, 5, 45, 45.02], [100e3 * offset, 100e3 * offset, 100e3, 47e3])
    load += 10.0 * np.random.default_rng(5).standard_normal(len(time))

    peak = summarize(
        curve_from_columns(time, load, name="machine", accuracy=0.001), misalignment_deg=0.0
    ).peak

    for true in (100e3, 100e3 * (1.0 - offset)):
        assert peak.low_n <= true
        assert peak.high_n is None or true <= peak.high_n
    assert peak.low_n > 100e3 * (1.0 - max(offset, 0.0) - 0.006)


def test_a_recording_without_anything_unloaded_may_have_an_offset() -> None:
    """A ramp from 5 % that ends in the fall: the instrument's zero is likely, and not for sure right."""
    time = np.arange(0.0, 40.1, 0.02)
    load = np.interp(time, [0.0, 40.0, 40.02], [5e3, 100e3, 47e3])
    load += 10.0 * np.random.default_rng(5).standard_normal(len(time))

    peak = summarize(
        curve_from_columns(time, load, name="machine", accuracy=0.001), misalignment_deg=0.0
    ).peak

    assert peak.estimate_n == pytest.approx(100e3, rel=0.001)
    assert peak.low_n < 99.7e3
    assert peak.high_n is not None
    assert 100.5e3 < peak.high_n < 103e3


def test_nothing_is_kept_taut_after_a_break() -> None:
    """2 % before the pull and after the break: that was on the scale all the time, and is no load of the specimen."""
    time = np.arange(0.0, 50.0, 0.02)
    load = np.interp(time, [0, 5, 45, 45.02], [2e3, 2e3, 100e3, 2e3])
    load += 10.0 * np.random.default_rng(5).standard_normal(len(time))

    peak = summarize(
        curve_from_columns(time, load, name="machine", accuracy=0.001), misalignment_deg=0.0
    ).peak

    assert peak.high_n is not None
    assert peak.high_n < 99e3


def test_a_scale_that_was_never_zeroed_is_zeroed_by_what_lies_before_and_after() -> None:
    """300 N of hook and shackles read before and after the pull are no load of the specimen."""
    load = pull() * 0.2 + 300.0
    load[TIME > 16.0] = 300.0

    largest, standard, zero = told(TIME, load, prior=INSTRUMENT)

    assert largest == pytest.approx(1000.0, rel=0.002)
    assert standard < 3.0
    assert set(zero.believed) == {"before", "after"}


@pytest.mark.parametrize("shift", [-0.06, -0.02, 0.02, 0.06])
def test_a_zero_that_moved_is_told_and_the_interval_reaches_both(shift: float) -> None:
    """A zero that is 2 or 6 % of the peak away after the break: flagged, and neither zero is ruled out."""
    load = pull()
    load[TIME > 16.0] = shift * 5000.0
    curve = replace(
        curve_from_columns(TIME, load + 700.0, name="overloaded", accuracy=0.0), converter=Converter(128)
    )

    summary = summarize(curve)

    assert "zero_shift" in summary.flags
    assert summary.zero.shift_n == pytest.approx(shift * 5000.0, rel=0.02)
    for true in (5000.0, 5000.0 * (1.0 - shift)):
        assert summary.peak.low_n <= 1.001 * true
        assert summary.peak.high_n is not None
        assert 0.999 * true <= summary.peak.high_n


def test_without_any_witness_the_peak_is_a_lower_bound() -> None:
    """Counts that begin under load and end in it, and no zero of a calibration: nobody knows the zero."""
    time, load = jack(after_s=0.0)

    zero = find_zero(time, load)

    assert zero.believed == ()
    assert not zero.known


def test_a_stated_zero_is_the_only_witness() -> None:
    """A person who says where the zero is, is believed; what is not there is refused."""
    load = pull() + 100.0
    load[TIME > 16.0] = 40.0

    assert find_zero(TIME, load, prior=INSTRUMENT, stated="instrument").level_n == 0.0
    assert find_zero(TIME, load, stated="end").level_n == pytest.approx(40.0, abs=0.1)
    assert find_zero(TIME, load, stated="start").at_n(15.0) == pytest.approx(100.0, abs=0.5)
    with pytest.raises(NoPull, match="stated"):
        find_zero(*jack(after_s=0.0), stated="end")


@given(level=st.floats(-1e4, 1e4), apart=st.floats(0.0, 0.3), trust=st.floats(0.1, 0.99))
def test_the_zero_lies_among_its_witnesses(level: float, apart: float, trust: float) -> None:
    """Whatever two witnesses say, the zero is not outside of them, and one unit more or less changes nothing."""
    h = 1e3
    two = [Witness("before", level, 0.5, trust), Witness("after", level + apart * h, 0.5, 0.9)]

    found = weigh(two, h, level)

    assert level - 1e-6 <= found.level_n <= level + apart * h + 1e-6
    assert found.standard_n >= 0.0
