"""Hand winches and surging vehicles obey the equations that they are taken from."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.signal import argrelmax, argrelmin

from breakyard.errors import UsageError
from breakyard.simulate.drives import Pause, Strokes, Surges, step_response
from breakyard.simulate.phases import Knots, Start


def _drawn(phase: Strokes | Surges | Pause, load_n: float = 0.0, seed: int = 1) -> Knots:
    return phase.trace(Start(load_n), np.random.default_rng(seed))


@pytest.mark.parametrize(("hz", "damping"), [(0.5, 0.02), (2.0, 0.1), (5.0, 0.3)])
def test_a_step_of_effort_is_answered_as_the_equation_of_motion_says(hz: float, damping: float) -> None:
    """x'' + 2 z w x' + w**2 x = w**2 from rest, integrated by another method."""
    w = 2 * np.pi * hz
    times = np.linspace(0.0, 3.0, 200)
    solved = solve_ivp(
        lambda _t, y: (y[1], w * w * (1.0 - y[0]) - 2 * damping * w * y[1]),
        (0.0, 3.0),
        (0.0, 0.0),
        t_eval=times,
        rtol=1e-9,
        atol=1e-11,
    )

    assert np.abs(step_response(times, hz, damping) - solved.y[0]).max() < 1e-6
    assert not step_response(np.array([-1.0, 0.0]), hz, damping).any()


def test_a_surge_dies_by_its_logarithmic_decrement() -> None:
    """ln(x1 / x2) of neighbouring maxima is 2 pi z / sqrt(1 - z**2) (den Hartog, "Mechanical Vibrations", 1956, 2.7:
    from memory)."""
    damping = 0.03
    times = np.linspace(0.0, 6.0, 60_001)
    beyond = step_response(times, 1.0, damping) - 1.0
    tops = beyond[argrelmax(beyond)[0]]

    assert np.log(tops[:-1] / tops[1:]) == pytest.approx(
        2 * np.pi * damping / np.sqrt(1 - damping**2), rel=1e-4
    )


@pytest.mark.parametrize("seed", range(5))
def test_a_surging_vehicle_swings_at_its_own_frequency(seed: int) -> None:
    """About its mean rise the load swings at the natural frequency of mass and line, by no more than was asked for."""
    phase = Surges(500.0, 10_000.0, hz=1.7, damping=0.01, swing_n=300.0, changes_per_s=0.3)
    trace = _drawn(phase, seed=seed)
    even = np.arange(0.0, trace.time_s[-1], 0.01)
    swing = np.interp(even, trace.time_s, trace.load_n) - 500.0 * even
    spectrum = np.abs(np.fft.rfft(np.diff(swing) * np.hanning(swing.size - 1)))

    assert np.abs(swing).max() <= 300.0 * (1 + 1e-9)
    assert np.fft.rfftfreq(swing.size - 1, 0.01)[np.argmax(spectrum)] == pytest.approx(1.7, abs=0.1)
    assert trace.load_n[-1] == trace.load_n.max() == 10_000.0


def test_a_pause_relaxes_as_a_standard_linear_solid() -> None:
    """At constant stretch F = F0 (1 - r (1 - exp(-t / tau))): all but r of it stays, and tau is read off the start."""
    trace = _drawn(Pause(20.0, relaxing=0.05, relax_s=1.5), 1000.0)

    assert trace.load_n[-1] == pytest.approx(950.0, abs=1e-3)
    assert np.interp(1.5, trace.time_s, trace.load_n) == pytest.approx(
        1000.0 - 50.0 * (1 - np.exp(-1)), abs=1e-3
    )


def test_strokes_of_a_stiff_line_give_back_what_the_pawl_takes() -> None:
    """Every hump stands `back_n` above the trough behind it, and the humps rise by the mean rate."""
    phase = Strokes(300.0, 20_000.0, period_s=0.8, back_n=250.0, uneven=0.0, relaxing=0.0)
    trace = _drawn(phase)
    humps, troughs = argrelmax(trace.load_n)[0], argrelmin(trace.load_n, mode="clip")[0]
    late = humps[trace.load_n[humps] > 2000.0]

    assert np.diff(trace.load_n[late]) == pytest.approx(300.0 * 0.8, rel=1e-9)
    assert np.diff(trace.time_s[late]) == pytest.approx(0.8, rel=1e-6)
    assert troughs.size == 0 or (trace.load_n[troughs] >= 0.0).all()
    for hump in late:
        after = trace.load_n[hump : hump + 40]
        assert after[0] - after.min() == pytest.approx(250.0, rel=1e-9)


def test_a_fibre_line_relaxes_between_strokes_and_yields_to_the_zener_solid() -> None:
    """A single long haul is a ramp of stretch: F = (1 - r) V t + r V tau (1 - exp(-t / tau)), by hand."""
    relaxing, tau, rate = 0.2, 0.5, 1000.0
    phase = Strokes(
        rate, 900.0, period_s=0.01, haul=0.5, back_n=0.0, uneven=0.0, relaxing=relaxing, relax_s=tau
    )
    trace = _drawn(phase)
    t = trace.time_s[-1]

    by_hand = (1 - relaxing) * rate * t + relaxing * rate * tau * (1 - np.exp(-t / tau))
    assert trace.load_n[-1] == 900.0
    assert by_hand == pytest.approx(900.0, abs=1.2 * rate * 0.01)


@pytest.mark.parametrize("seed", range(8))
def test_a_weakened_part_breaks_below_the_hump_that_weakened_it(seed: int) -> None:
    """The peak is a hump, the end lies below it by what was asked for, and nothing in between is higher."""
    for phase in (
        Strokes(200.0, 5000.0, back_n=200.0, weaker=0.01),
        Surges(150.0, 5000.0, hz=1.0, swing_n=200.0, damping=0.02, weaker=0.005),
    ):
        trace = _drawn(phase, seed=seed)

        assert trace.load_n.max() == pytest.approx(5000.0, rel=1e-12)
        if trace.load_n[-1] != 5000.0:  # a rise without such a hump breaks at its top
            assert trace.load_n[-1] == pytest.approx(5000.0 * (1 - phase.weaker), rel=1e-12)
            assert np.argmax(trace.load_n) < trace.load_n.size - 5
        assert np.diff(trace.time_s).min() > 0.0
    assert _drawn(Strokes(200.0, 5000.0, back_n=200.0, weaker=0.01), seed=seed).load_n[-1] < 5000.0


def test_what_cannot_swing_is_refused() -> None:
    for hz, damping in ((0.0, 0.1), (1.0, 0.0), (1.0, 1.0)):
        with pytest.raises(UsageError, match="surge"):
            _drawn(Surges(100.0, 1000.0, hz=hz, damping=damping))
