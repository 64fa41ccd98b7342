"""Roots between two places of unlike sign."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from breakyard.roots import find_root

FUNCTIONS = {
    # After Alefeld, Potra and Shi, ACM Trans. Math. Software 21, 327 (1995), problems 1, 4, 6, 9 and 12 (from memory).
    "sin x - x / 2": (lambda x: math.sin(x) - x / 2.0, math.pi / 2.0, math.pi),
    "flat, then steep": (lambda x: x**19 - 0.2, 0.0, 5.0),
    "two exponentials": (lambda x: 2.0 * x * math.exp(-20.0) - 2.0 * math.exp(-20.0 * x) + 1.0, 0.0, 1.0),
    "an eighth root": (lambda x: (1.0 + (1.0 - 8.0) ** 2) * x - (1.0 - 8.0 * x) ** 2, 0.0, 1.0),
    "almost a step": (lambda x: math.tanh(1e6 * (x - 0.123456789)), -1.0, 5.0),
    "nearly nothing": (lambda x: 1e-200 * (x - 1.0 / 3.0), -1.0, 2.0),
    "no continuous function": (lambda x: 1.0 if x > 1.0 / 7.0 else -1.0, -3.0, 2.0),
}


@pytest.mark.parametrize("name", FUNCTIONS)
def test_roots_are_scipys(name):
    """scipy.optimize.brentq finds the same place, whichever end comes first."""
    function, low, high = FUNCTIONS[name]
    expected = brentq(function, low, high)

    assert find_root(function, low, high) == pytest.approx(expected, rel=1e-14, abs=4e-12)
    assert find_root(function, high, low) == pytest.approx(expected, rel=1e-14, abs=4e-12)


@given(
    st.floats(-50.0, 50.0),
    st.floats(1e-3, 1e3),
    st.floats(0.01, 100.0),
    st.floats(0.01, 100.0),
    st.sampled_from([1e-13, 1e-10, 1e-4]),
)
def test_it_lies_as_near_as_asked(root, slope, below, above, within):
    """A bracket of that width around it holds the root; no more calls than four times those of halving."""
    calls = []

    def function(x):
        calls.append(x)
        return math.expm1(min(slope * (x - root), 600.0))

    found = find_root(function, root - below, root + above, within=within)

    assert abs(found - root) <= within + 4e-15 * abs(root) + 2e-16 / slope
    assert len(calls) <= 8 + 4 * math.log2((below + above) / within)


def test_an_end_may_be_the_root():
    """Either end."""
    assert find_root(lambda x: x, 0.0, 1.0) == 0.0
    assert find_root(lambda x: x - 1.0, 0.0, 1.0) == 1.0


def test_where_it_is_flat_it_takes_longer():
    """A triple root is known to the cube root of the rounding only; scipy gives up there after 100 steps."""
    assert find_root(lambda x: (x - 0.75) ** 3, 0.0, 10.0) == pytest.approx(0.75, abs=2e-5)


@pytest.mark.parametrize("function", [lambda x: 1.0 + x * x, lambda x: -1.0, lambda x: math.nan])
def test_no_change_of_sign_is_told(function):
    """Nothing is returned that is no root."""
    with pytest.raises(ValueError, match=r"no change of sign|not a number"):
        find_root(function, -1.0, 2.0)
