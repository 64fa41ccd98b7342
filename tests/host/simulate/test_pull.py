"""The truth about a simulated pull equals what brute force and closed forms say of the load curve itself."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breakyard.errors import UsageError
from breakyard.simulate import phases, recipes, releases
from breakyard.simulate.pull import PullTruth, pull
from breakyard.simulate.recipes import Rig

RIG = Rig()

WHOLE_PULLS = {
    "brittle": recipes.brittle(RIG, peak_n=4000.0, rate_n_per_s=800.0, residual_n=50.0),
    "towed": recipes.towed(RIG, peak_n=4000.0, rate_n_per_s=600.0),
    "ductile": recipes.ductile(
        RIG, peak_n=5000.0, rate_n_per_s=700.0, round_s=1.5, plateau_s=1.0, soften_n=300.0
    ),
    "yielding": recipes.yielding(RIG, yield_n=4000.0, peak_n=5500.0, rate_n_per_s=700.0, soften_n=300.0),
    "progressive": recipes.progressive(
        RIG, drops=((2000.0, 300.0), (2900.0, 500.0)), last_n=3300.0, rate_n_per_s=500.0, residual_n=80.0
    ),
    "settling": recipes.settling(RIG, peak_n=4521.0, settled_n=4462.0, rate_n_per_s=500.0),
    "let_go": recipes.let_go(RIG, peak_n=3000.0, rate_n_per_s=500.0),
    "snatch": recipes.snatch(RIG, peak_n=4700.0, duration_s=0.05, breaks=True),
}
PEAKS = {
    "brittle": 4000.0,
    "towed": 4000.0,
    "ductile": 5000.0,
    "yielding": 5500.0,
    "progressive": 3300.0,
    "settling": 4521.0,
    "let_go": 3000.0,
    "snatch": 4700.0,
}


def _first_peak_by_walking(force: Sequence[float]) -> float:
    """The 0.5 % rule, knot by knot."""
    floor, best = 0.1 * max(force), 0.0
    for load in force:
        if best == 0.0 and load < floor:
            continue
        if best and load <= 0.995 * best:
            return best
        best = max(best, load)
    return best


@pytest.mark.parametrize("name", sorted(WHOLE_PULLS))
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_truth_is_what_the_curve_says(name: str, seed: int) -> None:
    truth = pull(WHOLE_PULLS[name], seed=seed)

    assert truth.peak_n == max(truth.force_n) == pytest.approx(PEAKS[name], rel=1e-12)
    assert truth.force_at(truth.peak_time_s) == truth.peak_n
    assert truth.first_peak_n == _first_peak_by_walking(truth.force_n.tolist())
    assert truth.force_at(truth.first_peak_time_s) == truth.first_peak_n
    assert np.all(np.diff(truth.time_s) > 0.0)
    assert [event.time_s for event in truth.events] == sorted(event.time_s for event in truth.events)
    if truth.break_time_s is not None:
        assert truth.break_load_n is not None
        assert truth.force_at(truth.break_time_s) == pytest.approx(truth.break_load_n, rel=1e-9)
        assert truth.force_n[truth.time_s > truth.break_time_s].max() < truth.break_load_n


@pytest.mark.parametrize("name", sorted(WHOLE_PULLS))
def test_phases_join_without_a_step(name: str) -> None:
    """The load never changes faster than the fastest thing that was asked for does (a fall, a jerk)."""
    truth = pull(WHOLE_PULLS[name], seed=5)
    slope = np.abs(np.diff(truth.force_n) / np.diff(truth.time_s))
    falling = np.zeros(slope.size, dtype=bool)
    for event in truth.events:
        if event.kind in ("break", "drop"):
            falling |= (truth.time_s[:-1] >= event.time_s - 1e-9) & (truth.time_s[:-1] < event.time_s + 2.0)
    fastest = 300_000.0 if name == "snatch" else 5000.0

    assert slope[~falling].max() < fastest


@pytest.mark.parametrize("name", sorted(WHOLE_PULLS))
def test_the_grid_is_fine_where_it_matters(name: str) -> None:
    """Knots at least every 0.1 ms through a fall, and every 5 ms wherever the load changes."""
    truth = pull(WHOLE_PULLS[name], seed=6)
    step = np.diff(truth.time_s)

    assert step[np.abs(np.diff(truth.force_n)) > 1e-6].max() <= phases.COARSE_S + 1e-9
    for event in truth.events:
        if event.kind in ("break", "drop") and name != "snatch":
            inside = (truth.time_s[:-1] > event.time_s - 1e-9) & (
                truth.time_s[1:] < (event.end_s or 0.0) + 1e-9
            )
            assert step[inside].max() <= phases.FINE_S + 1e-9


@pytest.mark.parametrize(
    ("name", "manner"),
    [
        ("brittle", "brittle"),
        ("ductile", "ductile"),
        ("yielding", "ductile"),
        ("progressive", "progressive"),
        ("let_go", "none"),
    ],
)
def test_the_manner_is_the_one_that_was_built(name: str, manner: str) -> None:
    truth = pull(WHOLE_PULLS[name], seed=1)

    assert truth.manner == manner
    assert (truth.break_time_s is None) == (manner == "none")


def test_a_brittle_break_falls_within_a_millisecond_and_rings_below_zero() -> None:
    truth = pull(recipes.brittle(Rig(ring=0.3), peak_n=4000.0, rate_n_per_s=800.0), seed=1)
    assert truth.break_time_s is not None

    assert truth.break_time_s == truth.peak_time_s
    assert truth.force_at(truth.break_time_s + 0.001) < 0.05 * truth.peak_n
    assert truth.force_n.min() < -0.1 * truth.peak_n
    assert truth.force_at(truth.break_time_s + 3.0) == 0.0


@pytest.mark.parametrize("hz", [5.0, 15.0, 30.0])
def test_recoil_rings_at_its_frequency(hz: float) -> None:
    """A damped sine crosses its resting load twice a period."""
    broken = releases.Break(100.0, ring_n=400.0, ring_hz=hz, ring_decay_s=0.4, ring_s=1.0)
    truth = pull([phases.Ramp(1000.0, 2000.0), broken], seed=1)
    after = truth.force_n[truth.time_s > 2.001] - 100.0
    crossings = np.count_nonzero(np.diff(np.sign(after)) != 0)

    assert crossings == pytest.approx(2 * hz, abs=2)


def test_a_part_that_peaks_and_settles_keeps_both_loads() -> None:
    """461 and 455 kgf: the usual case of a part that eases before it lets go."""
    truth = pull(WHOLE_PULLS["settling"], seed=2)
    assert truth.settled is not None
    assert truth.settled.end_s is not None

    held = truth.force_n[(truth.time_s >= truth.settled.time_s) & (truth.time_s <= truth.settled.end_s)]
    assert truth.settled.load_n == 4462.0
    np.testing.assert_allclose(held, 4462.0, rtol=1e-12)
    assert truth.peak_n == pytest.approx(4521.0)
    assert truth.break_load_n == pytest.approx(4462.0)


def test_partial_drops_are_listed_with_their_sizes() -> None:
    truth = pull(WHOLE_PULLS["progressive"], seed=3)

    assert [(drop.load_n, drop.to_n) for drop in truth.drops] == [
        (pytest.approx(2000.0), pytest.approx(1700.0)),
        (pytest.approx(2900.0), pytest.approx(2400.0)),
    ]
    for drop in truth.drops:
        assert truth.force_at(drop.time_s) == pytest.approx(drop.load_n)
        assert truth.force_at(drop.end_s or 0.0) == pytest.approx(drop.to_n)
    assert truth.first_peak_n == pytest.approx(2000.0)
    assert truth.residual_n == 80.0


def test_a_snatch_is_half_a_sine() -> None:
    """F(t) = F sin(pi t / T); above half its peak for two thirds of T."""
    truth = pull([releases.Snatch(3000.0, 0.06)], seed=1)
    t = np.linspace(0.0, 0.06, 301)

    np.testing.assert_allclose(
        np.interp(t, truth.time_s, truth.force_n), 3000.0 * np.sin(np.pi * t / 0.06), atol=0.2
    )
    assert truth.peak_time_s == pytest.approx(0.03)


def test_yielding_bends_as_a_parabola() -> None:
    """A rate falling evenly from r to 0 within T raises the load by r T / 2 and leaves it level."""
    truth = pull([phases.Ramp(1000.0, 2000.0), phases.Round(0.8), releases.Drop(500.0)], seed=1)

    assert truth.peak_n == pytest.approx(2000.0 + 1000.0 * 0.8 / 2)
    assert truth.peak_time_s == pytest.approx(2.8)
    assert truth.rate_at_peak_n_per_s == pytest.approx(1000.0 * 0.05 / 0.8 / 2)


def test_the_rate_of_a_steady_ramp_is_its_rate() -> None:
    truth = pull(WHOLE_PULLS["brittle"], seed=4)

    assert truth.rate_at_peak_n_per_s == pytest.approx(800.0, rel=1e-9)


@given(
    seed=st.integers(0, 10_000),
    rate=st.floats(100.0, 5000.0),
    to=st.floats(200.0, 15_000.0),
    surge=st.floats(0.0, 1.0),
    jerks=st.floats(0.0, 2.0),
)
@settings(max_examples=60)
def test_towing_ends_exactly_where_the_load_is_first_reached(
    seed: int, rate: float, to: float, surge: float, jerks: float
) -> None:
    truth = pull([phases.Towing(rate, to, surge=surge, jerks_per_s=jerks)], seed=seed)

    assert truth.force_n[-1] == to
    assert np.all(truth.force_n[:-1] < to)
    assert truth.peak_time_s == truth.time_s[-1]


def test_jerky_towing_is_jerky() -> None:
    """With surges the rate varies by more than half its mean; without it does not vary."""
    rough = pull([phases.Towing(500.0, 8000.0, surge=0.7, jerks_per_s=0.5)], seed=2)
    even = pull([phases.Towing(500.0, 8000.0, surge=0.0, jerks_per_s=0.0)], seed=2)

    def spread(truth: PullTruth) -> float:
        rate = np.diff(truth.force_n) / np.diff(truth.time_s)
        return float(rate.std() / rate.mean())

    assert spread(rough) > 0.5
    assert spread(even) < 1e-6


def test_a_swinging_mass_pulls_with_its_weight_on_average() -> None:
    """Pendulum of amplitude q: mean load m g (1 + q**2 / 4), at most m g (1 + q**2), small angles.

    Source: tension m g cos(a) + m L (da/dt)**2 with energy conserved.
    """
    amplitude = 0.1
    hung = releases.Hang(
        200.0, hold_s=40.0, swing_rad=amplitude, swing_hz=0.5, swing_decay_s=1e9, bounce=0.0, bumps=0
    )
    truth = pull([hung], seed=1)
    (hold,) = truth.holds
    late = truth.time_s > hold.time_s + 10.0  # 29.99 s: thirty swings

    assert hold.load_n == 200.0
    assert truth.force_n[late].mean() == pytest.approx(200.0 * (1 + amplitude**2 / 4), rel=1e-5)
    assert truth.force_n[late].max() == pytest.approx(200.0 * (1 + amplitude**2), rel=1e-5)
    assert truth.force_n[late].min() == pytest.approx(200.0 * (1 - amplitude**2 / 2), rel=1e-5)


@pytest.mark.parametrize("name", sorted(WHOLE_PULLS))
def test_the_same_seed_gives_the_same_bytes(name: str) -> None:
    once, again = (pull(WHOLE_PULLS[name], seed=8) for _ in range(2))

    assert once.time_s.tobytes() == again.time_s.tobytes()
    assert once.force_n.tobytes() == again.force_n.tobytes()
    assert once.events == again.events


def test_handling_knocks_stay_within_their_size_and_differ_by_seed() -> None:
    quiet = [phases.Hold(8.0, bumps=3, bump_n=20.0)]
    one, two = pull(quiet, seed=1), pull(quiet, seed=2)

    assert 0.0 < np.abs(one.force_n).max() <= 60.0
    assert one.force_n.tobytes() != two.force_n.tobytes()
    assert sum(event.kind == "bump" for event in one.events) == 3


@pytest.mark.parametrize(
    "wrong",
    [
        [],
        [phases.Ramp(-10.0, 100.0)],
        [phases.Ramp(10.0, 100.0), phases.Ramp(10.0, 50.0)],
        [phases.Hold(0.0)],
        [releases.Break(0.0)],
    ],
)
def test_phases_that_cannot_be_are_refused(wrong: list[phases.Phase]) -> None:
    with pytest.raises(UsageError):
        pull(wrong, seed=1)
