"""The untidy families are recorded as their names say, and what they show is what physics says."""

from dataclasses import replace

import numpy as np
import pytest

from breakyard.errors import UsageError
from breakyard.simulate.calibrations import calibration
from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import Converter, Tone, convert, counts_per_mv_v, filtered, part
from breakyard.simulate.families import CAPACITY_N, KGF, Case, family
from breakyard.simulate.untidy import OTHER_STANDARD, UNTIDY

SEEDS = range(12)


def _draws(name: str) -> list[Case]:
    return [family(name, seed) for seed in SEEDS]


def _felt_n(case: Case) -> np.ndarray:
    """Loads by the true cell; bends and drift within a thousandth of the capacity."""
    counts = case.conversions.counts / counts_per_mv_v(case.converter.gain)
    return (counts - case.cell.zero_mv_v) * case.cell.capacity_n / case.cell.rated_output_mv_v


@pytest.mark.parametrize("name", UNTIDY)
def test_every_draw_keeps_to_the_common_ranges(name: str) -> None:
    for case in _draws(name):
        assert 200 * KGF <= case.truth.peak_n <= 1500 * KGF
        assert case.cell.capacity_n == CAPACITY_N
        assert not case.conversions.clipped.any()
        assert np.all(np.diff(case.conversions.time_s) > 0.0)
        assert np.all(np.diff(case.truth.time_s) > 0.0)
        assert case.truth.force_n[: np.argmax(case.truth.force_n)].min() > -0.05 * case.truth.peak_n
        assert case.shows in ("counts", "force")
        assert (case.gain_error == 0.0) == (case.shows == "counts")
        assert abs(case.gain_error) < 5 * OTHER_STANDARD


def test_strokes_and_surges_swing_the_load_by_one_to_five_per_cent() -> None:
    """Half of what the load gives back from its highest so far, at its largest, in shares of the peak."""
    for name, least in (("hand_winch", 0.004), ("surging", 0.0)):
        given_back = []
        for case in _draws(name):
            top = int(np.argmax(case.truth.force_n))
            rise = case.truth.force_n[: top + 1]
            given_back.append(float((np.maximum.accumulate(rise) - rise).max() / case.truth.peak_n))
        assert all(least <= back < 0.12 for back in given_back)
        assert np.median(given_back) > 0.01


def test_some_break_below_an_earlier_hump() -> None:
    """The load at the break is the peak, or up to 5 % below it, and both happen."""
    for name in ("hand_winch", "surging"):
        below = [
            1 - family(name, seed).truth.break_load_n / family(name, seed).truth.peak_n for seed in range(40)
        ]

        assert 3 <= sum(share > 0.0005 for share in below) <= 20
        assert max(below) < 0.09


def test_begun_under_load_begins_in_the_rise_and_sees_ten_seconds_of_nothing_after() -> None:
    for case in _draws("under_load"):
        start = case.conversions.time_s[0]

        assert 1.0 < case.truth.force_at(start) < 0.9 * case.truth.peak_n
        assert start < case.truth.peak_time_s
        assert case.conversions.time_s[-1] > case.truth.break_time_s + 10.0


def test_zero_known_only_after_begins_under_load_and_stops_on_the_way() -> None:
    for case in _draws("zero_after"):
        at_start = case.truth.force_at(case.conversions.time_s[0])

        assert 0.005 < at_start / case.truth.peak_n < 0.2
        assert case.truth.force_n[-1] == pytest.approx(0.0, abs=1e-6)
        assert case.conversions.time_s[-1] > case.truth.break_time_s + 2.5


def test_preloads_are_held_at_up_to_a_tenth_of_the_peak() -> None:
    """The recording begins on the preload, which is no zero; half of the machines stop in the fall."""
    cases = [family("preload", seed) for seed in range(40)]
    for case in cases:
        assert 0.003 < case.truth.force_at(case.conversions.time_s[0]) / case.truth.peak_n < 0.11
    stopped = [case for case in cases if case.conversions.time_s[-1] < case.truth.break_time_s + 0.1]
    assert 3 <= len(stopped) < 20
    assert all(case.shows == "force" for case in stopped)


def test_a_shifted_zero_is_what_is_read_after_the_break() -> None:
    shifts = []
    for case in (family("zero_shift", seed) for seed in range(30)):
        shown = _felt_n(case)
        after, before = np.median(shown[-200:]), np.median(shown[:200])

        assert (after - before) / CAPACITY_N == pytest.approx(case.cell.zero_shift, abs=2e-4)
        shifts.append(abs(case.cell.zero_shift))
    assert min(shifts) < 0.002 < 0.02 < max(shifts) <= 0.06


def test_an_early_end_lies_in_the_fall() -> None:
    for case in _draws("early_end"):
        end, fell = case.conversions.time_s[-1], case.truth.break_time_s

        assert 0.0 < end - fell < 0.2
        assert case.truth.force_at(case.conversions.time_s[0]) < 0.01 * case.truth.peak_n


def test_a_full_store_hides_the_peak() -> None:
    for case in _draws("store_full"):
        assert case.ended == "store full"
        assert case.conversions.time_s[-1] < case.truth.peak_time_s
        assert 0.25 < _felt_n(case)[-10:].max() / case.truth.peak_n < 0.99


