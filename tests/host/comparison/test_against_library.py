"""Our own routines against scipy's, where scipy has one."""

import warnings
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from breakyard.comparison import Observation
from breakyard.comparison.anova import one_way, welch_f
from breakyard.comparison.pairwise import ranks, welch
from breakyard.comparison.studentized import interval_factor, range_tail
from breakyard.comparison.survival import kaplan_meier, log_rank, median_load
from breakyard.comparison.tolerance import one_sided_factor, two_sided_factor
from breakyard.comparison.weibull import fit_weibull

LOADS = st.lists(st.integers(min_value=100, max_value=140).map(float), min_size=2, max_size=8)
CENSORED = st.lists(
    st.tuples(st.integers(min_value=100, max_value=140).map(float), st.booleans()), min_size=2, max_size=8
)


@contextmanager
def quiet() -> Iterator[None]:
    """scipy warns of groups without scatter, which are wanted here."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        yield


def pulls(loads: list[float]) -> list[Observation]:
    """Complete observations."""
    return [Observation("g", str(i), load) for i, load in enumerate(loads)]


@given(LOADS, LOADS)
def test_welch(a: list[float], b: list[float]) -> None:
    """t, degrees of freedom, probability and interval are scipy's."""
    found = welch(a, b)
    if np.ptp(a) == 0.0 and np.ptp(b) == 0.0:
        assert found is None
        return
    with quiet():
        expected = stats.ttest_ind(a, b, equal_var=False)

    assert found is not None
    assert found.t == pytest.approx(expected.statistic, abs=1e-9)
    assert found.degrees_of_freedom == pytest.approx(expected.df)
    assert found.p == pytest.approx(expected.pvalue)
    assert (found.low, found.high) == pytest.approx(tuple(expected.confidence_interval()), abs=1e-6)


@given(LOADS, LOADS)
def test_exact_rank_test(a: list[float], b: list[float]) -> None:
    """Without ties the enumeration is the exact Mann-Whitney test."""
    if len({*a, *b}) < len(a) + len(b):
        return
    found = ranks(pulls(a), pulls(b))
    expected = stats.mannwhitneyu(a, b, method="exact").pvalue

    assert found is not None
    assert found.exact
    assert found.p == pytest.approx(expected)
    assert found.smallest_p is not None
    assert found.p >= found.smallest_p - 1e-12


def test_rank_test_of_many() -> None:
    """Above the enumeration's limit: the normal approximation with continuity and ties, as scipy's."""
    rng = np.random.default_rng(1)
    a, b = [np.round(rng.normal(level, 10.0, 40)) for level in (100.0, 104.0)]
    found = ranks(pulls(list(a)), pulls(list(b)))
    expected = stats.mannwhitneyu(a, b, method="asymptotic", use_continuity=True).pvalue

    assert found is not None
    assert not found.exact
    assert found.p == pytest.approx(expected, rel=1e-6)


@given(CENSORED)
def test_kaplan_meier(data: list[tuple[float, bool]]) -> None:
    """The curve steps where scipy's does, by as much, with the same log-log interval."""
    values, held = [v for v, _ in data], [h for _, h in data]
    steps = kaplan_meier(values, held)
    if all(held):
        assert steps == ()
        return
    curve = stats.ecdf(stats.CensoredData.right_censored(values, held)).sf
    with quiet():
        bounds = curve.confidence_interval(method="log-log")
    at = {load: i for i, load in enumerate(curve.quantiles)}
    for step in steps:
        i = at[step.load_n]
        assert step.share == pytest.approx(curve.probabilities[i], abs=1e-12)
        if step.low is not None:
            assert step.low == pytest.approx(bounds.low.probabilities[i], abs=1e-9)
            assert step.high == pytest.approx(bounds.high.probabilities[i], abs=1e-9)


