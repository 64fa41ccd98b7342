"""Permutation tests of scores, against scipy's."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from breakyard.comparison.permute import MOST_ARRANGEMENTS, permutation_test, rank_test


@pytest.mark.parametrize(("first", "second"), [(3, 3), (2, 5), (6, 4), (1, 9)])
def test_exact_without_ties(first: int, second: int) -> None:
    """scipy.stats.mannwhitneyu by its exact distribution."""
    rng = np.random.default_rng(first)
    a, b = rng.normal(1.0, 1.0, first), rng.normal(0.0, 1.0, second)

    p, exact = rank_test(a, b)

    assert exact is not None
    assert p == pytest.approx(stats.mannwhitneyu(a, b, method="exact").pvalue, abs=1e-12)


@given(
    st.lists(st.integers(0, 4), min_size=2, max_size=4),
    st.lists(st.integers(0, 4), min_size=2, max_size=4),
)
def test_exact_with_ties(first: list[int], second: list[int]) -> None:
    """All arrangements of the midranks, by scipy.stats.permutation_test of the distance from the expected sum."""
    ranks = stats.rankdata([*first, *second])

    found = permutation_test(ranks, len(first))
    expected = stats.permutation_test(
        (ranks[: len(first)], ranks[len(first) :]),
        lambda a, b: round(abs(float(np.sum(a)) - len(a) * float(ranks.mean())), 9),
        permutation_type="independent",
        alternative="greater",
        n_resamples=np.inf,
        vectorized=False,
    )

    assert found is not None
    assert found.p == pytest.approx(expected.pvalue, abs=1e-12)


def test_three_against_three_cannot_be_rarer_than_two_in_twenty() -> None:
    """However far apart the loads lie."""
    p, exact = rank_test(np.array([9.0, 10.0, 11.0]), np.array([1.0, 2.0, 3.0]))

    assert exact is not None
    assert exact.arrangements == 20
    assert p == pytest.approx(0.1)
    assert exact.smallest_p == pytest.approx(0.1)


@pytest.mark.parametrize("ties", [False, True])
def test_many_specimens_by_the_normal_approximation(ties: bool) -> None:
    """As scipy's, continuity corrected."""
    rng = np.random.default_rng(8)
    a, b = rng.normal(0.4, 1.0, 25), rng.normal(0.0, 1.0, 30)
    if ties:
        a, b = np.round(a), np.round(b)

    p, exact = rank_test(a, b)

    assert exact is None
    assert p == pytest.approx(stats.mannwhitneyu(a, b, method="asymptotic").pvalue, rel=1e-9)


def test_nothing_to_deal_out() -> None:
    """An empty group, and more arrangements than are listed."""
    assert permutation_test(np.arange(5.0), 0) is None
    assert permutation_test(np.arange(5.0), 5) is None
    assert permutation_test(np.arange(20.0), 10) is None
    assert math.comb(20, 10) > MOST_ARRANGEMENTS
    assert rank_test(np.ones(12), np.ones(12)) == (1.0, None)
