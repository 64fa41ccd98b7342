"""Unit factors against NIST SP 811 (2008), Appendix B.8, and the exact definitions they are rounded from."""

from fractions import Fraction

import pytest

from breakyard.units import FORCE_UNITS, MASS_UNITS, STANDARD_GRAVITY

POUND = Fraction("0.45359237")  # kg, exact: international yard and pound agreement, 1959
GRAVITY = Fraction("9.80665")  # m/s2, exact: 3rd CGPM, 1901


@pytest.mark.parametrize(
    ("unit", "printed"),
    # As printed in SP 811 B.8 (typed from memory), seven digits.
    [("kgf", 9.80665), ("lbf", 4.448222), ("kip", 4448.222)],
)
def test_factors_of_force_as_printed(unit: str, printed: float) -> None:
    """Each factor agrees with the printed one to its last digit."""
    assert FORCE_UNITS[unit] == pytest.approx(printed, rel=1.2e-7)


@pytest.mark.parametrize(
    ("unit", "exact"),
    [
        ("N", Fraction(1)),
        ("daN", Fraction(10)),
        ("kN", Fraction(1000)),
        ("kgf", GRAVITY),
        ("tf", 1000 * GRAVITY),
        ("lbf", POUND * GRAVITY),  # 4.4482216152605
        ("kip", 1000 * POUND * GRAVITY),
    ],
)
def test_factors_of_force_are_exact(unit: str, exact: Fraction) -> None:
    """Each factor is the double nearest to the exact one, or its neighbour."""
    assert FORCE_UNITS[unit] == pytest.approx(float(exact), rel=3e-16)


def test_factors_of_mass() -> None:
    """SP 811 B.8: pound 4.535 924 E-01 kg, ounce 2.834 952 E-02 kg (from memory); tonne 1000 kg."""
    assert MASS_UNITS["lb"] == 0.45359237
    assert MASS_UNITS["oz"] == pytest.approx(2.834952e-2, rel=1.2e-7)
    assert MASS_UNITS["t"] == 1000.0
    assert STANDARD_GRAVITY == 9.80665
