"""Local gravity: what turns a known mass into a force.

From the equator to the poles gravity differs by 0.5 %, so a calibration made with standard gravity
somewhere on Earth carries that doubt. Latitude and height remove nearly all of it.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

from breakyard.errors import UsageError
from breakyard.units import STANDARD_GRAVITY

_EQUATOR: Final = 9.7803253359
_SOMIGLIANA_K: Final = 0.00193185265241
_ECCENTRICITY_2: Final = 0.00669437999013
_SEMI_MAJOR_M: Final = 6378137.0
_FLATTENING: Final = 1.0 / 298.257223563
_M_RATIO: Final = 0.00344978650684
"""WGS84 constants (NIMA TR8350.2, third edition, tables 3.1, 3.3 and 3.4)."""

FORMULA_RELATIVE: Final = 1.0e-4 / math.sqrt(3.0)
"""Standard uncertainty of the formula: local anomalies stay within about 1e-4 (PTB's and NPL's own
statements for their latitude and height formulae), taken as a rectangle."""

LOWEST_ON_EARTH: Final = 9.764
HIGHEST_ON_EARTH: Final = 9.834
"""m/s2: the ends of what is met on dry land (a high summit near the equator; the Arctic coast), from
memory of published global gravity models."""


@dataclass(frozen=True, slots=True)
class Gravity:
    """The acceleration used, its standard uncertainty (both m/s2) and where it came from."""

    value: float
    standard: float
    source: Literal["place", "stated", "standard"]
    latitude_deg: float | None = None
    height_m: float | None = None

    @property
    def sentence(self) -> str:
        """One line that says what was used and how sure it is."""
        size = f"gravity {self.value:.5f} m/s2 +- {2.0 * self.standard:.5f} (k = 2)"
        if self.source == "place":
            return f"{size} from latitude {self.latitude_deg:g} deg and height {self.height_m:g} m (WGS84)"
        if self.source == "stated":
            return f"{size} as stated"
        return f"{size}: standard gravity, place unknown; give latitude and height to be surer"


def normal_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """WGS84 normal gravity in m/s2 at a geodetic latitude and a height above the ellipsoid.

    Source: NIMA TR8350.2, equations 4-1 (Somigliana) and 4-3 (second-order height term). The height
    above sea level may stand for the ellipsoid's: the difference is worth 3e-5 at most.
    Raises: UsageError for a latitude or height that is not on Earth's surface.
    """
    if not -90.0 <= latitude_deg <= 90.0:
        raise UsageError(f"latitude {latitude_deg:g} is not between -90 and 90 degrees")
    if not -500.0 <= height_m <= 9000.0:
        raise UsageError(f"height {height_m:g} m is not between -500 and 9000 m: is it in feet?")
    sine_2 = math.sin(math.radians(latitude_deg)) ** 2
    surface = _EQUATOR * (1.0 + _SOMIGLIANA_K * sine_2) / math.sqrt(1.0 - _ECCENTRICITY_2 * sine_2)
    first = 2.0 / _SEMI_MAJOR_M * (1.0 + _FLATTENING + _M_RATIO - 2.0 * _FLATTENING * sine_2)
    return surface * (1.0 - first * height_m + 3.0 * (height_m / _SEMI_MAJOR_M) ** 2)


def gravity_at(latitude_deg: float, height_m: float = 0.0) -> Gravity:
    """Gravity from the place, good to about 1e-4. Raises: UsageError."""
    value = normal_gravity(latitude_deg, height_m)
    return Gravity(value, FORMULA_RELATIVE * value, "place", float(latitude_deg), float(height_m))


def stated_gravity(value: float, standard: float | None = None) -> Gravity:
    """Gravity as someone states it; without an uncertainty the formula's 1e-4 is taken.

    Raises: UsageError for a value that is met nowhere on Earth.
    """
    if not LOWEST_ON_EARTH - 0.01 <= value <= HIGHEST_ON_EARTH + 0.01:
        raise UsageError(f"gravity {value:g} m/s2 is met nowhere on Earth: expected 9.76 to 9.84")
    if standard is not None and standard < 0.0:
        raise UsageError("the uncertainty of gravity cannot be negative")
    return Gravity(float(value), FORMULA_RELATIVE * value if standard is None else float(standard), "stated")


def standard_gravity() -> Gravity:
    """Standard gravity for an unknown place, with the spread over the Earth as its uncertainty."""
    spread = max(HIGHEST_ON_EARTH - STANDARD_GRAVITY, STANDARD_GRAVITY - LOWEST_ON_EARTH)
    return Gravity(STANDARD_GRAVITY, spread / math.sqrt(3.0), "standard")
