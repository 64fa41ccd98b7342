"""Which way the load points."""

import numpy as np
import pytest

from breakyard.curve import curve_from_columns
from breakyard.pull.polarity import REVERSED, upright

TIME = np.arange(0.0, 20.0, 0.0125)


def pull(peak_n: float, rest_n: float = 0.0, rebound: float = 0.0) -> np.ndarray:
    """Five quiet seconds, a rise of eight to the peak, a break; a rebound that fades within half a second."""
    load = rest_n + peak_n * np.clip((TIME - 5.0) / 8.0, 0.0, 1.0)
    after = TIME > 13.0
    load[after] = rest_n - rebound * peak_n * np.exp(-(TIME[after] - 13.0) / 0.1)
    return load + 0.5 * np.random.default_rng(3).standard_normal(len(TIME))


@pytest.mark.parametrize("rest_n", [0.0, 200.0, -3000.0])
def test_a_pull_recorded_as_a_push_is_turned_round(rest_n: float) -> None:
    """Whatever the converter's zero is; the same load with its sign changed, a flag, and only once."""
    load = pull(-2000.0, rest_n)
    curve = curve_from_columns(TIME, load, name="push")

    turned = upright(curve)

    assert turned.flags == (REVERSED,)
    assert np.array_equal(turned.load_n, -curve.load_n)
    assert upright(turned) is turned


@pytest.mark.parametrize("rebound", [0.0, 0.7])
def test_a_pull_stays_as_it_is(rebound: float) -> None:
    """Also where it springs back by 0.7 of its peak, as an undamped line would at most."""
    curve = curve_from_columns(TIME, pull(2000.0, 50.0, rebound), name="pull")

    assert upright(curve) is curve


def test_one_wrong_reading_is_no_push() -> None:
    """A lone sample far below."""
    load = pull(2000.0)
    load[700] = -50_000.0
    curve = curve_from_columns(TIME, load, name="pull")

    assert upright(curve) is curve
