"""How many specimens, what few of them show, and the order of pulling."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from breakyard.comparison.tolerance import one_sided_factor
from breakyard.errors import UsageError
from breakyard.plan.few import cautious_scatter, shows, single_pull
from breakyard.plan.order import pulling_order
from breakyard.plan.specimens import (
    Instrument,
    plan_specimens,
    power,
    simulate_power,
    smallest_difference,
    specimens_per_group,
    weibull_shape,
)


@pytest.mark.parametrize(("n", "effect"), [(2, 3.0), (3, 2.0), (5, 1.5), (20, 0.8)])
def test_exact_power_by_simulation(n: int, effect: float) -> None:
    """Of 60 000 simulated pairs of normal groups, the t test with pooled scatter finds the promised share."""
    from scipy import stats

    rng = np.random.default_rng(n)
    a, b = rng.standard_normal((60_000, n)), effect + rng.standard_normal((60_000, n))
    pooled = ((a.var(axis=1, ddof=1) + b.var(axis=1, ddof=1)) / n) ** 0.5
    t = (b.mean(axis=1) - a.mean(axis=1)) / pooled
    found = np.mean(np.abs(t) > stats.t.ppf(0.975, 2 * n - 2))

    assert power(n, 0.1 * effect, 0.1) == pytest.approx(found, abs=4 * (0.25 / 60_000) ** 0.5)


@given(st.integers(2, 60), st.floats(0.01, 0.5), st.floats(0.01, 0.5), st.integers(2, 5))
@example(23, 0.25, 0.0234375, 3)  # a tail that the routine calls NaN
def test_power_rises_with_specimens_and_difference(n: int, difference: float, cv: float, groups: int) -> None:
    """More specimens or a larger difference never make it less likely to be found; more groups never more."""
    here = power(n, difference, cv, groups=groups)

    assert 0.0 <= here <= 1.0
    assert power(n + 1, difference, cv, groups=groups) >= here - 1e-9
    assert power(n, 1.1 * difference, cv, groups=groups) >= here - 1e-9
    assert power(n, difference, cv, groups=groups + 1) <= here + 1e-9


@given(st.floats(0.02, 0.5), st.floats(0.02, 0.3), st.integers(2, 4))
def test_number_is_the_smallest_that_reaches_the_power(difference: float, cv: float, groups: int) -> None:
    """It reaches 80 %, and one fewer does not."""
    n = specimens_per_group(difference, cv, groups=groups)

    assert power(n, difference, cv, groups=groups) >= 0.8
    assert n == 2 or power(n - 1, difference, cv, groups=groups) < 0.8


@given(st.integers(2, 100), st.floats(0.01, 0.3))
def test_smallest_difference_is_found_with_the_power(n: int, cv: float) -> None:
    """The difference it names is found in 80 % of cases."""
    difference = smallest_difference(n, cv)

    if difference < 9.0:
        assert power(n, difference, cv) == pytest.approx(0.8, abs=1e-6)


@pytest.mark.parametrize("strengths", ["normal", "weibull"])
def test_simulation_keeps_its_false_alarms(strengths: str) -> None:
    """With no difference, Welch's test finds one in at most about 5 % of sessions, instrument's errors included."""
    found = simulate_power(
        5, 0.3, 0.1, instrument=Instrument(0.01, 0.02), strengths=strengths, sessions=10_000
    )  # type: ignore[arg-type]

    assert found.false_alarms < 0.055
    assert 0.7 < found.power <= 1.0


def test_shared_error_costs_nothing_within_one_calibration() -> None:
    """One calibration, 5 % off: the same power. One each: less power, and no more false alarms."""
    plain = simulate_power(5, 0.2, 0.1)
    shared = simulate_power(5, 0.2, 0.1, instrument=Instrument(0.0, 0.05))
    apart = simulate_power(5, 0.2, 0.1, instrument=Instrument(0.0, 0.05, one_calibration=False))

    assert shared.power == pytest.approx(plain.power, abs=1e-9)
    assert apart.power < plain.power - 0.1
    assert apart.false_alarms < 0.055


def test_plan_is_raised_until_the_simulation_agrees() -> None:
    """A noisy instrument asks for more than the formula; a good one for about as many."""
    good = plan_specimens(0.2, 0.08, instrument=Instrument(0.003, 0.005))
    noisy = plan_specimens(0.2, 0.08, instrument=Instrument(0.08, 0.0))

    assert good.per_group - good.exact_per_group in (0, 1, 2)
    assert noisy.per_group > noisy.exact_per_group
    assert noisy.simulated.power >= 0.8 - 2 * noisy.simulated.standard_error


def test_an_instrument_that_hides_the_difference_is_said_to() -> None:
    """Two calibrations 2 % unsure each can't show 5 %, however many specimens there are."""
    with pytest.raises(UsageError, match="use one calibration for all groups"):
        plan_specimens(0.05, 0.1, instrument=Instrument(0.0, 0.02, one_calibration=False))


