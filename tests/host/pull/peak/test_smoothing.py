"""The crest of a noisy curve, and how much was averaged for it."""

import numpy as np
import pytest
from scipy.signal import freqz, savgol_coeffs

from breakyard.pull.peak.smoothing import HALF_WIDTHS, Crest


@pytest.mark.parametrize("half", HALF_WIDTHS)
def test_the_bandwidth_is_that_of_the_weights(half: int) -> None:
    """Those of Savitzky and Golay as scipy has them (of three samples 1, 2, 1), by their frequency response."""
    weights = savgol_coeffs(2 * half + 1, 2) if half > 1 else np.array([0.25, 0.5, 0.25])
    hertz, gain = freqz(weights, worN=1 << 18, fs=1000.0)
    expected = hertz[np.argmax(np.abs(gain) < 0.5**0.5)]

    assert Crest(1.0, 0.1, 0, half).bandwidth_hz(0.001) == pytest.approx(expected, rel=0.005)
