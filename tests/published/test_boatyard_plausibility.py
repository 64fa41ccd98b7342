"""The invented loads of the boatyard are of the size that handbooks lead one to expect."""

import pytest

from breakyard.simulate.scenario import boatyard

KGF = 9.80665


def withdrawal_n(specific_gravity: float, diameter_mm: float, length_mm: float) -> float:
    """Ultimate withdrawal load of one wood screw from side grain: 108.25 G**2 D L.

    Wood Handbook (FPL-GTR-282), chapter 8: p = 15 700 G**2 D L in pounds and inches; metric form from memory,
    and 15 700 x 4.4482216 / 645.16 = 108.25.
    """
    return 108.25 * specific_gravity**2 * diameter_mm * length_mm


def test_the_formula_gives_the_published_example() -> None:
    """No. 8 screw (0.164 in), 1 in of thread, G 0.70: 1262 lbf."""
    assert withdrawal_n(0.70, 0.164 * 25.4, 25.4) / 4.4482216152605 == pytest.approx(1262, abs=1.5)


def test_screwed_fittings_bear_what_one_short_screw_to_four_could() -> None:
    """Between one 4 mm screw with 20 mm of thread in softwood and four 6.3 mm ones with 40 mm in oak."""
    least_n, most_n = withdrawal_n(0.45, 4.0, 20.0), 4 * withdrawal_n(0.68, 6.3, 40.0)
    screwed = [pull.truth.peak_n for pull in boatyard().pulls if pull.group == "screwed"]

    assert len(screwed) == 3
    assert all(least_n < peak_n < most_n for peak_n in screwed)


def test_a_thousand_pounds() -> None:
    """1000 lb are 453.6 kg (exactly 453.59237)."""
    from breakyard.units import to_kilograms

    assert to_kilograms(1000, "lb") == pytest.approx(453.6, abs=0.01)
