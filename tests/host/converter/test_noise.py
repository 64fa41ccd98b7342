"""The noise of one sample."""

import numpy as np
import pytest
from scipy.stats import norm

from breakyard.converter.noise import STEADY, noise_of


def test_the_factor_of_the_median_deviation() -> None:
    """That of a normal distribution, by scipy."""
    assert pytest.approx(1.0 / norm.ppf(0.75), abs=5e-5) == STEADY


@pytest.mark.parametrize("order", [1, 2, 4])
def test_white_noise_under_a_slow_load(order: int) -> None:
    """To a tenth, with a slow rise, a break and a rough tenth of the time in the recording."""
    rng = np.random.default_rng(4)
    time = np.arange(8000) / 80.0
    load = np.where(time < 80.0, 20.0 * time, 0.0) + 3.0 * rng.standard_normal(time.size)
    load[6000:6400] += 200.0 * rng.standard_normal(400)

    assert noise_of(load, order=order) == pytest.approx(3.0, rel=0.1)


def test_too_few_samples_have_none() -> None:
    """Nothing is made up of four samples."""
    assert noise_of(np.array([0.0, 5.0, 1.0, 9.0])) == 0.0