def test_noise_is_a_tenth_to_one_per_cent_of_the_peak_at_a_kilohertz() -> None:
    shares = []
    for case in _draws("noisy"):
        quiet = case.shown_n[case.conversions.time_s < 5.0]
        quiet = quiet - np.convolve(quiet, np.ones(201) / 201, mode="same")
        shares.append(np.std(quiet[200:-200]) / case.truth.peak_n)

        assert np.median(np.diff(case.conversions.time_s)) == pytest.approx(0.001)
    assert 0.0008 < min(shares) < 0.003 < 0.004 < max(shares) < 0.0115


def test_hum_is_mains_and_its_harmonics() -> None:
    """In the quiet start, seen at 200/s and more, the largest line of the spectrum lies at 50 or 60 Hz."""
    seen = 0
    for case in (family("hum", seed) for seed in range(30)):
        tone = case.converter.tones[0]

        assert min(abs(tone.hz - 50), abs(tone.hz - 60)) < 0.2
        assert 0.0004 < tone.mv_v / case.cell.rated_output_mv_v * CAPACITY_N / case.truth.peak_n < 0.0101
        if case.converter.rate_hz < 200.0:
            continue
        seen += 1
        quiet = case.shown_n[case.conversions.time_s < 5.5]
        spectrum = np.abs(np.fft.rfft((quiet - quiet.mean()) * np.hanning(quiet.size)))
        hz = np.fft.rfftfreq(quiet.size, case.converter.period_s)
        assert hz[20:][np.argmax(spectrum[20:])] == pytest.approx(tone.hz, abs=0.5)
    assert seen > 10


@pytest.mark.parametrize(("rate", "order"), [(80.0, 4), (1000.0, 1), (137.0, 3)])
def test_the_filter_passes_hum_as_it_passes_any_input(rate: float, order: int) -> None:
    """A tone at the input equals the same sine put in as load and convolved with the filter, knot by knot."""
    tone = Tone(53.0, 0.8, 0.7)
    quiet = Converter(rate_hz=rate, filter_order=order, noise_nv=0.0, phase=0.4)
    knots = np.arange(0.0, 0.6, 2e-5)
    sine = tone.mv_v * np.sin(2 * np.pi * tone.hz * knots + tone.turn)
    hum = convert([0.0, 0.6], [0.0, 0.0], replace(quiet, tones=(tone,)), seed=1)
    by_knots = filtered(
        knots,
        sine,
        first_s=hum.time_s[0],
        period_s=quiet.period_s,
        number=hum.time_s.size,
        order=order,
    )
    settled = hum.time_s > 0.1

    assert hum.counts[settled] / counts_per_mv_v(128) == pytest.approx(by_knots[settled], abs=2e-5)
    assert not hum.clean_counts.any()


def test_ten_conversions_a_second_are_as_slow_as_that() -> None:
    for case in _draws("ten_per_second"):
        assert 1 / 11.8 < np.median(np.diff(case.conversions.time_s)) < 1 / 9.2


def test_sharp_corners_are_sharp_and_break_nothing() -> None:
    """The rate jumps from that of the rise, or from rest, to that of letting go within one knot."""
    for case in _draws("sharp_corners"):
        off = next(event for event in case.truth.events if event.kind == "unload")
        lasts = off.end_s - off.time_s
        first = case.truth.force_at(off.time_s) - case.truth.force_at(off.time_s + 0.01 * lasts)

        assert case.truth.manner == "none"
        assert first == pytest.approx(0.01 * case.truth.peak_n, rel=1e-6)
        assert 0.4 <= lasts <= 5.0


def test_a_reversed_pull_is_negative() -> None:
    for case in _draws("reversed"):
        assert case.polarity == -1
        assert case.shown_n.min() < -0.8 * case.truth.peak_n
        assert case.shown_n.max() < 0.5 * case.truth.peak_n


def test_cycles_rise_and_the_last_one_breaks() -> None:
    for case in _draws("cyclic"):
        tops = [event.load_n for event in case.truth.events if event.kind == "unload"]

        assert tops == sorted(tops)
        assert 1 <= len(tops) <= 7
        assert case.truth.break_load_n == case.truth.peak_n


def test_a_part_keeps_the_numbers_of_its_conversions() -> None:
    whole = family("missing", 1).conversions
    some = part(whole, from_s=8.0, until_s=12.0)

    assert some.time_s[0] >= 8.0
    assert some.time_s[-1] <= 12.0
    assert (np.diff(some.number) > 1).sum() <= len(some.missed)
    assert set(some.missed) == {at for at in whole.missed if some.number[0] < at < some.number[-1]}
    glitched = family("glitch_at_peak", 1).conversions
    (before,) = glitched.glitches
    after = part(glitched, from_s=5.0)
    assert after.time_s[after.glitches[0]] == glitched.time_s[before]


def test_a_shift_in_no_time_is_refused() -> None:
    with pytest.raises(UsageError, match="shift"):
        Cell(1000.0, zero_shift=0.01)


def test_a_calibration_is_made_before_the_shock() -> None:
    """Whatever shifts the cell's zero in the pull has not yet happened when it is calibrated."""
    case = family("zero_shift", 3)
    shifted = replace(case.cell, shift_from_s=2.0, shift_until_s=2.1, zero_shift=0.06)

    points = calibration(3, "good", cell=shifted).points

    assert points == calibration(3, "good", cell=replace(shifted, zero_shift=0.0)).points
