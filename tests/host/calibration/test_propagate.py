"""Propagation of distributions: against drawing, for lopsided terms and mixtures, and what always holds."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.calibration import Term, coverage_interval, limits
from breakyard.calibration.propagate import half_width_n, lopsided_table, mixture_table
from breakyard.calibration.terms import Distribution, tabulated, together
from breakyard.errors import UsageError


def test_nothing_makes_no_interval() -> None:
    """No terms, or terms of no size."""
    assert coverage_interval([]) == (0.0, 0.0)
    assert coverage_interval([Term("none", 0.0), limits("none", 0.0)]) == (0.0, 0.0)


def test_agrees_with_drawing() -> None:
    """A million draws of t, normal, rectangle, one-sided rectangle and a table: within 1 % of the width; the lower end
    is that of all but the one-sided term."""
    rng = np.random.default_rng(1)
    values = np.array([-2.0, 0.5, 4.0])
    table = Distribution(values, np.array([0.2, 0.7, 0.1]))
    terms = [
        Term("t", 0.7, 4.0),
        Term("normal", 0.5),
        limits("rectangle", 2.0),
        Term("upwards", 3.0 / math.sqrt(3.0), shape="one-sided"),
        tabulated("table", table),
    ]
    drawn = 0.7 * rng.standard_t(4, 1_000_000) + 0.5 * rng.standard_normal(1_000_000)
    drawn += rng.uniform(-2.0, 2.0, drawn.size) + rng.choice(values, drawn.size, p=table.weights)

    low = np.quantile(drawn, 0.025)
    high = np.quantile(drawn + rng.uniform(0.0, 3.0, drawn.size), 0.975)

    assert coverage_interval(terms) == pytest.approx((low, high), abs=0.01 * (high - low))
    assert half_width_n(terms) == coverage_interval(terms)[1]


SHAPES = st.sampled_from(["normal", "rectangular", "one-sided", "student"])


@given(
    st.lists(st.tuples(SHAPES, st.floats(0.01, 10.0)), min_size=1, max_size=5),
    st.tuples(SHAPES, st.floats(0.01, 10.0)),
    st.sampled_from([0.68, 0.95, 0.99]),
)
def test_a_doubt_never_tightens_an_end(
    known: list[tuple[str, float]], more: tuple[str, float], coverage: float
) -> None:
    """Whatever is added to a budget moves the lower end down or not at all, the upper end up or not at all (to the
    grid's thousandth). An angle of 10 degrees once raised the lower end of 450 N by 0.8 N."""

    def term(shape: str, size: float) -> Term:
        if shape == "student":
            return Term("t", size, 3.0)
        return Term(shape, size, shape=shape)  # type: ignore[arg-type]

    before = coverage_interval([term(*one) for one in known], coverage)
    after = coverage_interval([term(*one) for one in (*known, more)], coverage)

    room = 2e-3 * (after[1] - after[0])
    assert after[0] <= before[0] + room
    assert after[1] >= before[1] - room


def test_a_mixture_becomes_a_table() -> None:
    """3000 Gaussians of very different widths: mean, spread and quantiles as drawn."""
    rng = np.random.default_rng(2)
    weights = rng.dirichlet(np.ones(3000))
    means, standards = rng.normal(1.0, 3.0, 3000), np.exp(rng.uniform(-4.0, 1.0, 3000))
    table = mixture_table(weights, means, standards)
    chosen = rng.choice(3000, 1_000_000, p=weights)
    drawn = means[chosen] + standards[chosen] * rng.standard_normal(chosen.size)

    assert float(table.weights @ table.values_n) == pytest.approx(float(weights @ means), abs=0.01)
    assert table.standard_n**2 == pytest.approx(float(weights @ (means**2 + standards**2)), rel=0.005)
    assert coverage_interval([tabulated("mixture", table)]) == pytest.approx(
        tuple(np.quantile(drawn, [0.025, 0.975])), abs=0.05
    )


def test_a_lopsided_table_has_both_half_widths() -> None:
    """1.96 standard deviations on either side, each of its own."""
    ends = coverage_interval([tabulated("lopsided", lopsided_table(1.0, 3.0))])

    assert ends == pytest.approx((-1.96, 3 * 1.96), rel=0.005)


def test_several_terms_in_one_line_are_the_same_as_apart() -> None:
    """The line's size is their root sum of squares; the interval does not change."""
    parts = [limits("one", 3.0), limits("two", 1.0), Term("three", 0.5)]
    line = together("masses", parts)

    assert line.standard_n == pytest.approx(math.sqrt(3.0 + 1.0 / 3.0 + 0.25))
    assert coverage_interval([line]) == coverage_interval(parts)


SIZES = st.floats(1e-3, 1e3)


@given(
    st.lists(
        st.tuples(SIZES, st.sampled_from(["normal", "rectangular", "one-sided"])), min_size=1, max_size=6
    ),
    SIZES,
    st.sampled_from([0.5, 0.9, 0.95, 0.999]),
)
def test_units_do_not_matter_and_more_doubt_is_no_narrower(
    given_terms: list[tuple[float, str]], factor: float, coverage: float
) -> None:
    """Scaling all terms scales the interval, to the grid's fineness; a further term never narrows it; it stays within
    the sum of all limits."""
    terms = [Term("x", size, shape=shape) for size, shape in given_terms]
    scaled = [Term("x", size * factor, shape=shape) for size, shape in given_terms]
    low, high = coverage_interval(terms, coverage)
    wide_low, wide_high = coverage_interval([*terms, limits("more", 1.0)], coverage)

    assert coverage_interval(scaled, coverage) == pytest.approx(
        (low * factor, high * factor), abs=1e-4 * factor * (high - low)
    )
    assert wide_high - wide_low >= (high - low) * (1.0 - 2e-3)
    assert high - low <= 2.0 * 3.3 * sum(term.standard_n for term in terms)


def test_impossible_coverage_is_refused() -> None:
    """As everywhere: 95 is not 0.95."""
    with pytest.raises(UsageError, match=r"0\.95"):
        coverage_interval([Term("normal", 1.0), limits("limit", 1.0)], 95.0)
