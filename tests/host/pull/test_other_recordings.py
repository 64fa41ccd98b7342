"""Recordings of other kinds of tests: slow rates, cycles, alignment loads, gusts, pulses, slow filters, pull-out.

Each is made here from the physics of its test, point by point, and shares nothing with the analysis.
"""

import numpy as np
import pytest
from scipy.signal import freqz, lfilter, savgol_coeffs

from breakyard.curve import curve_from_columns
from breakyard.pull.results import Summary
from breakyard.pull.split import split_pulls
from breakyard.pull.summarize import summarize
from breakyard.report.words.account import account


def noisy(load: np.ndarray, noise_n: float, seed: int = 0) -> np.ndarray:
    """With white noise of this standard deviation."""
    return load + noise_n * np.random.default_rng(seed).standard_normal(len(load))


def read(time: np.ndarray, load: np.ndarray) -> Summary:
    """The summary of another instrument's forces, known to 0.1 %."""
    return summarize(curve_from_columns(time, load, name="other", accuracy=0.001), misalignment_deg=0.0)


def reaches(summary: Summary, *loads: float) -> bool:
    """Whether the peak's interval holds all of these."""
    high = np.inf if summary.peak.high_n is None else summary.peak.high_n
    return all(summary.peak.low_n <= one <= high for one in loads)


def test_a_hold_that_is_reached_within_two_samples_is_counted_from_zero() -> None:
    """Creep at a sample in 10 s: 0, 1100, 3500, then 4000 N for an hour, and no zero that lasts."""
    load = noisy(np.concatenate([[0.0, 1100.0, 3500.0], np.full(360, 4000.0)]), 1.0)

    summary = read(10.0 * np.arange(len(load)), load)

    assert summary.peak.estimate_n == pytest.approx(4000.0, rel=0.002)


def test_what_is_left_of_a_relaxing_load_is_no_zero() -> None:
    """A lashing strap of rubber is stretched within 8 s and held: from 0 N over contact to 217 N, down to 73 N."""
    time = np.arange(0.0, 900.0, 0.05)
    left = 73.0 + 144.0 * np.exp(-np.maximum(time - 8.0, 0.0) / 20.0) ** 0.5
    load = np.where(time < 8.0, 25.0 * (time > 0.0) + 192.0 * time / 8.0, left)

    summary = read(time, noisy(load, 0.07))

    assert summary.peak.estimate_n == pytest.approx(217.0, rel=0.005)
    assert reaches(summary, 217.0)


def test_a_cell_that_was_heated_is_no_zero_afterwards() -> None:
    """A pulse of 160 N after 40 s of nothing; then the warm cell wanders to -27 N: the quiet time before tells more."""
    time = np.arange(0.0, 67.0, 0.095)
    pulse = np.interp(time, [42.0, 43.6, 45.5], [0.0, 161.0, 0.0])
    wandered = np.interp(time, [46.0, 58.0, 60.0], [-8.0, -12.0, -27.0]) * (time > 46.0)

    summary = read(time, noisy(pulse + wandered - 1.2, 0.5))

    assert summary.peak.estimate_n == pytest.approx(162.0, rel=0.02)
    assert reaches(summary, 161.0)


def test_a_plateau_after_the_peak_is_no_zero() -> None:
    """A polymer at 2 Hz: up to 44 N within 4 s, drawn at 31 N to the end of the recording."""
    time = np.arange(0.0, 28.5, 0.5)
    load = noisy(np.interp(time, [0, 3.5, 4.5, 6.5, 28.5], [0, 40, 44.4, 31, 31]), 0.06)

    assert read(time, load).peak.estimate_n == pytest.approx(44.4, rel=0.01)


@pytest.mark.parametrize("hertz", [0.5, 2.0, 10.0])
def test_whole_cycles_are_neither_quiet_nor_noise_nor_turned_round(hertz: float) -> None:
    """Tension and compression of 5 kN alike, at 120 samples a second: medians over whole cycles see nothing of it."""
    time = np.arange(0.0, 40.0 / hertz, 1.0 / 120.0)
    load = -5000.0 * np.cos(2 * np.pi * hertz * time) * np.minimum(1.0, time * hertz / 3.0)

    summary = read(time, noisy(load, 0.5))

    assert summary.peak.estimate_n == pytest.approx(5000.0, rel=0.02)
    assert reaches(summary, 5000.0)
    assert "reversed" not in summary.flags


