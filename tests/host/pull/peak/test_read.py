"""The peak's regimes, its interval, and the promise never to go below what was seen."""

import math

import numpy as np
import pytest
from analysis_cases import read_case
from hypothesis import given
from hypothesis import settings as sized
from hypothesis import strategies as st

from breakyard.pull.peak.read import Sampled, read_peak, shortest_event_s
from breakyard.pull.peak.recovery import FILTER_ORDERS
from breakyard.simulate.converter import filtered

TWO_SIDED = [
    "slow_brittle",
    "fast_brittle",
    "ductile",
    "progressive",
    "towing",
    "let_go",
    "zero_drift",
    "missing",
    "glitch_at_peak",
    "wrong_filter",
    "recoil",
]
SEEDS = range(1000, 1008)


@pytest.mark.parametrize("name", TWO_SIDED)
def test_the_interval_covers_the_true_peak(name: str) -> None:
    """8 pulls of a family that tuning never saw: at 95 % each, fewer than 6 covered has a chance of 0.06 %."""
    pairs = [read_case(name, seed) for seed in SEEDS]
    covered = [
        s.peak.high_n is not None and s.peak.low_n <= case.truth.peak_n <= s.peak.high_n for case, s in pairs
    ]

    assert sum(covered) >= 6
    assert np.median([abs(s.peak.estimate_n / case.truth.peak_n - 1) for case, s in pairs]) < 0.005
    assert all((s.peak.high_n - s.peak.low_n) / 2 < 0.03 * s.peak.estimate_n for _, s in pairs)


@pytest.mark.parametrize("name", ["snatch", "clipped"])
def test_what_cannot_be_known_is_a_lower_bound(name: str) -> None:
    """A shock and a clipped pull are told as "at least", with a flag, and the truth lies above the bound."""
    for seed in SEEDS:
        case, summary = read_case(name, seed)

        assert summary.peak.bound == "lower"
        assert summary.peak.high_n is None
        assert summary.strength.at_least
        assert summary.strength.high_n is None
        assert summary.peak.low_n <= case.truth.peak_n
        assert {"snatch": "shock", "clipped": "clipped"}[name] in summary.flags


def test_the_largest_sample_of_a_fast_ramp_is_low_and_the_estimate_is_not() -> None:
    """At 200 to 1000 kgf/s the largest sample misses by about 1 %; recovered, the median is within 0.25 %."""
    pairs = [read_case("fast_brittle", seed) for seed in SEEDS]
    largest = [s.peak.largest_sample_n / case.truth.peak_n - 1 for case, s in pairs]
    estimate = [s.peak.estimate_n / case.truth.peak_n - 1 for case, s in pairs]

    assert np.median(largest) < -0.005
    assert abs(np.median(estimate)) < 0.0025
    assert {s.peak.regime for _, s in pairs} == {"ramp_and_break"}


PERIOD, NOISE = 0.0125, 0.3


@sized(max_examples=30)
@given(
    peak=st.floats(500.0, 15000.0),
    rise_s=st.floats(0.02, 5.0),
    fall_s=st.floats(0.0005, 3.0),
    order=st.sampled_from([3, 4]),
    phase=st.floats(0.0, 1.0),
    seed=st.integers(0, 99),
)
def test_no_estimate_lies_below_the_largest_sample_less_its_noise(
    peak: float, rise_s: float, fall_s: float, order: int, phase: float, seed: int
) -> None:
    """For any triangle of a load, long or short; and a lower bound never claims more than there was."""
    knots = np.array([[0.0, 0.0], [1.0, 0.0], [1.0 + rise_s, peak], [1.0 + rise_s + fall_s, 0.0]])
    number = int((rise_s + fall_s + 2.0) / PERIOD)
    load = filtered(*knots.T, first_s=PERIOD * (1 + phase), period_s=PERIOD, number=number, order=order)
    load = load + NOISE * np.random.default_rng(seed).standard_normal(number)
    time = PERIOD * (1 + phase + np.arange(number))

    reading = read_peak(Sampled(time, load, PERIOD, NOISE, True, FILTER_ORDERS, load[:0]), 0.95)

    assert reading.estimate_n >= load.max() - 3.5 * NOISE
    assert reading.estimate_n - reading.below_n <= peak + 1.5 * NOISE or reading.bound == "two-sided"
    assert reading.estimate_n <= 1.05 * peak


def test_without_a_converter_only_the_step_between_samples_counts() -> None:
    """10 per second on a ramp of 1000 N/s that ends at once: up to 100 N may hide, uniformly."""
    time = np.arange(0.0, 10.0, 0.1)
    load = np.where(time < 8.0, 1000.0 * np.maximum(time - 1.0, 0.0), 0.0)

    reading = read_peak(Sampled(time, load, 0.1, 0.0, False, {}, load[:0]), 0.95)

    assert reading.largest_n == pytest.approx(6900.0)
    assert reading.estimate_n == pytest.approx(6950.0)
    assert reading.standard_n == pytest.approx(100.0 / math.sqrt(12.0))
    assert reading.recovered is None


def test_where_there_is_no_filter_a_slow_fall_hides_one_step_only() -> None:
    """The same ramp, falling within 0.35 s: a filter might have made that of a sudden fall, no filter cannot."""
    time = np.arange(0.0, 10.0, 0.1)
    load = np.interp(time, [0.0, 1.0, 7.96, 8.31, 10.0], [0.0, 0.0, 6960.0, 0.0, 0.0])

    known, unknown = (
        read_peak(Sampled(time, load, 0.1, 0.0, False, {}, load[:0], unfiltered=said), 0.95)
        for said in (True, False)
    )

    assert known.estimate_n - known.below_n <= 6960.0 <= known.estimate_n + known.above_n
    assert known.standard_n == pytest.approx(100.0 / math.sqrt(12.0))
    assert (known.bound, unknown.bound) == ("two-sided", "lower")


def test_the_shortest_event_follows_the_rate() -> None:
    """ASTM STP19268S: 90 samples per event."""
    assert shortest_event_s(0.0125) == pytest.approx(1.125)
