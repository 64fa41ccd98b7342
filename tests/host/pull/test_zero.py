"""Zero, noise and onset."""

import numpy as np
import pytest
from analysis_cases import KGF, calibrated, read_case
from hypothesis import given
from hypothesis import strategies as st

from breakyard.converter.noise import noise_of
from breakyard.errors import NoPull
from breakyard.pull.zero import find_zero, zero_after
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


def test_a_recording_that_begins_under_load_says_so() -> None:
    """No quiet part: the zero is not taken from loaded samples, and it is marked as a guess."""
    late = TIME > ONSET + 2.0

    zero = find_zero(TIME[late], pull()[late], force_zero_known=True)

    assert not zero.quiet
    assert zero.level_n == 0.0


def test_noise_alone_is_no_pull() -> None:
    """Nothing that rises clearly above its own noise is refused."""
    rng = np.random.default_rng(1)

    with pytest.raises(NoPull):
        find_zero(TIME, rng.standard_normal(len(TIME)))


def test_noise_is_that_of_one_sample() -> None:
    """A steady rise does not count as noise."""
    assert noise_of(pull(noise=2.0)) == pytest.approx(2.0, rel=0.15)


def test_zero_after_the_pull_needs_a_steady_unloaded_second() -> None:
    """A shift is told; what still swings or hangs is not taken for a zero."""
    zero = find_zero(TIME, pull())
    rng = np.random.default_rng(2)
    rest = 30.0 + 0.3 * rng.standard_normal(len(TIME))
    broken = np.where(TIME > 15.0, rest, pull())

    assert zero_after(TIME, broken, zero, 16.0, 4500.0) == pytest.approx(30.0, abs=0.3)
    assert zero_after(TIME, np.where(TIME > 15.0, 900.0, pull()), zero, 16.0, 4500.0) is None
    assert zero_after(TIME, broken + 30 * (TIME - 19.5), zero, 16.0, 4500.0) is None
