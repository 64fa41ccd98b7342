"""What one specimen leaves open."""

import math

import pytest
from scipy import stats

from breakyard.comparison.groups import Group, describe
from breakyard.comparison.observations import Observation
from breakyard.comparison.single import single


def group(name: str, *loads: float, held: bool = False) -> Group:
    """A group of specimens."""
    return describe(
        name, [Observation(name, f"{name}{i}", load, at_least=held) for i, load in enumerate(loads)]
    )


def test_two_single_specimens() -> None:
    """At the scatter said, chance alone puts two logarithms so far apart 1 time in 20 (normal, by scipy)."""
    found = single(group("a", 500.0), group("b", 400.0))

    assert found.ratio == pytest.approx(1.25)
    assert found.order_seen
    assert found.holds_below_cv is not None
    apart = math.log(1.25) / (math.sqrt(2.0) * found.holds_below_cv)
    assert 2.0 * stats.norm.sf(apart) == pytest.approx(0.05, abs=1e-9)
    for usual in found.at_scatter:
        apart = math.log1p(usual.difference) / (math.sqrt(2.0) * usual.cv)
        assert 2.0 * stats.norm.sf(apart) == pytest.approx(0.05, abs=1e-9)
    assert found.group_difference is None


def test_one_against_a_group() -> None:
    """With the group's own scatter: the prediction interval of one more specimen, by Student's t of scipy."""
    found = single(group("one", 500.0), group("many", 380.0, 400.0, 420.0, 400.0))

    cv = math.sqrt((20.0**2 + 20.0**2) / 3.0) / 400.0
    limit = stats.t.ppf(0.975, 3) * cv * math.sqrt(1.0 + 1.0 / 4.0)
    assert found.group_difference == pytest.approx(math.expm1(limit), rel=1e-9)


def test_no_order_without_a_break_of_the_weaker() -> None:
    """A bound of 400 says nothing against 500; a bound of 500 that is the stronger does not hide the order."""
    assert not single(group("a", 500.0), group("b", 400.0, held=True)).order_seen
    assert single(group("a", 500.0, held=True), group("b", 400.0)).order_seen
    assert not single(group("a", 500.0), group("b", 500.0)).order_seen
