"""Quantities as people type them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.errors import UnitError
from breakyard.units import (
    FORCE_UNITS,
    MASS_UNITS,
    from_newtons,
    parse_force,
    parse_mass,
    significant,
    split_quantity,
    to_kilograms,
    to_newtons,
)


@pytest.mark.parametrize(
    ("text", "newtons"),
    [
        ("300 kgf", 2941.995),
        ("2,5 kN", 2500.0),
        ("1e3N", 1000.0),
        (" 1.5 KN ", 1500.0),
        ("-2 daN", -20.0),
        (".5 tf", 4903.325),
    ],
)
def test_forces_as_typed(text: str, newtons: float) -> None:
    """Decimal comma or point, any case, with or without a space."""
    assert parse_force(text) == pytest.approx(newtons, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "offer"), [("300 kg", "kgf"), ("300 lb", "lbf"), ("2 t", "tf"), ("300 lbs", "lbf")]
)
def test_a_mass_where_a_force_belongs_offers_the_force(text: str, offer: str) -> None:
    """ "300 kg" of load is refused, with the unit of force that was probably meant."""
    with pytest.raises(UnitError, match=f"write {offer} if you mean {offer}"):
        parse_force(text)


@pytest.mark.parametrize("text", ["20 kgf", "200 N", "20 stone", "twenty kg", "20", "", "1e999 kg"])
def test_what_is_no_mass_is_refused(text: str) -> None:
    """A known mass needs a number and a unit of mass."""
    with pytest.raises(UnitError):
        parse_mass(text)


@given(st.floats(-1e9, 1e9), st.sampled_from(sorted(FORCE_UNITS)))
def test_newtons_there_and_back(value: float, unit: str) -> None:
    """Converting to newtons and back returns the value."""
    assert from_newtons(to_newtons(value, unit), unit) == pytest.approx(value, rel=1e-14, abs=1e-12)


@given(st.floats(0, 1e6), st.sampled_from(sorted(MASS_UNITS)))
def test_masses_parse_as_they_print(value: float, unit: str) -> None:
    """What Python prints of a mass is read back as the same kilograms."""
    assert parse_mass(f"{value!r} {unit}") == to_kilograms(value, unit)


@given(st.text(max_size=30))
def test_any_text_is_a_quantity_or_a_unit_error(text: str) -> None:
    """Nothing that can be typed raises anything else."""
    try:
        value, unit = split_quantity(text)
    except UnitError:
        return

    assert isinstance(value, float)
    assert unit.isalpha()


@pytest.mark.parametrize(
    ("value", "digits", "written"),
    [
        (252.4, 2, "250"),
        (12_345.0, 3, "12300"),
        (0.000123, 2, "0.00012"),
        (3.0, 2, "3"),
        (1.25, 2, "1.2"),
        (-0.5, 2, "-0.5"),
        (math.inf, 2, "inf"),
    ],
)
def test_people_get_no_exponents(value: float, digits: int, written: str) -> None:
    """Rounded to significant digits and written out."""
    assert significant(value, digits) == written
