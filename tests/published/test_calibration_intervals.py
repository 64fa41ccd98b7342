"""Intervals by propagating distributions, against the supplement of the GUM and exact formulas."""

import math

import pytest

from breakyard.calibration import Term, combine, coverage_interval, limits

NORMAL = Term("normal", 1.0)
RECTANGLE = limits("rectangle", math.sqrt(3.0))
"""Both of standard uncertainty 1."""


def test_four_normals() -> None:
    """JCGM 101:2008, 9.2.2 (published values from memory): +-3.92 for four standard normals."""
    assert coverage_interval([NORMAL] * 4) == pytest.approx((-3.92, 3.92), abs=0.005)


def test_four_rectangles() -> None:
    """JCGM 101:2008, 9.2.3 (from memory): +-3.88 by propagation, +-3.92 by the GUM's framework."""
    assert coverage_interval([RECTANGLE] * 4) == pytest.approx((-3.88, 3.88), abs=0.005)
    assert combine([RECTANGLE] * 4).half_width_n() == pytest.approx(3.92, abs=0.005)


def test_one_rectangle_ten_times_as_wide() -> None:
    """JCGM 101:2008, 9.2.4 (from memory): +-17.0 by propagation, +-19.9 by the GUM's framework."""
    terms = [RECTANGLE, RECTANGLE, RECTANGLE, limits("wide", 10.0 * math.sqrt(3.0))]

    assert coverage_interval(terms) == pytest.approx((-17.0, 17.0), abs=0.05)
    assert combine(terms).half_width_n() == pytest.approx(19.9, abs=0.05)


def test_one_rectangle_alone() -> None:
    """JCGM 100:2008, 4.3.7: 95 % of a rectangle lies within 0.95 of its limit, 1.65 standard deviations."""
    low, high = coverage_interval([RECTANGLE])

    assert (low, high) == pytest.approx((-0.95 * math.sqrt(3.0), 0.95 * math.sqrt(3.0)), rel=1e-4)
    assert round(high, 2) == 1.65


@pytest.mark.parametrize("coverage", [0.5, 0.9, 0.95, 0.99])
def test_two_rectangles_make_a_trapezoid(coverage: float) -> None:
    """JCGM 101:2008, 6.4.4: the density falls linearly between a - b and a + b, so the tail there is a parabola."""
    a, b = 3.0, 1.0
    tail = 0.5 * (1.0 - coverage)
    slope_starts = b / (2.0 * a)  # probability beyond a - b
    exact = a + b - math.sqrt(8.0 * a * b * tail) if tail < slope_starts else coverage * a

    assert coverage_interval([limits("a", a), limits("b", b)], coverage)[1] == pytest.approx(exact, rel=1e-4)


@pytest.mark.parametrize(
    ("degrees", "factor"), [(1, 12.706), (2, 4.303), (5, 2.571), (10, 2.228), (30, 2.042)]
)
def test_few_readings_are_students_t(degrees: int, factor: float) -> None:
    """JCGM 101:2008, 6.4.9: the factors of every printed table of t, alone and beside next to nothing."""
    few = Term("few", 1.0, degrees)

    assert coverage_interval([few])[1] == pytest.approx(factor, abs=5e-4)
    assert coverage_interval([few, limits("next to nothing", 1e-6)])[1] == pytest.approx(factor, rel=5e-4)


def test_where_the_gum_is_right_both_agree() -> None:
    """JCGM 100:2008, H.1 (end gauge; from memory): 32 nm, 16 effective degrees, U99 = 93 nm. Student's t of each
    term propagated gives 93 nm within 3 %, the degrees of 2 of one of them apart."""
    terms = [Term("a", 25.0, 18.0), Term("b", 9.7, 25.6), Term("c", 2.9, 50.0), Term("d", 16.6)]

    assert combine(terms).half_width_n(0.99) == pytest.approx(coverage_interval(terms, 0.99)[1], rel=0.03)
