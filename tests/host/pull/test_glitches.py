"""No force is taken for a wrong reading; wrong readings are found."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.pull.glitches import find_glitches
from breakyard.simulate.converter import filtered

PERIOD = 0.0125
NOISE = 0.2


def through_filter(
    knots: list[tuple[float, float]], order: int, number: int = 120
) -> tuple[np.ndarray, np.ndarray]:
    """Times and samples of a piecewise linear force."""
    time, force = np.array(knots).T
    samples = filtered(time, force, first_s=PERIOD, period_s=PERIOD, number=number, order=order)
    return PERIOD * (1.0 + np.arange(number)), samples


@given(
    at=st.floats(0.4, 0.9),
    lasts=st.floats(0.0003, 0.3),
    size=st.floats(-9000.0, 9000.0),
    slope=st.floats(-5000.0, 20000.0),
    order=st.sampled_from([3, 4]),
)
def test_no_push_of_any_length_is_a_glitch(
    at: float, lasts: float, size: float, slope: float, order: int
) -> None:
    """A push or slackening of any duration on a ramp of any rate, seen through the filter, is kept."""
    edge = 1e-5
    base = [0.0, slope * at, slope * (at + lasts), slope * 1.5]
    knots = [
        (0.0, base[0]),
        (at, base[1]),
        (at + edge, base[1] + size),
        (at + edge + lasts, base[2] + size),
        (at + 2 * edge + lasts, base[2]),
        (1.5, base[3]),
    ]

    time, load = through_filter(knots, order)

    assert find_glitches(time, load, NOISE, PERIOD).tolist() == []


@given(
    at=st.floats(0.5, 0.9),
    left=st.floats(0.0, 0.9),
    ring=st.floats(0.0, 0.6),
    hertz=st.floats(3.0, 35.0),
    decay=st.floats(0.05, 0.5),
    order=st.sampled_from([3, 4]),
)
def test_no_break_and_no_ringing_is_a_glitch(
    at: float, left: float, ring: float, hertz: float, decay: float, order: int
) -> None:
    """Breaks to any residual with any ringing are kept whole."""
    peak = 8000.0
    after = np.arange(0.0, 0.8, 0.0005)[1:]
    swing = left * peak - ring * peak * np.exp(-after / decay) * np.sin(2 * np.pi * hertz * after)
    knots = [(0.0, 0.0), (0.2, 0.0), (at, peak), *zip(at + after, swing, strict=True)]

    time, load = through_filter(knots, order)

    assert find_glitches(time, load, NOISE, PERIOD).tolist() == []


@pytest.mark.parametrize("add", [60.0, -60.0, 5000.0, -9000.0])
@pytest.mark.parametrize("where", [20, 70])
def test_a_wrong_reading_on_a_ramp_is_found(add: float, where: int) -> None:
    """60 N in one sample of a ramp of 2000 N/s is more than any force makes."""
    rng = np.random.default_rng(5)
    time, load = through_filter([(0.0, 0.0), (0.3, 0.0), (1.5, 2400.0)], 4)
    load = load + NOISE * rng.standard_normal(len(load))
    load[where] += add

    assert find_glitches(time, load, NOISE, PERIOD).tolist() == [where]


def test_next_to_a_gap_nothing_is_called_wrong() -> None:
    """Where neighbours are missing a sample cannot be judged."""
    time, load = through_filter([(0.0, 0.0), (1.5, 2400.0)], 4)
    load[60] += 900.0
    keep = np.arange(len(load)) != 61
    keep[62:70] = False

    assert find_glitches(time[keep], load[keep], NOISE, PERIOD).tolist() == []
