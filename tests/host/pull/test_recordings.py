"""Recordings as other people make them: noise, surges, early ends, wrong signs, holes, nonsense."""

from dataclasses import replace

import numpy as np
import pytest
from analysis_cases import calibrated, curve_of, read_case

from breakyard.calibration import Plate
from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.errors import BreakyardError
from breakyard.pull.results import Summary
from breakyard.pull.summarize import summarize
from breakyard.pull.swings import find_swings, of_the_drive
from breakyard.run import Converter
from breakyard.simulate.families import family


def read(time: np.ndarray, load: np.ndarray, *, accuracy: float | None = 0.001) -> Summary:
    """The summary of another instrument's forces, in newtons."""
    return summarize(curve_from_columns(time, load, name="test", accuracy=accuracy), misalignment_deg=0.0)


def counted(time: np.ndarray, load: np.ndarray) -> LoadCurve:
    """The same as our kind of converter's, without a calibration's doubts."""
    return replace(curve_from_columns(time, load, name="test", accuracy=0.0), converter=Converter(128))


def covered(summary: Summary, true_n: float) -> bool:
    """Whether the peak's interval reaches a load."""
    high = np.inf if summary.peak.high_n is None else summary.peak.high_n
    return bool(summary.peak.low_n <= true_n <= high)


@pytest.mark.parametrize("noise", [0.001, 0.003, 0.01])
def test_noise_does_not_raise_the_peak(noise: float) -> None:
    """White noise of 0.1 to 1 % at 1 kHz on a rounded peak: its largest sample is up to 3 % too high, the peak not."""
    errors = []
    for seed in range(6):
        time = np.arange(0.0, 12.0, 0.001)
        true = 1000.0 * np.exp(-0.5 * ((time - 6.0) / 0.8) ** 2)
        load = true + 1000.0 * noise * np.random.default_rng(seed).standard_normal(len(time))
        summary = read(time, load)
        errors.append(summary.peak.estimate_n / 1000.0 - 1.0)

        assert covered(summary, 1000.0)

    assert np.abs(np.mean(errors)) < 0.3 * noise + 2e-4


def test_noise_before_a_sudden_break_is_smoothed_on_its_own_side() -> None:
    """Noise of 0.3 % on a ramp that ends at once: what comes after the break does not pull the peak down."""
    time = np.arange(0.0, 12.0, 0.001)
    load = np.where(time < 8.0, 150.0 * np.maximum(time - 2.0, 0.0), 0.0)
    load += 2.7 * np.random.default_rng(1).standard_normal(len(time))

    assert read(time, load).peak.estimate_n == pytest.approx(900.0, rel=0.003)


def test_hum_of_the_mains_averages_out() -> None:
    """0.5 % of 50 Hz at 1 kHz, which the quiet part shows: no peak of the hum is the peak."""
    time = np.arange(0.0, 16.0, 0.001)
    true = np.interp(time, [0, 4, 9, 12, 16], [0, 0, 1000.0, 1000.0, 0.0])
    load = (
        true
        + 5.0 * np.sin(2 * np.pi * 50.0 * time)
        + 0.2 * np.random.default_rng(2).standard_normal(len(time))
    )

    assert read(time, load).peak.estimate_n == pytest.approx(1000.0, rel=0.002)


