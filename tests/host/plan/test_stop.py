"""The stop load: where the first rating of a line is met."""

import pytest

from breakyard.plan.anchors import Anchor, check_anchor
from breakyard.plan.elements import Element, check_element
from breakyard.plan.stop import stop_load, strongest_pull_n

SHACKLE = Element("bow shackle", "shackle", wll_n=20_000.0)
CELL = Element("S cell", "cell", wll_n=10_000.0)
ROPE = Element("pull line", "rope", breaking_n=90_000.0, ends="splice")
WINCH = Element("winch", "winch", wll_n=8_000.0)
PEAK_N = 6_000.0


def checked(*elements: Element) -> list:
    """Each under the peak."""
    return [check_element(element, PEAK_N) for element in elements]


def test_the_first_rating_that_is_met() -> None:
    """By hand: the cell may go to 150 % of its capacity, 15 kN; the shackle to its 20 kN; a rope without a working load
    limit sets none, nor does a winch, which only pulls as much as it can."""
    found = stop_load(checked(SHACKLE, CELL, WINCH), PEAK_N, None)

    assert found is not None
    assert (found.by, found.stated) == ("S cell", False)
    assert found.limit_n == pytest.approx(15_000.0)
    assert found.load_n == found.limit_n
    assert stop_load(checked(WINCH), PEAK_N, 900.0) is None


def test_a_stated_one_is_kept_beside_the_limit() -> None:
    """Whoever says 9 kN gets 9 kN, and is told of 15."""
    found = stop_load(checked(SHACKLE, CELL), PEAK_N, 9_000.0)

    assert found is not None
    assert (found.load_n, found.limit_n, found.stated) == (9_000.0, pytest.approx(15_000.0), True)


def test_one_that_is_too_high_stops_nobody() -> None:
    """What is shown large and what the alarm is set to never lies above the first rating, whatever was written."""
    found = stop_load(checked(SHACKLE, CELL), PEAK_N, 21_000.0)

    assert found is not None
    assert (found.load_n, found.stated) == (pytest.approx(15_000.0), True)


def test_what_the_puller_can_do() -> None:
    """The winch's own rating, or the upper friction of a vehicle's tyres (0.8 of 2 t: 15.7 kN), whichever is less."""
    vehicle = check_anchor(Anchor("van", "vehicle", 2000.0, (0.5, 0.8), role="pull"), PEAK_N)

    assert strongest_pull_n(checked(SHACKLE, CELL), [], PEAK_N) is None
    assert strongest_pull_n(checked(WINCH), [], PEAK_N) == pytest.approx(8_000.0)
    assert strongest_pull_n(checked(SHACKLE), [vehicle], PEAK_N) == pytest.approx(
        0.8 * 2000.0 * 9.80665, rel=1e-3
    )
    assert strongest_pull_n(checked(WINCH), [vehicle], PEAK_N) == pytest.approx(8_000.0)
