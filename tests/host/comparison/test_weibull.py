"""Weibull curves of few and censored specimens: what can be fitted, and intervals that hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.comparison import Observation
from breakyard.comparison.censored import beats_censored
from breakyard.comparison.pivots import pattern_of, standard_samples, thinned
from breakyard.comparison.weibull import fit_weibull, sample_of
from breakyard.comparison.weibull_intervals import (
    SCALE,
    quantile_interval,
    quantile_lower_bound,
    shape_interval,
)
from breakyard.errors import DataError


def group(name: str, broke: list[float], held: list[float]) -> list[Observation]:
    """A group of breaks and bounds."""
    return [Observation(name, f"{name}{i}", load) for i, load in enumerate(broke)] + [
        Observation(name, f"{name}h{i}", load, at_least=True) for i, load in enumerate(held)
    ]


@pytest.mark.parametrize(
    ("values", "held"),
    [
        ([100.0], [False]),
        ([100.0, 120.0], [False, True]),
        ([100.0, 120.0], [True, True]),
        ([100.0, 100.0, 100.0], [False, False, False]),
        ([100.0, 100.0, 90.0], [False, False, True]),
    ],
    ids=["one", "one break", "none broke", "no scatter", "bound below"],
)
def test_no_curve_where_the_likelihood_has_no_top(values: list[float], held: list[bool]) -> None:
    """Fewer than two breaks, or all at one load that nothing exceeds: no curve, and no crash."""
    assert fit_weibull(values, held) is None


def test_one_load_and_a_higher_bound_make_a_curve() -> None:
    """Two breaks at one load and one specimen that held more: that is scatter."""
    fit = fit_weibull([100.0, 100.0, 150.0], [False, False, True])

    assert fit is not None
    assert 0.1 < fit.shape < 10.0


@pytest.mark.parametrize("load", [0.0, -1.0, float("nan"), float("inf")])
def test_loads_must_be_loads(load: float) -> None:
    """A load that is none is refused."""
    with pytest.raises(DataError, match="above zero"):
        fit_weibull([100.0, load])


def test_large_loads_and_steep_curves_do_not_overflow() -> None:
    """1e7 N with a scatter of 0.01 %: shape near 10 000, where load^shape has 70 000 digits."""
    rng = np.random.default_rng(3)
    fit = fit_weibull(list(1e7 * (1.0 + 1e-4 * rng.standard_normal(10))))

    assert fit is not None
    assert 5e3 < fit.shape < 5e4
    assert fit.scale_n == pytest.approx(1e7, rel=1e-3)


@given(st.floats(min_value=1e-6, max_value=1e9))
def test_scale_follows_the_unit_and_shape_does_not(factor: float) -> None:
    """Loads in another unit: the same shape, the scale times the factor."""
    loads = [310.0, 402.0, 371.0, 420.0]
    here, there = fit_weibull(loads), fit_weibull([factor * load for load in loads])

    assert here is not None
    assert there is not None
    assert there.shape == pytest.approx(here.shape, rel=1e-8)
    assert there.scale_n == pytest.approx(factor * here.scale_n, rel=1e-8)


def test_pattern_counts_who_left_after_each_break() -> None:
    """A bound between two breaks left after the first; one below all breaks tells nothing; a tie left after it."""
    sample = sample_of([10.0, 20.0, 30.0, 5.0, 12.0, 20.0, 99.0], [False] * 3 + [True] * 4)

    assert pattern_of(sample) == (1, 1, 1)


def test_thinned_pattern_keeps_the_pace() -> None:
    """Of 80 breaks with one loss after each, 40 breaks with one loss each remain."""
    assert thinned((1,) * 80) == (1,) * 40
    assert sum(thinned((0,) * 99 + (100,))) == 40


def test_standard_samples_are_order_statistics() -> None:
    """All broke: the same as sorted exponentials; the weakest 3 of 6: the same as the first three of six sorted."""
    rng = np.random.default_rng(5)
    sorted_six = np.log(np.sort(rng.standard_exponential((40_000, 6)), axis=1))
    made = standard_samples((0,) * 6, 40_000, rng)
    weakest = standard_samples((0, 0, 3), 40_000, rng)

    assert made.mean(axis=0) == pytest.approx(sorted_six.mean(axis=0), abs=0.03)
    assert weakest.mean(axis=0) == pytest.approx(sorted_six.mean(axis=0)[:3], abs=0.03)
    assert weakest.std(axis=0) == pytest.approx(sorted_six.std(axis=0)[:3], abs=0.03)


@pytest.mark.parametrize("held", [0, 1])
def test_intervals_hold_in_three_specimens(held: int) -> None:
    """150 groups of 3 (all broke, or the strongest ran off scale): each 95 % interval holds about 95 % of the time.

    Three binomial standard errors are allowed; the full benchmark is tests/bench/compare_coverage.py.
    """
    rng = np.random.default_rng(11 + held)
    shape, scale, groups = 10.0, 1000.0, 150
    hits = np.zeros(4)
    for _ in range(groups):
        loads = np.sort(scale * rng.weibull(shape, 3))
        if held:
            loads[2] = loads[1]
        flags = [False, False, bool(held)]
        fit, sample = fit_weibull(list(loads), flags), sample_of(list(loads), flags)
        assert fit is not None
        for k, (found, true) in enumerate(
            [
                (shape_interval(sample, fit), shape),
                (quantile_interval(sample, fit, SCALE), scale),
                (quantile_interval(sample, fit, 0.5), scale * np.log(2.0) ** (1.0 / shape)),
            ]
        ):
            hits[k] += (found.low is None or found.low <= true) and (found.high is None or true <= found.high)
        bound = quantile_lower_bound(sample, fit, 0.10, 0.95)
        hits[3] += bound is None or bound <= scale * (-np.log(0.9)) ** (1.0 / shape)

    assert hits / groups == pytest.approx(0.95, abs=3.0 * (0.95 * 0.05 / groups) ** 0.5)


def test_intervals_of_many_breaks_approach_the_textbook_ones() -> None:
    """400 breaks: within a few percent of estimate +- 1.96 standard errors (from the observed information)."""
    loads = list(1000.0 * np.random.default_rng(2).weibull(3.0, 400))
    fit, sample = fit_weibull(loads), sample_of(loads, [False] * 400)
    assert fit is not None
    found = shape_interval(sample, fit)

    # Variance of log shape for complete samples: 6 / (pi^2 n) (Bain and Engelhardt; from memory).
    half = 1.96 * (6.0 / np.pi**2 / 400.0) ** 0.5
    assert found.low == pytest.approx(fit.shape * np.exp(-half), rel=0.02)
    assert found.high == pytest.approx(fit.shape * np.exp(half), rel=0.02)


def test_chance_of_the_next_one_is_fair() -> None:
    """Equal groups: near one half, with a wide interval; far apart: near certain; nothing from a single break."""
    alike = beats_censored(
        group("a", [400.0, 420.0, 450.0], [450.0]), group("b", [400.0, 420.0, 450.0], [450.0])
    )
    apart = beats_censored(
        group("a", [400.0, 410.0, 405.0, 412.0], [400.0]), group("b", [900.0, 910.0, 905.0, 912.0], [])
    )
    assert alike is not None
    assert apart is not None

    assert alike.probability == pytest.approx(0.5, abs=0.03)
    assert alike.low < 0.3
    assert alike.high > 0.7
    assert apart.high < 0.05
    assert beats_censored(group("a", [400.0], [500.0]), group("b", [400.0, 410.0], [])) is None