@given(CENSORED, CENSORED)
def test_log_rank(a: list[tuple[float, bool]], b: list[tuple[float, bool]]) -> None:
    """The chi-squared is the square of scipy's z, with ties and bounds."""
    if all(held for _, held in (*a, *b)):
        return
    samples = [stats.CensoredData.right_censored([v for v, _ in one], [h for _, h in one]) for one in (a, b)]
    found = log_rank([v for v, _ in a], [h for _, h in a], [v for v, _ in b], [h for _, h in b])
    with quiet():
        z = stats.logrank(*samples).statistic

    if np.isfinite(z):
        assert found.chi2 == pytest.approx(z**2, abs=1e-9)
    if found.exact is not None:
        assert found.exact.smallest_p <= found.exact.p + 1e-12


@settings(max_examples=30)
@given(CENSORED)
def test_weibull_fit(data: list[tuple[float, bool]]) -> None:
    """No shape and scale near ours is likelier, by scipy's likelihood of censored data."""
    values, held = [v for v, _ in data], [h for _, h in data]
    fit = fit_weibull(values, held)
    if fit is None:
        return
    sample = stats.CensoredData.right_censored(values, held)

    def height(shape: float, scale: float) -> float:
        broke = stats.weibull_min.logpdf(sample._uncensored, shape, scale=scale).sum()
        return float(broke + stats.weibull_min.logsf(sample._right, shape, scale=scale).sum())

    assert height(fit.shape, fit.scale_n) == pytest.approx(fit.log_likelihood, abs=1e-6)
    for shape in (0.999, 1.0, 1.001):
        for scale in (0.99999, 1.0, 1.00001):
            assert height(shape * fit.shape, scale * fit.scale_n) <= fit.log_likelihood + 1e-7


@given(st.lists(LOADS, min_size=2, max_size=4))
def test_one_way(groups: list[list[float]]) -> None:
    """F and its probability are scipy's; Welch's F of two groups is the square of Welch's t."""
    found = one_way(groups)
    if found.f is None:
        return
    with quiet():
        expected = stats.f_oneway(*groups)

    assert found.f == pytest.approx(expected.statistic, abs=1e-9)
    assert found.p == pytest.approx(expected.pvalue)
    two = welch_f(groups[:2])
    if two is not None:
        t = stats.ttest_ind(groups[0], groups[1], equal_var=False)
        assert two.f == pytest.approx(t.statistic**2, abs=1e-9)
        assert two.p == pytest.approx(t.pvalue)


@pytest.mark.parametrize("groups", [3, 4, 10])
@pytest.mark.parametrize("freedom", [1.0, 1.7, 4.53, 30.7, 900.0])
def test_studentized_range(groups: int, freedom: float) -> None:
    """Upper tails are scipy's to 1e-10; the factor of the interval has the tail it was asked for."""
    for q in (0.0, 0.5, 3.3, 8.0, 30.0):
        expected = stats.studentized_range.sf(q, groups, freedom)
        assert range_tail(q, groups, freedom) == pytest.approx(expected, abs=1e-10)
    factor = interval_factor(groups, freedom, 0.95)
    assert range_tail(2**0.5 * factor, groups, freedom) == pytest.approx(0.05, abs=1e-8)


@pytest.mark.parametrize("n", [2, 3, 5, 10])
def test_tolerance_factors_by_simulation(n: int) -> None:
    """Of 40 000 simulated groups the promised share has a bound below, an interval around, the promised content."""
    rng = np.random.default_rng(n)
    data = rng.standard_normal((40_000, n))
    mean, sd = data.mean(axis=1), data.std(axis=1, ddof=1)
    k1, k2 = one_sided_factor(n, 0.90, 0.95), two_sided_factor(n, 0.90, 0.95)
    inside = stats.norm.cdf(mean + k2 * sd) - stats.norm.cdf(mean - k2 * sd)

    assert np.mean(stats.norm.sf(mean - k1 * sd) >= 0.90) == pytest.approx(0.95, abs=0.005)
    assert np.mean(inside >= 0.90) == pytest.approx(0.95, abs=0.005)


def test_median_load() -> None:
    """The load that at most half survive; none where more than half were never broken."""
    assert median_load(kaplan_meier([1.0, 2.0, 3.0], [False] * 3)) == 2.0
    assert median_load(kaplan_meier([1.0, 2.0, 3.0], [False, True, True])) is None
