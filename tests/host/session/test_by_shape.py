"""Where a series lies whose clock is its own: found by shape, with an interval that keeps its promise."""

import numpy as np
import pytest

from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.formats.read_series import Series
from breakyard.session.attaching import _by_shape


def recording() -> LoadCurve:
    """3 s of nothing, 20 s up to 4 kN, gone: 40 samples a second, noise of 1 N."""
    time = np.arange(0.0, 28.0, 0.025)
    load = np.interp(time, [0, 3, 23, 23.01, 28], [0, 0, 4000, 0, 0])
    return curve_from_columns(
        time, load + np.random.default_rng(0).normal(0, 1.0, len(time)), name="invented"
    )


def lengths(rng: np.random.Generator, ahead_s: float, noise_m: float) -> Series:
    """40 mm at the peak with a little curvature, read every 0.7 s by a clock that is so far ahead."""
    at = np.arange(rng.uniform(0.0, 0.7), 22.9, 0.7)
    share = np.clip((at - 3.0) / 20.0, 0.0, 1.0)
    length = 0.036 * share + 0.004 * share**2 + rng.normal(0.0, noise_m, len(at))
    return Series(at + ahead_s, None, length, (), "mm")


@pytest.mark.parametrize("noise_m", [1e-4, 3e-4, 1e-3])
def test_the_interval_of_an_offset_holds_the_truth(noise_m: float) -> None:
    """60 series read to 0.1, 0.3 or 1 mm: the interval of 95 % holds the offset in 54 or more, and is not wasted."""
    curve, rng = recording(), np.random.default_rng(1)
    held, widths, errors = 0, [], []
    for _ in range(60):
        ahead = rng.uniform(-50.0, 50.0)
        offset, _, (low, high) = _by_shape(curve, lengths(rng, ahead, noise_m), "marks.csv")
        held += low <= -ahead <= high
        widths.append(high - low)
        errors.append(offset + ahead)

    assert held >= 54
    assert np.median(widths) < 6.0 * np.std(errors)


def test_a_worse_reading_is_less_sure() -> None:
    """Three times the noise, a wider interval."""
    curve = recording()
    widths = []
    for noise in (1e-4, 3e-4):
        low, high = _by_shape(curve, lengths(np.random.default_rng(2), 5.0, noise), "m.csv")[2]
        widths.append(high - low)

    assert widths[1] > 1.3 * widths[0]
