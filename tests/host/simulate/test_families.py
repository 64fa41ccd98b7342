"""The families of pulls are what their names say, draw after draw."""

import numpy as np
import pytest

from breakyard.errors import UsageError
from breakyard.simulate.calibrations import GOOD_KGF, calibration, calibration_recording
from breakyard.simulate.converter import counts_per_mv_v
from breakyard.simulate.families import CAPACITY_N, FAMILIES, KGF, Case, family, instrument
from breakyard.simulate.untidy import UNTIDY

SEEDS = range(12)
TIDY = sorted(set(FAMILIES) - set(UNTIDY))

EARLY_AND_HALF = {"linear": [0.1, 0.5], "smooth": [0.0245, 0.5], "accelerating": [0.01, 0.25]}
"""Shares of the fall that are gone after a tenth and after half of its duration."""


def _draws(name: str) -> list[Case]:
    return [family(name, seed) for seed in SEEDS]


@pytest.mark.parametrize("name", TIDY)
def test_every_draw_keeps_to_the_common_ranges(name: str) -> None:
    for case in _draws(name):
        assert 200 * KGF <= case.truth.peak_n <= 1500 * KGF
        assert 75.0 <= case.converter.rate_hz <= 95.0
        assert case.converter.filter_order in (3, 4)
        assert (case.cell.capacity_n == CAPACITY_N) == (name != "clipped")
        assert case.conversions.clipped.any() == (name == "clipped") or case.conversions.glitches
        assert case.truth.onset_s is not None
        assert case.truth.onset_s >= 5.0
        assert np.all(np.diff(case.conversions.time_s) > 0.0)


@pytest.mark.parametrize("name", FAMILIES)
def test_a_draw_can_be_repeated(name: str) -> None:
    once, again, other = family(name, 3), family(name, 3), family(name, 4)

    assert once.conversions.counts.tobytes() == again.conversions.counts.tobytes()
    assert once.truth.force_n.tobytes() == again.truth.force_n.tobytes()
    assert once.conversions.counts.tobytes() != other.conversions.counts.tobytes()


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("slow_brittle", 20, 100),
        ("fast_brittle", 200, 1000),
        ("very_fast", 1000, 5000),
        ("wrong_filter", 200, 1000),
    ],
)
def test_the_rate_at_the_break_is_the_familys(name: str, low: float, high: float) -> None:
    for case in _draws(name):
        peak_s = case.truth.peak_time_s
        rate = (case.truth.peak_n - case.truth.force_at(peak_s - 0.005)) / 0.005

        assert low * KGF * 0.999 <= rate <= high * KGF * 1.001


def test_slow_falls_last_as_long_as_they_say() -> None:
    """5 to 60 ms from the peak down, in three shapes; half of the ramps bend over just before."""
    middles = []
    for seed in range(60):
        truth = family("slow_fall", seed).truth
        broke = next(event for event in truth.events if event.kind == "break")
        lasts = broke.end_s - broke.time_s

        assert 0.005 <= lasts <= 0.06
        assert truth.peak_time_s == pytest.approx(broke.time_s)
        half = truth.force_at(broke.time_s + 0.5 * lasts)
        early = truth.force_at(broke.time_s + 0.1 * lasts)
        gone = [(truth.peak_n - load) / (truth.peak_n - broke.to_n) for load in (early, half)]
        middles.append(
            next(name for name, shape in EARLY_AND_HALF.items() if gone == pytest.approx(shape, abs=0.01))
        )
    assert set(middles) == set(EARLY_AND_HALF)


@pytest.mark.parametrize(
    ("name", "manners"),
    [
        ("slow_brittle", {"brittle"}),
        ("ductile", {"ductile"}),
        ("progressive", {"progressive"}),
        ("let_go", {"none"}),
        ("towing", {"brittle"}),
        ("recoil", {"brittle"}),
    ],
)
def test_each_family_breaks_in_its_manner(name: str, manners: set[str]) -> None:
    assert {case.truth.manner for case in _draws(name)} == manners
    assert all(case.truth.clear for case in _draws(name))


def test_progressive_pulls_have_at_least_two_drops() -> None:
    for case in _draws("progressive"):
        assert len(case.truth.drops) >= 2
        assert all(drop.load_n - (drop.to_n or 0.0) > 0.05 * case.truth.peak_n for drop in case.truth.drops)


def test_snatches_are_shorter_than_ten_conversions_and_their_manner_is_open() -> None:
    for case in _draws("snatch"):
        above = case.truth.time_s[case.truth.force_n > 0.5 * case.truth.peak_n]

        assert 0.01 * 2 / 3 * 0.95 < above[-1] - above[0] < 0.1 * 2 / 3 * 1.05
        assert not case.truth.clear


