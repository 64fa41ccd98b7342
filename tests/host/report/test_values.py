"""Numbers for people: rounded to what is known, outwards, in their unit."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.errors import UnitError
from breakyard.pull.results import BudgetLine, Summary
from breakyard.report.words.values import (
    at_least_text,
    bound_text,
    ceiled,
    decimals_for,
    decimals_of_size,
    fixed,
    floored,
    interval_text,
    load_text,
    peak_text,
    rate_text,
    standard_n,
    strength_text,
)


@pytest.mark.parametrize(
    ("uncertainty", "decimals"),
    [
        (0.35, 2),
        (2.2, 1),
        (12.3, 0),
        (123.0, -1),
        (0.00035, 5),
        (0.0996, 2),
        (9.96, 0),
        (0.0994, 3),
        (1.0, 1),
    ],
)
def test_two_digits_of_uncertainty(uncertainty: float, decimals: int) -> None:
    """JCGM 100:2008, 7.2.6: at most two significant digits; 100.02147 g with 0.35 mg ends at 0.01 mg (7.2.2)."""
    assert decimals_for(uncertainty) == decimals


def test_example_of_the_guide() -> None:
    """JCGM 100:2008, 7.2.2: m = 100.02147 g with a combined standard uncertainty of 0.35 mg."""
    assert fixed(100.021468, decimals_for(0.00035)) == "100.02147"


@pytest.mark.parametrize(
    ("args", "text"),
    [
        ((4000.0, 3978.0, 4023.0, "N"), "4000 (3978 to 4023)"),
        ((4000.0, 3978.0, 4023.0, "kN"), "4.000 (3.978 to 4.023)"),
        ((4000.0, 3978.0, 4023.0, "kgf"), "407.9 (405.6 to 410.3)"),
        ((123456.0, 122000.0, 124900.0, "N"), "123500 (122000 to 124900)"),
        ((0.5, -0.5, 1.5, "N"), "0.5 (-0.5 to 1.5)"),
        ((4000.0, 4000.0, 4000.0, "N"), "4000"),
    ],
)
def test_intervals(args: tuple[float, float, float, str], text: str) -> None:
    assert interval_text(*args) == text


@given(
    st.floats(1e-3, 1e7),
    st.floats(1e-4, 0.5),
    st.sampled_from(["N", "kN", "kgf", "lbf"]),
)
def test_rounding_never_narrows_an_interval(estimate: float, relative: float, unit: str) -> None:
    """The written interval holds the computed one (to nine digits) and is at most about a tenth wider."""
    low, high = estimate * (1 - relative), estimate * (1 + relative)
    newtons = {"N": 1.0, "kN": 1000.0, "kgf": 9.80665, "lbf": 4.4482216152605}[unit]

    text = interval_text(estimate, low, high, unit)
    written = [
        float(part) * newtons for part in text.replace("(", "").replace(")", "").replace("to ", "").split()
    ]

    assert written[1] <= low * (1 + 1e-8)
    assert written[2] >= high * (1 - 1e-8)
    assert written[2] - written[1] <= 1.21 * (high - low)


@given(st.floats(1e-3, 1e7), st.floats(0.0, 1.0))
def test_a_bound_is_never_rounded_up(low: float, relative: float) -> None:
    """And loses at most one percent where the uncertainty is small."""
    written = float(bound_text(low, low * relative, "N"))

    assert written <= low * (1 + 1e-8)
    if relative < 0.001:
        assert written >= 0.99 * low


@given(st.floats(-1e6, 1e6), st.integers(-3, 6))
def test_floor_and_ceiling_bracket(value: float, decimals: int) -> None:
    slack = 1e-8 * max(1.0, abs(value), 10.0**-decimals)

    assert float(floored(value, decimals)) <= value + slack
    assert float(ceiled(value, decimals)) >= value - slack


def test_small_things() -> None:
    assert at_least_text(5021.3, 10.0, "N") == "at least 5020"
    assert at_least_text(1282.9 * 9.80665, 30.0, "kgf") == "at least 1282"
    assert load_text(0.0, "N") == "0"
    assert load_text(4512.0, "N", 30.0) == "4512"
    assert load_text(4512.0, "N") == "4510"
    assert fixed(-0.04, 1) == "0.0"
    assert rate_text(882.6, "kgf") == "90"
    assert rate_text(0.0, "N") == "0"
    assert rate_text(math.nan, "N") == "unknown"
    assert decimals_of_size(0.0) == 0


def test_a_mass_is_no_unit_of_load() -> None:
    with pytest.raises(UnitError, match="kgf"):
        interval_text(1.0, 0.9, 1.1, "kg")


def test_peak_and_strength(make_summary: Callable[..., Summary]) -> None:
    """A peak that is a bound, or a specimen that did not break, is "at least"."""
    whole = make_summary()
    let_go = make_summary(strength={"high_n": None, "at_least": True})
    clipped = make_summary(
        peak={"high_n": None, "bound": "lower"}, strength={"high_n": None, "at_least": True}
    )

    assert peak_text(whole, "N") == strength_text(whole, "N") == "4000 (3978 to 4023)"
    assert (peak_text(let_go, "N"), strength_text(let_go, "N")) == ("4000 (3978 to 4023)", "at least 3970")
    assert peak_text(clipped, "kN") == "at least 3.97"


def test_standard_uncertainty_is_the_root_sum_of_squares(make_summary: Callable[..., Summary]) -> None:
    """JCGM 100:2008, 5.1.2."""
    budget = (BudgetLine("a", 3.0), BudgetLine("b", 4.0))

    assert standard_n(make_summary(budget=budget)) == 5.0
    assert standard_n(make_summary(budget=())) == 0.0
