"""Falls that last: their shape through the filter, what they do to the recovered peak, how both kinds are covered."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from analysis_cases import read_exactly
from numpy.typing import NDArray

from breakyard.pull.peak.recovery import Recovered, recover
from breakyard.pull.peak.ringing import find_ring
from breakyard.pull.peak.shape import DURATIONS, filtered_falls, rates
from breakyard.simulate.converter import filtered

PERIOD, NOISE = 0.0125, 0.2
PEAK, RATE = 6000.0, 5000.0

Array = NDArray[np.float64]


def samples(
    fall_s: float, *, order: int = 4, shape: Callable[[Array], Array] = np.asarray, stamp_s: float = 0.0
) -> tuple[Array, Array, int]:
    """A steady ramp and a fall in some shape: times as stamped, loads, index of the first sample that is down."""
    rng = np.random.default_rng(5)
    broke = 1.0 + PEAK / RATE
    x = np.linspace(0.0, 1.0, 201)
    knots = np.concatenate([[0.0, 1.0], broke + fall_s * x, [broke + 1.0]])
    force = np.concatenate([[0.0, 0.0], PEAK * (1.0 - shape(x)), [0.0]])
    number = int((broke + 0.9) / PERIOD)
    load = filtered(knots, force, first_s=1.4 * PERIOD, period_s=PERIOD, number=number, order=order)
    load = load + NOISE * rng.standard_normal(number)
    time = PERIOD * (1.4 + np.arange(number)) + stamp_s * rng.standard_normal(number)
    return time, load, int(np.argmax(load)) + 1


def found(fall_s: float, **options: object) -> Recovered:
    time, load, falling = samples(fall_s, **options)
    return recover(time, load, falling, PERIOD, NOISE)


@pytest.mark.parametrize("order", [3, 4])
def test_filtered_falls_agree_with_the_simulated_converter(order: int) -> None:
    """A rate of fall that is a broken line, integrated on a fine grid and filtered in the simulator's own way."""
    rate = np.array([0.2, 1.5, 1.3, 1.2, -0.2])
    rate = rate / (np.array([0.5, 1.0, 1.0, 1.0, 0.5]) @ rate / 4.0)
    x = np.linspace(0.0, 1.0, 4001)
    density = np.interp(x, np.linspace(0.0, 1.0, 5), rate)
    share = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))]) / 4000.0
    at = 4.3 + np.arange(10.0)
    grid = np.concatenate([[0.0], 5.0 + 2.6 * x, [30.0]])

    expected = filtered(
        grid, np.concatenate([[0.0], share, [1.0]]), first_s=4.3, period_s=1.0, number=10, order=order
    )

    assert np.allclose(filtered_falls(at - 5.0, 2.6, order, rate[None])[0], expected, atol=2e-6)


def test_durations_and_shapes_are_whole() -> None:
    """The prior of the durations sums to one, also in parts, and every shape falls by one (deviations by nothing)."""
    assert sum(kind.weight for kind in DURATIONS) == pytest.approx(1.0)
    for kind in DURATIONS:
        assert sum(part.weight for part in kind.parts(PERIOD)) == pytest.approx(kind.weight)
        assert sum(part.weight for part in kind.between(0.0, 1.0, 3)) == pytest.approx(kind.weight)
    area = np.array([0.5, 1.0, 1.0, 1.0, 0.5]) / 4.0
    for shape in (None, (1.0, 1.0), (2.0, 1.0)):
        assert rates(shape) @ area == pytest.approx([1.0, 0.0, 0.0, 0.0], abs=1e-9)


def test_a_ringing_is_found_as_it_is() -> None:
    """Frequency to a thousandth of a cycle per conversion, decay to 5 %, on a sloping level."""
    time = np.arange(4.0, 20.0)
    load = 12.0 - 0.3 * time + 80.0 * np.exp(-time / 9.0) * np.cos(2 * np.pi * 0.213 * time + 1.0)

    ring = find_ring(time, load)

    assert ring is not None
    assert ring.cycles == pytest.approx(0.213, abs=0.001)
    assert ring.decay == pytest.approx(9.0, rel=0.05)
    assert ring.size_n == pytest.approx(80.0, rel=0.05)
    assert find_ring(time[:7], load[:7]) is None


@pytest.mark.parametrize("order", [3, 4])
def test_sudden_and_slow_are_told_apart(order: int) -> None:
    """Where nothing rings, a fall within 1 ms and one within 40 ms are known for what they are."""
    assert found(0.001, order=order).plain > 0.8
    assert found(0.04, order=order).plain < 0.01


@pytest.mark.parametrize("shape", [np.asarray, np.square, lambda x: 0.5 - 0.5 * np.cos(np.pi * x)])
def test_a_slow_fall_widens_the_answer_and_it_holds(shape: Callable[[Array], Array]) -> None:
    """Falls of 30 ms in three shapes: wider than after a sudden one, and the truth is within."""
    sudden, slow = found(0.001), found(0.03, shape=shape)

    low, high = slow.quantiles(0.005, 0.995)
    assert low <= PEAK <= high
    assert slow.deviation_n > 1.5 * sudden.deviation_n


@pytest.mark.parametrize("order", [3, 4])
@pytest.mark.parametrize("fall_s", [0.03, 0.04])
def test_the_break_is_where_the_fall_begins_not_its_middle(fall_s: float, order: int) -> None:
    """The force broke at 2.2 s and fell for 30 or 40 ms: that moment is told to 5 ms, a third of the way to the
    middle."""
    assert found(fall_s, order=order).break_s == pytest.approx(1.0 + PEAK / RATE, abs=0.005)


def test_stamps_that_scatter_widen_the_answer() -> None:
    """Time stamps good to 0.3 ms instead of to the logger's steps cost precision, not truth."""
    even, scattered = found(0.001), found(0.001, stamp_s=3e-4)

    low, high = scattered.quantiles(0.005, 0.995)
    assert low <= PEAK <= high
    assert scattered.deviation_n > 1.5 * even.deviation_n


@dataclass(frozen=True)
class Promise:
    """A family, how many of its draws are read, how many must be covered, and the widest median half interval."""

    family: str
    draws: int
    least: int
    widest: float


@pytest.mark.parametrize(
    "promise", [Promise("fast_brittle", 16, 12, 0.001), Promise("slow_fall", 20, 15, 0.03)], ids=str
)
def test_the_recovery_alone_keeps_its_promise(promise: Promise) -> None:
    """With a perfect cell, on draws that tuning never saw. At 95 % each, fewer than 12 of 16 covered has a chance of
    0.09 %, fewer than 15 of 20 one of 0.03 % (binomial)."""
    pairs = [read_exactly(promise.family, seed) for seed in range(3000, 3000 + promise.draws)]
    covered = [s.peak.low_n <= case.truth.peak_n <= (s.peak.high_n or 0.0) for case, s in pairs]
    half = [((s.peak.high_n or 0.0) - s.peak.low_n) / 2 / s.peak.estimate_n for _, s in pairs]

    assert all(s.peak.bound == "two-sided" for _, s in pairs)
    assert sum(covered) >= promise.least
    assert np.median(half) < promise.widest