@given(st.floats(0.01, 0.9))
def test_weibull_shape_has_the_scatter(cv: float) -> None:
    """The curve of that shape has that coefficient of variation, by scipy's moments."""
    from scipy import stats

    shape = weibull_shape(cv)
    assert stats.weibull_min.std(shape) / stats.weibull_min.mean(shape) == pytest.approx(cv, rel=1e-5)


def test_one_specimen_shows_nothing_but_itself() -> None:
    """No interval, no difference, no bound; and 5 % to be among the weakest 5 %."""
    found = shows(1, 0.1)

    assert (found.mean_within, found.difference, found.bound, found.scatter_low) == (None, None, None, None)
    assert found.weakest_is_weak == pytest.approx(0.05)


@pytest.mark.parametrize("n", [2, 3, 5, 10])
def test_what_few_specimens_show(n: int) -> None:
    """Interval of the mean with Student's t; bound with the same factor as the comparison's; scatter by chi-squared."""
    from scipy import stats

    found = shows(n, 0.1)
    bound = 1.0 - 0.1 * one_sided_factor(n, 0.95, 0.95)

    assert found.mean_within == pytest.approx(0.1 * stats.t.ppf(0.975, n - 1) / n**0.5)
    assert found.bound == (pytest.approx(bound) if bound > 0 else None)
    assert found.scatter_high == pytest.approx(((n - 1) / stats.chi2.ppf(0.025, n - 1)) ** 0.5)
    assert found.difference == pytest.approx(smallest_difference(n, 0.1))


def test_one_against_one() -> None:
    """At 10 % scatter two alike specimens differ by exp(1.96 sqrt 2 0.1) - 1 = 32 % or more 1 time in 20."""
    assert single_pull(0.1).difference == pytest.approx(np.expm1(1.959964 * 2**0.5 * 0.1), rel=1e-6)


def test_scatter_from_few_specimens_is_planned_with_care() -> None:
    """A scatter of 10 % seen in 4 degrees of freedom: upper 80 % limit by chi-squared 1.649 (0.2 quantile, 4 df)."""
    found = cautious_scatter(0.1, 4)

    assert found.cautious_cv == pytest.approx(0.1 * (4 / 1.6488) ** 0.5, rel=1e-4)
    with pytest.raises(UsageError, match="show no scatter"):
        cautious_scatter(0.0, 0)


SPECIMENS = st.lists(
    st.tuples(st.sampled_from(["a", "b", "c"]), st.integers(0, 30).map(str)),
    min_size=1,
    max_size=40,
    unique=True,
)


@given(SPECIMENS, st.integers(0, 10))
def test_order_holds_every_specimen_once(specimens: list[tuple[str, str]], seed: int) -> None:
    """Places 1 to n, each specimen once, blocks rising, and the same seed gives the same order."""
    order = pulling_order(specimens, seed=seed)

    assert [one.order for one in order] == list(range(1, len(specimens) + 1))
    assert sorted((one.group, one.specimen) for one in order) == sorted(specimens)
    assert [one.block for one in order] == sorted(one.block for one in order)
    assert order == pulling_order(specimens, seed=seed)


@given(st.integers(1, 8), st.integers(2, 4), st.integers(0, 5))
def test_blocks_hold_each_group_once(n: int, groups: int, seed: int) -> None:
    """Equal groups: n blocks, each with one specimen of every group."""
    order = pulling_order([(f"g{g}", f"g{g}-{i}") for g in range(groups) for i in range(n)], seed=seed)

    for block in range(1, n + 1):
        assert Counter(one.group for one in order if one.block == block) == {
            f"g{g}": 1 for g in range(groups)
        }


def test_order_favours_nobody() -> None:
    """Over 300 seeds each group comes first in a block about a third of the time."""
    first = Counter(
        pulling_order([(g, f"{g}{i}") for g in "abc" for i in range(2)], seed=seed)[0].group
        for seed in range(300)
    )

    assert all(abs(first[g] - 100) < 4 * (300 / 3 * 2 / 3) ** 0.5 for g in "abc")


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: power(1, 0.1, 0.1), "take 2 or more"),
        (lambda: power(3, 0.1, 8.0), "scatter of 8"),
        (lambda: power(3, 20.0, 0.1), "difference of 20"),
        (lambda: power(3, 0.1, 0.1, confidence=95.0), "confidence of 95"),
        (lambda: power(3, 0.1, 0.1, groups=1), "two groups"),
        (lambda: specimens_per_group(0.001, 0.5), "more than 10000"),
        (lambda: shows(0, 0.1), "at least one"),
        (lambda: pulling_order([], seed=1), "no specimens"),
        (lambda: pulling_order([("a", "1"), ("a", "1")], seed=1), "listed twice"),
        (lambda: simulate_power(1, 0.1, 0.1), "take 2 or more"),
    ],
)
def test_wrong_use_gets_one_line(call: object, words: str) -> None:
    """What cannot be planned says why."""
    with pytest.raises(UsageError, match=words):
        call()  # type: ignore[operator]