def test_friction_that_is_left_in_a_machine_is_no_zero_that_moved() -> None:
    """Quiet at 0 for 5 s, 80 kN, and 0.8 kN of friction after the fracture: the interval stays within 1 %."""
    time = np.arange(0.0, 140.0, 0.02)
    load = np.interp(time, [0, 5, 120, 135, 135.01, 140], [0, 0, 80e3, 70e3, 800, 800])

    summary = read(time, noisy(load, 5.0))

    assert reaches(summary, 80e3)
    assert summary.peak.low_n > 0.99 * 80e3


def steps(low: float, rate_hz: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """An anchor loaded in steps, each held and let off to `low`, where it also begins and ends; no failure."""
    at, load = [0.0, 5.0], [low, low]
    for top in (10e3, 15e3, 20e3, 25e3, 30e3):
        for lasts, to in ((15.0, top), (60.0, 0.995 * top), (10.0, low), (20.0, low)):
            at.append(at[-1] + lasts)
            load.append(to)
    time = np.arange(0.0, at[-1], 1.0 / rate_hz)
    return time, noisy(np.interp(time, at, load), 3.0)


def test_an_alignment_load_before_between_and_after_is_part_of_the_load() -> None:
    """A zeroed instrument that reads 1.5 kN before, between and after the cycles: one pull, to 30 kN by its zero."""
    curve = curve_from_columns(*steps(1500.0), name="anchor", accuracy=0.001)

    parts = split_pulls(curve)
    summary = summarize(parts[0], misalignment_deg=0.0)

    assert len(parts) == 1
    assert summary.peak.estimate_n == pytest.approx(30e3, rel=0.002)
    assert reaches(summary, 30e3, 28.5e3)  # what hangs on it may yet be the hook


def test_cycles_that_are_let_off_have_no_first_peak() -> None:
    """Whoever lets off and loads on as quickly again has seen nothing give."""
    first = read(*steps(1500.0)).first_peak

    assert first is None or first.load_n > 0.99 * 30e3


@pytest.mark.parametrize("seed", range(6))
def test_gusts_have_no_first_peak(seed: float) -> None:
    """A tow of a minute in gusts of a few seconds, between nothing and 8 kN, and nothing breaks."""
    time = np.arange(0.0, 60.0, 0.02)
    knots = np.arange(0.0, 64.0, 2.0)
    gusts = np.random.default_rng([seed]).uniform(0.2, 1.0, len(knots))
    x = np.clip((time[:, None] - knots) / 2.0, -1.0, 1.0)
    load = (gusts * 0.5 * (1.0 + np.cos(np.pi * x))).sum(1)
    load *= 8000.0 * np.clip(time / 5.0, 0.0, 1.0) * np.clip((60.0 - time) / 5.0, 0.0, 1.0)

    summary = read(time, noisy(load, 2.0))

    assert summary.first_peak is None or summary.first_peak.load_n > 0.98 * summary.peak.estimate_n


def test_strokes_of_a_wrench_have_no_first_peak() -> None:
    """A bolt tightened in seven strokes; between them it relaxes by up to 2 % for up to a second."""
    at, load, rng = [0.0, 3.0], [0.0, 0.0], np.random.default_rng(3)
    for top in np.linspace(0.0, 50e3, 8)[1:]:
        at += [at[-1] + rng.uniform(0.3, 0.8)]
        at += [at[-1] + rng.uniform(0.3, 1.0)]
        load += [top, top * (1.0 - rng.uniform(0.005, 0.02))]
    at, load = [*at, at[-1] + 20.0], [*load, 0.98 * load[-1]]
    time = np.arange(0.0, at[-1], 0.01)

    first = read(time, noisy(np.interp(time, at, load), 5.0)).first_peak

    assert first is None or first.load_n > 0.99 * 50e3


def test_a_yield_drop_is_seen_through_noise() -> None:
    """4 % of drop in noise of 0.27 % at 500 a second, in which no two samples in a row show it."""
    time = np.arange(0.0, 40.0, 0.002)
    load = np.interp(time, [0, 2, 6, 6.3, 10, 30, 38, 38.01, 40], [0, 0, 7e3, 6.6e3, 6.6e3, 1e4, 9e3, 0, 0])

    summary = read(time, noisy(load, 27.0))

    assert summary.first_peak is not None
    assert summary.first_peak.load_n == pytest.approx(7000.0, rel=0.01)


def test_a_pulse_is_told_without_certainty() -> None:
    """Half a sine of 20 ms with an oscillation of its own, at 10 kHz: no partial drops, no manner that is sure."""
    time = np.arange(0.0, 0.3, 1e-4)
    x = np.clip((time - 0.05) / 0.02, 0.0, 1.0)
    load = 800.0 * np.sin(np.pi * x) * (1.0 + 0.05 * np.sin(18.0 * np.pi * x))

    summary = read(time, noisy(load, 1.0))

    assert summary.drops == ()
    assert not summary.failure.sure


@pytest.mark.parametrize("corner_hz", [1.0, 2.0, 5.0])
def test_a_break_seen_through_a_slow_filter_is_not_surely_none(corner_hz: float) -> None:
    """A low pass of 1 to 5 Hz of the amplifier draws a brittle break out over half a second."""
    time = np.arange(0.0, 45.0, 0.05)
    load = np.where(time < 35.0, 500.0 * np.maximum(time - 2.0, 0.0), 0.0)
    share = 1.0 - np.exp(-2.0 * np.pi * corner_hz * 0.05)
    for i in range(1, len(load)):
        load[i] = load[i - 1] + share * (load[i] - load[i - 1])

    summary = read(time, noisy(load, 0.5))

    assert summary.failure.manner == "brittle" or not summary.failure.sure
    assert reaches(summary, load.max(), 16500.0)


@pytest.mark.parametrize("corner_hz", [1.0, 2.0, 5.0])
def test_a_ductile_break_seen_through_a_slow_filter_is_not_surely_none(corner_hz: float) -> None:
    """Steel in a quick machine, up within 1 s and bent over for 6 s before it breaks: the fall is no eight times faster
    than it was loaded on the whole, but much faster than it was loaded last."""
    time = np.arange(0.0, 20.0, 0.001)
    load = np.interp(time, [0, 2, 3, 4, 7, 9, 9.005, 20], [0, 0, 900, 1000, 1040, 950, 0, 0])
    b = 1.0 - np.exp(-2.0 * np.pi * corner_hz * 0.001)
    seen = lfilter([b], [1.0, b - 1.0], load)[::50]

    failure = read(time[::50], noisy(seen, 0.5)).failure

    assert failure.manner == "ductile" or not failure.sure


def test_an_anchor_that_comes_out_slowly_is_not_surely_unbroken() -> None:
    """30 % lost in a second, then ever less for 40 s, and the rest taken off."""
    time = np.arange(0.0, 110.0, 0.02)
    load = np.interp(time, [0, 2, 40, 41, 60, 85, 86, 110], [0, 0, 2e4, 1.4e4, 9e3, 6e3, 0, 0])

    summary = read(time, noisy(load, 10.0))

    assert not summary.failure.sure


@pytest.mark.parametrize("steps_of_fall", [2.5, 4.0, 6.0])
def test_a_slow_fall_and_a_filtered_one_are_both_allowed_for(steps_of_fall: float) -> None:
    """The same samples, of a force that fell as slowly as it is seen to, and of one that fell at once and was averaged.

    With an average over `steps_of_fall` steps the samples of a ramp that ends at once are those of the ramp, half of
    that time earlier, which falls within that time: so the truth is the largest sample or the ramp's value then.
    """
    step, rate = 0.0125, 4000.0
    time = np.arange(0.0, 6.0, step)
    ends, lasts = 4.0, steps_of_fall * step
    seen = rate * np.maximum(time - 2.0, 0.0)
    fallen = np.clip((time - ends) / lasts, 0.0, 1.0)
    seen = np.where(time < ends, seen, rate * (ends - 2.0) * (1.0 - fallen))
    slow, filtered = float(seen.max()), rate * (ends + 0.5 * lasts - 2.0)

    summary = read(time, noisy(seen, 0.5))

    assert reaches(summary, 1.0002 * summary.peak.largest_sample_n, filtered)
    assert slow < summary.peak.estimate_n < filtered
    assert "filter_unknown" in summary.flags


def test_the_crest_of_a_long_hold_is_not_its_noise_nor_its_corner() -> None:
    """A hold of 2800 samples after a ramp, noise 0.22 %: the corner keeps no wide average from the rest."""
    for seed in range(4):
        time = np.arange(0.0, 2850.0)
        load = np.interp(time, [0, 20, 2820, 2821, 2850], [0, 4195.0, 4185.0, 0, 0])

        summary = read(time, noisy(load, 9.3, seed))

        assert summary.peak.estimate_n == pytest.approx(4193.0, rel=0.002)


def test_the_bandwidth_that_noise_was_averaged_to_is_told() -> None:
    """0.3 % of noise at 1 kHz on a hump of seconds: in JSON and words, and it is that of the parabola used, worked out
    from scipy's weights; without noise there is none."""
    time = np.arange(0.0, 14.0, 0.001)
    clean = 5000.0 * np.clip(np.sin(np.pi * (time - 2.0) / 10.0), 0.0, None) * (time < 12.0)

    seen = summarize(curve_from_columns(time, noisy(clean, 15.0), name="noisy", accuracy=0.001))
    quiet = summarize(curve_from_columns(time[::10], clean[::10], name="clean", accuracy=0.001))

    assert quiet.smoothing is None
    assert not dict(account(quiet, "N")).get("Noise averaged")
    assert seen.smoothing is not None
    weights = savgol_coeffs(seen.smoothing.samples, 2)
    hertz, gain = freqz(weights, worN=1 << 16, fs=1000.0)
    assert seen.smoothing.bandwidth_hz == pytest.approx(hertz[np.argmax(np.abs(gain) < 0.5**0.5)], rel=0.01)
    assert seen.to_json()["smoothing"] == {
        "samples": seen.smoothing.samples,
        "bandwidth_hz": seen.smoothing.bandwidth_hz,
    }
    assert Summary.from_json(seen.to_json()).smoothing == seen.smoothing
    said = dict(account(seen, "N"))["Noise averaged"]
    assert f"over {seen.smoothing.samples} samples" in said
    assert f"bandwidth of {seen.smoothing.bandwidth_hz:.3g} Hz" in said


@pytest.mark.parametrize("falls", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("memory", [0, 1, 3])
def test_a_crest_with_a_corner_reaches_its_tip(falls: float, memory: int) -> None:
    """Up to 1000 N and down as straight, at 80/s: as it is, as means over a step, and through a sinc of third order.

    The tip lies between samples, and a filter cuts it off; it is where the lines on either side meet.
    """
    fine, step = 0.0125 / 20, 20
    for up_s, phase in ((0.7, 3), (1.5, 9), (4.0, 16)):
        time = np.arange(0.0, 8.0 + 2.0 * up_s, fine)
        load = np.interp(time, [2.0, 2.0 + up_s, 2.0 + up_s * (1.0 + falls)], [0.0, 1000.0, 0.0])
        for _ in range(memory):
            load = np.convolve(load, np.full(step, 1.0 / step), mode="same")

        summary = read(time[phase::step], noisy(load[phase::step], 0.05))

        assert reaches(summary, 1000.0)
        assert summary.peak.estimate_n == pytest.approx(1000.0, rel=0.008)
        assert summary.peak.bound == "two-sided"


@pytest.mark.parametrize("memory", [0, 1, 3])
def test_a_spike_that_came_within_two_samples_is_no_measured_peak(memory: int) -> None:
    """A thrust that begins with a spike, up in 30 ms and down in 100, at 80/s: its top is not what a sample shows."""
    fine, step = 0.0125 / 20, 20
    time = np.arange(0.0, 8.0, fine)
    load = np.interp(time, [2.0, 2.03, 2.13, 3.0, 4.0, 4.3], [0.0, 1300.0, 900.0, 1000.0, 850.0, 0.0])
    for _ in range(memory):
        load = np.convolve(load, np.full(step, 1.0 / step), mode="same")
    for phase in (1, 6, 11, 16):
        assert reaches(read(time[phase::step], noisy(load[phase::step], 0.05)), 1299.9)


@pytest.mark.parametrize("hertz", [5.0, 80.0, 500.0])
@pytest.mark.parametrize("size", [-2000.0, 300.0, 3000.0])
def test_a_lone_sample_far_from_a_load_that_goes_on_is_no_peak(hertz: float, size: float) -> None:
    """A wrong reading in the pull, and one before it, of an unknown instrument: both are left out and told."""
    time = np.arange(0.0, 20.0, 1.0 / hertz)
    load = noisy(np.interp(time, [0, 3, 15, 15.002, 20], [0, 0, 1000.0, 0, 0]), 0.3)
    for at in (1.5, 9.0):
        load[round(at * hertz)] += size

    summary = read(time, load)

    assert reaches(summary, 1000.0)
    assert summary.peak.largest_sample_n < 1002.0
    assert "glitch" in summary.flags
    assert len(summary.glitches) == 2


def test_a_shock_of_one_sample_is_kept_where_there_is_little_else() -> None:
    """A jerk of 5 kN that one sample of 80 a second saw, and the line's own weight."""
    time = np.arange(0.0, 10.0, 0.0125)
    load = noisy(np.where((time > 2.0) & (time < 8.0), 60.0, 0.0), 0.5)
    load[400] = 5000.0

    summary = read(time, load)

    assert summary.peak.largest_sample_n == pytest.approx(5000.0, rel=0.02)
    assert summary.peak.bound == "lower"


@pytest.mark.parametrize("step", [2.0, 5.0, 10.0])
def test_the_steps_of_a_display_are_in_the_interval(step: float) -> None:
    """Loads rounded to 0.2, 0.5 and 1 % of the peak, as by a display: rounding is no less a doubt than noise."""
    time = np.arange(0.0, 26.0, 0.05)
    missed = 0
    for seed in range(20):
        peak = 1000.0 + np.random.default_rng(seed).uniform(-0.5, 0.5) * step
        dome = peak * np.clip(1.0 - ((time - 12.0) / 9.0) ** 2, 0.0, None) * (time < 17.0)

        summary = read(time, np.round(noisy(dome, 0.1, seed) / step) * step)

        missed += not reaches(summary, peak)
        assert "resolution" in {line.source for line in summary.budget}
        assert abs(summary.peak.estimate_n - peak) < step
        assert summary.peak.high_n is not None
        assert summary.peak.high_n - summary.peak.low_n < 3.0 * step + 10.0
    assert missed <= 2


@pytest.mark.parametrize("seed", range(8))
def test_a_stop_in_a_slow_recording_with_missing_samples_is_no_first_peak(seed: int) -> None:
    """The drive stops, the line relaxes by 1 % for 8 s, and it goes on as steeply, at 20/s with one sample in ten lost:
    how fast it came back is told by the line between samples, not by how far apart they are."""
    rng = np.random.default_rng([seed, 9])
    time = np.arange(0.0, 32.0, 0.05)[rng.random(640) > 0.1]
    relaxes = 6.0 * (1.0 - np.exp(-np.linspace(0.0, 4.0, 40)))
    at = [0.0, 3.0, 9.0, *(9.0 + np.linspace(0.2, 8.0, 40)), 17.06, 21.0, 21.001, 32.0]
    load = np.interp(time, at, [0.0, 0.0, 600.0, *(600.0 - relaxes), 600.0, 1000.0, 0.0, 0.0])

    first = read(time, noisy(load, 0.05, seed)).first_peak

    assert first is not None
    assert first.load_n > 990.0


@pytest.mark.parametrize("phase", range(4))
def test_a_stroke_between_two_samples_is_allowed_for(phase: int) -> None:
    """A jack in strokes of 50 N in 0.4 s, with a second of relaxing between, at 5/s: it broke in the next stroke, of
    which no sample or one tells."""
    at, load = [0.0, 3.0], [0.0, 0.0]
    for _ in range(18):
        at += [at[-1] + 0.4, at[-1] + 1.4]
        load += [load[-1] + 50.0, load[-1] + 48.0]
    at += [at[-1] + 0.1 + 0.03 * phase]
    load += [load[-1] + 125.0 * (0.1 + 0.03 * phase)]
    peak = load[-1]
    fine = np.arange(0.0, at[-1] + 4.0, 0.01)
    time, shown = fine[phase * 5 :: 20], np.interp(fine, [*at, at[-1] + 0.002, 99.0], [*load, 0.0, 0.0])

    assert reaches(read(time, noisy(shown[phase * 5 :: 20], 0.05)), peak)


@pytest.mark.parametrize("hertz", [10.0, 20.0, 50.0])
def test_the_roughness_of_peeling_is_load_and_no_noise(hertz: float) -> None:
    """Teeth of 2 to 4 samples and up to 40 N on 100 N, after 2 s of nothing with a noise of 0.005 N: the peak is
    that of the highest tooth, whose tip lies between two samples."""
    reached = 0
    for seed in range(10):
        rng = np.random.default_rng([seed, 13])
        at, load = [0.0, 2.0, 2.5], [0.0, 0.0, 80.0]
        for lasts, high, low in zip(
            rng.uniform(2.2, 4.0, 300) / hertz,
            rng.uniform(95, 120, 300),
            rng.uniform(80, 95, 300),
            strict=True,
        ):
            at += [at[-1] + 0.85 * lasts, at[-1] + lasts]
            load += [high, low]
        time = np.arange(0.0, at[-1], 1.0 / hertz)
        seen = noisy(np.interp(time, at, load), 0.005, seed)

        summary = read(time, seen)

        assert summary.smoothing is None
        assert summary.peak.largest_sample_n == pytest.approx(seen.max(), abs=0.05)
        reached += reaches(summary, max(load))
    assert reached >= 9
