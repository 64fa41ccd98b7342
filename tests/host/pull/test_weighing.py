"""Weighing what swings: batch means, buoyancy, gravity."""

import numpy as np
import pytest

from breakyard.calibration import Air, gravity_at
from breakyard.calibration.terms import Term
from breakyard.errors import NoPull
from breakyard.pull.weighing import BATCHES, batch_mean, empty_before, hanging, weigh

G = gravity_at(54.3, 10.0)
AIR = Air(1.2, 0.0, "stated")


def swinging(mean: float, seed: int, seconds: float = 20.0) -> tuple[np.ndarray, np.ndarray]:
    """A load on a rope that swings and bounces at odd periods, with noise; 80 samples a second."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, seconds, 1 / 80)
    load = mean + rng.normal(0.0, 1.0, len(time))
    for period, share in ((rng.uniform(1.5, 2.5), 0.01), (rng.uniform(0.3, 0.6), 0.02)):
        load += share * mean * np.sin(2 * np.pi * (time / period + rng.uniform()))
    return time, load


def test_the_mean_of_a_swing_keeps_its_promise() -> None:
    """400 swings of random period and phase: the t interval of eight batch means holds the truth in 93 to 100 %."""
    held = 0
    for seed in range(400):
        found = batch_mean(*swinging(2000.0, seed, 16.0))
        held += abs(found.mean_n - 2000.0) <= 2.365 * found.standard_n  # t, 7 degrees of freedom
    assert 0.93 <= held / 400 <= 1.0


def test_batch_means_of_plain_noise_are_the_standard_error() -> None:
    """Without a swing: sigma / sqrt(n), in the mean of many (JCGM 100, 4.2.3)."""
    rng = np.random.default_rng(0)
    time = np.arange(800) / 80
    squares = [batch_mean(time, rng.normal(0.0, 3.0, 800)).standard_n ** 2 for _ in range(500)]
    assert np.sqrt(np.mean(squares)) == pytest.approx(3.0 / np.sqrt(800), rel=0.06)


def test_slings_are_a_tare_and_the_mass_is_that_of_the_thing() -> None:
    """31.4 N of slings, then 212.4 kg of density 7800 in air of 1.2 kg/m3, by the formula; not by our functions."""
    time, load = swinging(31.4, 1, 15.0)
    left = 1.0 - 1.2 / 7800.0
    later, heavy = swinging(31.4 + 212.4 * G.value * left, 2, 25.0)
    t, y = np.concatenate([time, later + 15.0]), np.concatenate([load, heavy])

    hung = hanging(t, y, 10.0)
    empty = empty_before(t, y, 10.0, hung.start_s)
    found = weigh(hung, empty, gravity=G, gravity_shared=False, air=AIR, density=(7800.0, 7800.0))

    assert hung.start_s >= 15.0
    assert empty.end_s <= 15.1
    assert found.low_kg <= 212.4 <= found.high_kg
    assert found.mass_kg == pytest.approx(212.4, rel=0.01)
    assert found.tare_kg == pytest.approx(31.4 / G.value, rel=0.01)


def test_what_is_not_said_of_the_density_is_wide() -> None:
    """From wood to steel buoyancy differs by 0.16 %; a density that is said narrows the interval and stays inside."""
    hung = batch_mean(np.arange(800) / 80, np.full(800, 1000.0))
    said = weigh(hung, None, gravity=G, gravity_shared=True, air=AIR, density=(5000.0, 5000.0))
    open_ = weigh(hung, None, gravity=G, gravity_shared=True, air=AIR)

    assert open_.low_kg < said.mass_kg < open_.high_kg
    assert open_.high_kg - open_.low_kg > 10 * (said.high_kg - said.low_kg)


def test_gravity_cancels_where_the_masses_hung() -> None:
    """A calibration by masses at this place knows masses without knowing gravity."""
    hung = batch_mean(np.arange(800) / 80, np.full(800, 1000.0))
    terms = [Term("gravity", 5.0), Term("known masses", 0.1)]
    shared = weigh(hung, None, gravity=G, gravity_shared=True, air=AIR, density=(8000.0, 8000.0), terms=terms)
    other = weigh(hung, None, gravity=G, gravity_shared=False, air=AIR, density=(8000.0, 8000.0), terms=terms)

    assert dict(shared.budget).keys() == {"known masses"}
    assert other.high_kg - other.low_kg > 10 * (shared.high_kg - shared.low_kg)


def test_too_short_is_told() -> None:
    """With what is there and what is asked for."""
    time, load = swinging(100.0, 1, 5.0)
    with pytest.raises(NoPull, match="5 s"):
        hanging(time, load, 10.0)
    with pytest.raises(NoPull, match="too few"):
        batch_mean(time[:BATCHES], load[:BATCHES])
    with pytest.raises(NoPull, match="--tare none"):
        empty_before(time, load, 10.0, 1.0)
