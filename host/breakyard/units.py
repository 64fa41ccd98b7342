"""Newtons inside, the user's unit outside.

Forces are measured, masses are weighed: the two have separate tables, and a load given in "kg" is
refused with an offer of kgf, because 1 kg "of load" is a slip that hides a factor of 9.8.

Factors: NIST SP 811 (2008), Appendix B.8; each follows exactly from 1 lb = 0.45359237 kg and
standard gravity 9.80665 m/s2 (3rd CGPM, 1901).
"""

import math
import re
from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Final, Literal

from breakyard.errors import UnitError, UsageError

STANDARD_GRAVITY: Final = 9.80665
"""m/s2, exact by definition (3rd CGPM, 1901)."""

_POUND_KG: Final = 0.45359237

FORCE_UNITS: Final[Mapping[str, float]] = MappingProxyType(
    {
        "N": 1.0,
        "daN": 10.0,
        "kN": 1000.0,
        "kgf": STANDARD_GRAVITY,
        "tf": 1000.0 * STANDARD_GRAVITY,
        "lbf": _POUND_KG * STANDARD_GRAVITY,
        "kip": 1000.0 * _POUND_KG * STANDARD_GRAVITY,
    }
)
"""Newtons in one of each unit of force; tf is the (metric) tonne-force."""

MASS_UNITS: Final[Mapping[str, float]] = MappingProxyType(
    {"kg": 1.0, "g": 0.001, "t": 1000.0, "lb": _POUND_KG, "oz": _POUND_KG / 16.0}
)
"""Kilograms in one of each unit of mass."""

_FORCE_FOR_MASS: Final = {"kg": "kgf", "g": "kgf", "t": "tf", "lb": "lbf", "oz": "lbf"}
_BY_LOWER_FORCE: Final = {name.lower(): name for name in FORCE_UNITS}
_BY_LOWER_MASS: Final = {name.lower(): name for name in MASS_UNITS} | {"lbs": "lb", "kgs": "kg"}
_QUANTITY: Final = re.compile(r"\s*([+-]?[0-9]*[.,]?[0-9]+(?:[eE][+-]?[0-9]+)?)\s*([A-Za-z]+)\s*")


def significant(value: float, digits: int, sign: Literal["-", "+"] = "-") -> str:
    """A number to this many significant digits, as people write it: 250 and 0.00012, never 2.5e+02 or 1.2e-04.

    With `sign` "+" a number that is not negative gets a plus.
    """
    return format(Decimal(f"{value:.{digits}g}"), f"{sign}f") if math.isfinite(value) else f"{value:{sign}g}"


def force_unit(name: str) -> str:
    """Return the accepted spelling of a unit of force ("KN" -> "kN").

    Raises: UnitError, which offers the force that belongs to a unit of mass.
    """
    cleaned = name.strip()
    if found := _BY_LOWER_FORCE.get(cleaned.lower()):
        return found
    if mass := _BY_LOWER_MASS.get(cleaned.lower()):
        offer = _FORCE_FOR_MASS[mass]
        raise UnitError(f'"{cleaned}" is a mass; a load is a force: write {offer} if you mean {offer}')
    raise UnitError(f'unknown unit of force "{cleaned}"; use one of {", ".join(FORCE_UNITS)}')


def mass_unit(name: str) -> str:
    """Return the accepted spelling of a unit of mass ("KG" -> "kg").

    Raises: UnitError, also for a unit of force.
    """
    cleaned = name.strip()
    if found := _BY_LOWER_MASS.get(cleaned.lower()):
        return found
    if cleaned.lower() in _BY_LOWER_FORCE:
        raise UnitError(
            f'"{cleaned}" is a force; a known mass is weighed: use one of {", ".join(MASS_UNITS)}'
        )
    raise UnitError(f'unknown unit of mass "{cleaned}"; use one of {", ".join(MASS_UNITS)}')


def to_newtons(value: float, unit: str) -> float:
    """Convert a force in `unit` to newtons. Raises: UnitError."""
    return value * FORCE_UNITS[force_unit(unit)]


def from_newtons(force_n: float, unit: str) -> float:
    """Convert newtons to `unit`. Raises: UnitError."""
    return force_n / FORCE_UNITS[force_unit(unit)]


def to_kilograms(value: float, unit: str) -> float:
    """Convert a mass in `unit` to kilograms. Raises: UnitError."""
    return value * MASS_UNITS[mass_unit(unit)]


def split_quantity(text: str) -> tuple[float, str]:
    """Split "12,5 kN" into (12.5, "kN"); a decimal comma is understood.

    Raises: UnitError if the text is not a number followed by a unit.
    """
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise UnitError(f'"{text}" is not a number with a unit, as in "300 kgf" or "20 kg"')
    value = float(match[1].replace(",", "."))
    if not math.isfinite(value):
        raise UnitError(f'"{text}" is too large')
    return value, match[2]


def parse_force(text: str) -> float:
    """Newtons of "300 kgf", "2,5 kN". Raises: UnitError."""
    return to_newtons(*split_quantity(text))


def parse_mass(text: str) -> float:
    """Kilograms of "20 kg", "45 lb". Raises: UnitError."""
    return to_kilograms(*split_quantity(text))


def parse_share(share: str | float) -> float:
    """A share as a fraction: 0.1, "10%", "10 %", "0,1". Raises: UsageError; "10" alone could mean either."""
    if isinstance(share, str):
        cleaned = share.strip().replace(",", ".")
        percent = cleaned.endswith("%")
        try:
            value = float(cleaned.rstrip("% "))
        except ValueError:
            raise UsageError(f'"{share}" is not a share; write it as 10% or 0.1') from None
    else:
        value, percent = float(share), False
    if not math.isfinite(value) or value < 0.0 or (value >= 1.0 and not percent):
        raise UsageError(f'"{share}" is not a share; write it as 10% or 0.1')
    return value / 100.0 if percent else value