def surging(hertz: float = 2.0, swing: float = 0.03, weaker: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """A tow to about 6 kN that surges, and breaks in a rise (weaker: below the last hump)."""
    time = np.arange(0.0, 40.0, 0.0125)
    mean = 200.0 * np.maximum(time - 5.0, 0.0)
    load = mean + swing * 6000.0 * np.sin(2 * np.pi * hertz * time) * np.clip(mean / 600.0, 0.0, 1.0)
    reached = np.flatnonzero(load >= 6000.0)[0] if not weaker else len(time) - 1
    if weaker:
        top = np.flatnonzero(load >= 6000.0)[0]
        trough = top + int(np.argmin(load[top : top + round(1 / hertz / 0.0125)]))
        reached = trough + int(np.argmax(load[trough:] >= 6000.0 * (1.0 - weaker)))
    load[reached:] = 0.0
    return time, load + 0.3 * np.random.default_rng(3).standard_normal(len(time))


@pytest.mark.parametrize("hertz", [0.5, 1.0, 2.0])
def test_surges_are_ripple_and_no_partial_drops(hertz: float) -> None:
    """A vehicle that surges by 3 % of the peak: told as ripple with its rate, brittle, and no first peak below it."""
    summary = summarize(counted(*surging(hertz)))

    assert "ripple" in summary.flags
    assert summary.ripple is not None
    assert summary.ripple.rate_hz == pytest.approx(hertz, rel=0.2)
    assert summary.drops == ()
    assert summary.failure.manner == "brittle"
    assert summary.first_peak is not None
    assert summary.first_peak.load_n == summary.peak.estimate_n


def test_the_break_competes_with_an_earlier_hump() -> None:
    """Hump of 1000 N, then a fast rise to a break at 1010 N of which the filter shows 985: the break is read too."""
    case, summary = read_case("surging", 1)

    assert covered(summary, case.truth.peak_n)
    time = np.arange(0.0, 14.0, 0.0125)
    force = np.interp(time, [0, 4, 8, 8.3, 8.84, 9.0], [0, 0, 1000.0, 920.0, 920.0, 1013.0])
    fine = np.arange(0.0, 14.0, 0.0125 / 20)
    exact = np.where(fine < 9.0, np.interp(fine, time, force), 0.0)
    seen = exact
    for _ in range(3):  # a third-order sinc: three moving averages over one conversion
        seen = np.convolve(seen, np.full(20, 0.05), mode="full")[: len(fine)]
    load = seen[::20] + 0.05 * np.random.default_rng(5).standard_normal(len(seen[::20]))
    read_again = summarize(counted(fine[::20], load))

    assert read_again.peak.largest_sample_n < 1004.0
    assert covered(read_again, 1013.0)
    assert read_again.peak.estimate_n > 1006.0


@pytest.mark.parametrize("phase", range(0, 20, 4))
def test_the_break_competes_with_a_hump_that_a_swing_just_left(phase: int) -> None:
    """A hump of 5000 N, a trough of 4950 N 0.1 s later, and a break at 5020 N on the way up 75 ms after that, at 80/s
    through a sinc of third order: the last sample lies below the hump's, and over 8 conversions nothing rose."""
    fine = np.arange(0.0, 14.0, 0.0125 / 20)
    hump = 4975.0 + 25.0 * np.cos(10.0 * np.pi * (fine - 11.0))
    again = 4950.0 + 70.0 * ((fine - 11.1) / 0.075) ** 2
    exact = np.select(
        [fine < 11.0, fine < 11.1, fine < 11.175],
        [np.interp(fine, [2, 10.8, 11], [0, 4990, 5000]), hump, again],
        0.0,
    )
    for _ in range(3):
        exact = np.convolve(exact, np.full(20, 0.05), mode="full")[: len(fine)]
    load = exact[phase::20]
    load = load + 0.1 * np.random.default_rng(phase).standard_normal(len(load))

    summary = summarize(counted(fine[phase::20], load))

    assert summary.peak.largest_sample_n < 5003.0
    assert covered(summary, 5020.0)
    assert summary.peak.estimate_n > 5008.0


def test_a_specimen_that_tears_in_steps_is_no_ripple() -> None:
    """Three drops of 12 % with slow reloading between them are the specimen's."""
    time = np.arange(0.0, 30.0, 0.0125)
    at = [0, 5, 15, 15.02, 18, 18.02, 21, 21.02, 25, 25.01, 30]
    load = np.interp(time, at, [0, 0, 3000, 2600, 3200, 2800, 3400, 3000, 3600, 0, 0])

    summary = summarize(counted(time, load + 0.3 * np.random.default_rng(4).standard_normal(len(time))))

    assert summary.failure.manner == "progressive"
    assert len(summary.drops) == 3
    assert summary.first_peak is not None
    assert summary.first_peak.load_n == pytest.approx(3000.0, rel=0.02)
    assert summary.first_peak.low_n is not None


def test_the_first_peak_is_recovered_like_the_peak() -> None:
    """A drop at the end of a fast ramp: its force, not the largest sample that the filter shows of it."""
    for seed in range(4):
        case, summary = read_case("progressive", seed)
        first = summary.first_peak

        assert first is not None
        assert first.load_n == pytest.approx(case.truth.first_peak_n, rel=0.005)
        assert first.low_n is not None
        assert first.high_n is None or first.low_n < first.load_n < first.high_n


def test_a_stop_of_the_jack_is_no_first_peak() -> None:
    """The line relaxes by 3 % in a stop of 4 s and is hauled on as steeply as before."""
    time = np.arange(0.0, 40.0, 0.0125)
    load = np.interp(time, [0, 5, 15, 30, 30.01, 40], [0, 0, 2000, 5000, 0, 0])
    at = np.searchsorted(time, 15.0)
    stop = 2000.0 * (1.0 - 0.03 * (1.0 - np.exp(-np.arange(0.0, 4.0, 0.0125))))
    load = np.concatenate([load[:at], stop, load[at:] - (load[at] - stop[-1]) * (load[at:] > 100)])
    time = np.arange(len(load)) * 0.0125

    summary = read(time, load)

    assert summary.first_peak is not None
    assert summary.first_peak.load_n == summary.peak.estimate_n


@pytest.mark.parametrize("left", [0.4, 0.6, 0.75])
def test_a_recording_that_ends_in_the_fall_broke(left: float) -> None:
    """Machines stop when the load has fallen through a set share of the peak; nobody unloads within 0.1 s."""
    time = np.arange(0.0, 100.12, 0.02)
    load = np.interp(time, [0, 60, 80, 100, 100.12], [0, 5e4, 6e4, 5.4e4, 6e4 * left])

    summary = read(time, load)

    assert summary.failure.manner == "ductile"
    assert summary.failure.residual_n is None
    assert "ends_in_fall" in summary.flags
    assert not summary.strength.at_least


def test_an_eased_load_says_so() -> None:
    """Slowly down to 45 % and the end of the recording: no break is claimed, nor that it held."""
    time = np.arange(0.0, 100.0, 0.02)
    load = np.interp(time, [0, 50, 100], [0, 6e4, 2.7e4])

    summary = read(time, load)

    assert summary.failure.manner == "none"
    assert not summary.failure.sure
    assert "eased to 45 %" in summary.failure.reason


def test_a_plateau_makes_ductile_sure() -> None:
    """Bent over and held for 8 s at its peak before it tore."""
    time = np.arange(0.0, 40.0, 0.0125)
    load = np.interp(time, [0, 5, 15, 17, 25, 25.02, 40], [0, 0, 4800, 5000, 5000, 0, 0])

    summary = read(time, load)

    assert summary.failure.manner == "ductile"
    assert summary.failure.sure


@pytest.mark.parametrize("recoil", [0.0, 0.4, 0.7])
def test_a_pull_recorded_as_a_push_is_turned_round(recoil: float) -> None:
    """600 kgf with swapped wires, and a rebound of up to 0.7 of it: the pull is read, not the rebound."""
    time = np.arange(0.0, 20.0, 0.0125)
    load = np.where(time < 12.0, 600.0 * np.maximum(time - 2.0, 0.0), 0.0)
    after = np.maximum(time - 12.0, 0.0)
    load -= recoil * 6000.0 * np.exp(-after / 0.15) * np.sin(2 * np.pi * 10.0 * after)

    straight, turned = read(time, load), read(time, -load)

    assert "reversed" not in straight.flags
    assert "reversed" in turned.flags
    assert turned.peak.estimate_n == pytest.approx(straight.peak.estimate_n, rel=1e-3)


def test_an_accuracy_that_nobody_stated_is_wide() -> None:
    """Forces of which nothing is said have an interval of a percent or more, a flag and a sentence."""
    time = np.arange(0.0, 20.0, 0.02)
    load = np.where(time < 12.0, 500.0 * np.maximum(time - 2.0, 0.0), 0.0)

    unstated, perfect = read(time, load, accuracy=None), read(time, load, accuracy=0.0)

    assert unstated.peak.low_n < 0.985 * unstated.peak.estimate_n
    assert "accuracy_assumed" in unstated.flags
    assert "accuracy_assumed" not in perfect.flags
    assert any("Accuracy" in sentence for sentence in unstated.assumptions)


def test_what_an_unknown_filter_hides_is_in_the_interval() -> None:
    """The same samples, of an instrument that nobody named: wider upwards, and told."""
    case = family("fast_brittle", 3)
    curve = curve_of(case.conversions, calibrated(3, "good", case.cell), "known")
    forces = curve_from_columns(curve.time_s, curve.load_n, name="unknown", accuracy=0.001)

    summary = summarize(replace(forces, load_n=forces.load_n - forces.load_n[:200].mean()))

    assert covered(summary, case.truth.peak_n)
    assert "filter_unknown" in summary.flags
    assert not summary.rate.steady_enough


def test_a_store_that_filled_while_the_load_rose_gives_a_lower_bound() -> None:
    """Nobody knows how high it went after the last stored sample."""
    for seed in range(4):
        _, summary = read_case("store_full", seed)

        assert summary.peak.bound == "lower"
        assert summary.peak.high_n is None
        assert "store_full" in summary.flags


def test_a_recording_that_ends_while_the_load_rises_gives_a_lower_bound() -> None:
    """As of a logger that was switched off."""
    time = np.arange(0.0, 10.0, 0.02)

    summary = read(time, 500.0 * np.maximum(time - 2.0, 0.0))

    assert summary.peak.bound == "lower"
    assert summary.first_peak is None
    assert not summary.failure.sure


@pytest.mark.parametrize(("times", "flag"), [(0.9, None), (1.1, "over_capacity"), (1.6, "over_safe_load")])
def test_peaks_above_the_capacity_are_told(times: float, flag: str | None) -> None:
    """Above the plate's capacity, and above 150 % of it."""
    case = family("slow_brittle", 2)
    own = calibrated(2, "good", case.cell)
    assert own.plate is not None
    plate = Plate(case.truth.peak_n / times, own.plate.rated_output_mv_v)
    curve = curve_of(case.conversions, own, "small")

    flags = summarize(replace(curve, calibration=replace(own, plate=plate))).flags

    assert [one for one in flags if one.startswith("over_")] == ([flag] if flag else [])


def test_gaps_are_told_where_they_matter() -> None:
    """A missing conversion on the way up, or beside a level crest, changes no number; one beside a steep end does."""
    time = np.arange(0.0, 16.0, 0.0125)
    load = np.interp(time, [0, 3, 9, 12, 12.02, 16], [0, 0, 3000, 3100, 0, 0])

    def flags(left_out: float) -> tuple[str, ...]:
        kept = (time < left_out) | (time > left_out + 0.05)
        return read(time[kept], load[kept]).flags

    assert "gap" not in flags(6.0)
    assert "gap" not in flags(11.8)
    assert "gap" in flags(11.99)


@pytest.mark.parametrize("cut", range(3, 40))
def test_no_clipped_top_breaks_the_reading(cut: int) -> None:
    """Tops cut off at a rail for any number of conversions: a lower bound each time, never an error."""
    time = np.arange(0.0, 12.0, 0.0125)
    load = np.where(time < 8.0, 600.0 * np.maximum(time - 2.0, 0.0), 0.0)
    rail = float(load[np.searchsorted(time, 8.0) - cut])
    curve = counted(
        time, np.minimum(load, rail) + 0.05 * np.random.default_rng(cut).standard_normal(len(time))
    )
    clipped = load >= rail

    summary = summarize(replace(curve, clipped=clipped, usable=curve.usable & ~clipped))

    assert summary.peak.bound == "lower"
    assert "clipped" in summary.flags
    assert summary.recovery is None


@pytest.mark.parametrize("scale", [1e200, 1e150, 1e-300, 1e-150])
def test_loads_of_no_world_are_refused_in_words(scale: float) -> None:
    """An error of ours that names the pull, not one of arithmetic."""
    time = np.arange(0.0, 20.0, 0.02)
    load = np.where(time < 12.0, 500.0 * np.maximum(time - 2.0, 0.0), 0.0)

    with pytest.raises(BreakyardError, match="test"):
        read(time, scale * load)


def test_one_impossible_load_is_left_out() -> None:
    """A single value of 1e200 among good ones."""
    time = np.arange(0.0, 20.0, 0.02)
    load = np.where(time < 12.0, 500.0 * np.maximum(time - 2.0, 0.0), 0.0)
    load[300] = 1e200

    assert read(time, load).peak.largest_sample_n == pytest.approx(5000.0, rel=0.01)


def test_swings_are_the_falls_between_turning_points() -> None:
    """Counted by hand: two falls of 10 and one of 100 that never ends; ripple below the least is none."""
    load = np.array([0, 50, 40, 60, 50, 51, 50, 100, 0], dtype=float)

    assert [(one.from_n, one.to_n) for one in find_swings(load, 5.0)] == [(50, 40), (60, 50), (100, 0)]
    assert of_the_drive([], np.zeros(0), np.zeros(0), 1.0, 0.01).all == []
