"""A curve for a phone: few points, and every extreme."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from breakyard.field.reading import BREAK_S, POINTS, thinned
from breakyard.report.trace import Trace


def trace(load: np.ndarray) -> Trace:
    """A trace with those loads at 92 a second."""
    time = np.arange(len(load)) / 92.0
    none = np.zeros(0)
    return Trace("N", 1.0, time, load, none, none, none, none, (), 0.0, float(time[-1]), 0.0)


@given(st.integers(2, 60_000), st.integers(0, 2**32 - 1))
def test_extremes_are_kept_and_points_are_few(length: int, seed: int) -> None:
    """Whatever the length: least, largest, and all samples about the peak; the whole fits a phone."""
    load = np.random.default_rng(seed).normal(0, 50, length)
    peak = int(np.argmax(load))

    curve = thinned(trace(load), peak / 92.0)

    assert max(curve["load_n"]) == round(float(load.max()), 2)
    assert min(curve["load_n"]) == round(float(load.min()), 2)
    assert curve["time_s"] == sorted(curve["time_s"])
    around = np.abs(np.arange(length) - peak) / 92.0 <= BREAK_S
    assert around.sum() <= len(curve["load_n"]) <= POINTS + 2 + around.sum()


def test_places_without_samples_are_left_out() -> None:
    """JSON has no NaN, and a gap is no load."""
    load = np.array([1.0, np.nan, 3.0])

    assert thinned(trace(load), 0.0)["load_n"] == [1.0, 3.0]