def test_faults_are_those_of_the_family() -> None:
    missing = _draws("missing")
    total = sum(case.conversions.counts.size for case in missing)
    lost = sum(len(case.conversions.missed) for case in missing)

    assert lost / (lost + total) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / total))
    for case in _draws("glitch_at_peak"):
        (at,) = case.conversions.glitches
        offset = case.conversions.time_s[at] - case.truth.peak_time_s
        assert abs(offset) < 5 * case.converter.period_s
        assert abs(case.conversions.counts[at] - case.conversions.clean_counts[at]) > 1000
    for case in _draws("zero_drift"):
        assert abs(case.cell.zero_drift_per_s) * 60 == pytest.approx(0.0005)
    for case in _draws("wrong_filter"):
        assert {case.assumed_order, case.converter.filter_order} == {3, 4}
    for case in _draws("recoil"):
        assert case.truth.force_n.min() < -0.05 * case.truth.peak_n


def test_clipped_pulls_exceed_the_range_and_spare_the_cell() -> None:
    for case in _draws("clipped"):
        assert 1.30 < case.truth.peak_n / case.cell.capacity_n < 1.50


def test_fast_ramps_read_low_by_about_the_filters_delay() -> None:
    """The last sample wholly before the break lags by order / 2 periods of ramp; the largest never lags more
    than that, nor does it exceed the peak (noise apart)."""
    for case in _draws("fast_brittle"):
        peak_s = case.truth.peak_time_s
        rate = (case.truth.peak_n - case.truth.force_at(peak_s - 0.005)) / 0.005
        clean = (case.conversions.clean_counts / counts_per_mv_v(128) - case.cell.zero_mv_v) * (
            case.cell.capacity_n / case.cell.rated_output_mv_v
        )
        low = case.truth.peak_n - clean.max()
        worst = rate * (case.converter.filter_order / 2 + 1) * case.converter.period_s

        assert -0.001 * case.truth.peak_n < low < worst + 0.001 * case.truth.peak_n


def test_a_name_that_is_no_family_is_refused() -> None:
    with pytest.raises(UsageError, match="slow_brittle"):
        family("slow", 1)


@pytest.mark.parametrize("kind", ["small", "good"])
def test_a_calibration_belongs_to_the_instrument_of_its_seed(kind: str) -> None:
    for seed in SEEDS:
        made = calibration(seed, kind)
        expected = made.cell.static_mv_v([point.true_n for point in made.points]) * counts_per_mv_v(128)
        rising = np.array([point.rising for point in made.points])
        residual = np.array([point.counts for point in made.points]) - expected
        noise = made.points[0].counts_standard

        assert (made.cell, made.converter) == instrument(seed)
        assert np.abs(residual[rising]).max() < 6 * noise
        assert np.abs(residual).max() < 6 * noise + made.cell.hysteresis * 2.1 * counts_per_mv_v(128)


def test_small_masses_are_known_to_ten_grams() -> None:
    errors = [
        point.true_n / weights.local_gravity / (1 - 1.2 / 7200) - (point.mass_kg or 0.0)
        for seed in range(100)
        if (weights := calibration(seed, "small").weights) is not None
        for point in calibration(seed, "small").points[1:2]
    ]

    assert np.std(errors) == pytest.approx(0.01, rel=0.25)


def test_a_good_calibration_reaches_a_thousand_kilograms_force() -> None:
    made = calibration(5, "good")

    assert max(point.true_n for point in made.points) == pytest.approx(max(GOOD_KGF) * KGF)
    assert made.points[-1].true_n == 0.0
    assert all(point.mass_kg is None for point in made.points)


def test_a_good_calibration_never_overloads_a_small_cell() -> None:
    case = family("clipped", 2)
    made = calibration(2, "good", cell=case.cell)

    assert max(point.true_n for point in made.points) <= case.cell.capacity_n * (1 + 1e-12)


def test_a_calibration_recording_hangs_the_same_masses() -> None:
    made, conversions, truth = calibration_recording(4)
    assert made.weights is not None

    assert [hold.load_n for hold in truth.holds] == list(made.weights.forces_n)
    assert conversions.counts.tobytes() == calibration_recording(4)[1].counts.tobytes()


def test_a_calibration_of_no_kind_is_refused() -> None:
    with pytest.raises(UsageError, match="small and good"):
        calibration(1, "great")
