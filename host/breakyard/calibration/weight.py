"""From mass to force: local gravity, the buoyancy of air, and the mass of water from its volume.

From the equator to the poles gravity differs by 0.5 %, so a calibration made with standard gravity somewhere on Earth
carries that doubt; latitude and height remove nearly all of it. Buoyancy is less: 0.015 % for steel, 0.05 % for
concrete, 0.12 % for water.
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

CONVENTIONAL_DENSITY: Final = 8000.0
"""kg/m3: a scale shows conventional mass, as if everything were of this density (OIML D 28:2004)."""

DENSITIES: Final[dict[str, float]] = {
    "steel": 7850.0,
    "stainless": 7950.0,
    "iron": 7200.0,
    "brass": 8400.0,
    "lead": 11340.0,
    "concrete": 2400.0,
    "stone": 2700.0,
    "aluminium": 2700.0,
    "sand": 1600.0,
    "brick": 1900.0,
    "water": 998.2,
}
"""Usual densities in kg/m3 (engineering tables, rounded); "iron" is cast iron."""

_SCALE_HEIGHT_M: Final = 8430.0


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


@dataclass(frozen=True, slots=True)
class Air:
    """Density of the air around the masses and its standard uncertainty, kg/m3."""

    density: float = 1.2
    standard: float = 0.1 * 1.2 / math.sqrt(3.0)
    source: Literal["default", "weather", "height", "stated"] = "default"


def air_from_weather(temperature_c: float, pressure_hpa: float, humidity_percent: float) -> Air:
    """Air density from temperature, pressure and relative humidity.

    Source: OIML R 111-1 (2004), E.3, relative 2e-4 within 900..1100 hPa, 10..30 C, < 80 % (from
    memory); outside that range the uncertainty taken here is ten times as large.
    Raises: UsageError for weather that is not met.
    """
    if not 500.0 <= pressure_hpa <= 1100.0:
        raise UsageError(f"air pressure {pressure_hpa:g} hPa is not between 500 and 1100: is it in hPa?")
    if not -40.0 <= temperature_c <= 60.0:
        raise UsageError(f"air temperature {temperature_c:g} C is not between -40 and 60")
    if not 0.0 <= humidity_percent <= 100.0:
        raise UsageError(f"relative humidity {humidity_percent:g} % is not between 0 and 100")
    vapour = 0.009 * humidity_percent * math.exp(0.061 * temperature_c)
    density = (0.34848 * pressure_hpa - vapour) / (273.15 + temperature_c)
    inside = pressure_hpa >= 900.0 and 10.0 <= temperature_c <= 30.0 and humidity_percent < 80.0
    return Air(density, density * (2.0e-4 if inside else 2.0e-3), "weather")


def air_at_height(height_m: float) -> Air:
    """Air density for a height above sea level, weather unknown: 10 % either way."""
    density = 1.2 * math.exp(-height_m / _SCALE_HEIGHT_M)
    return Air(density, 0.1 * density / math.sqrt(3.0), "height")


def stated_air(density: float, standard: float = 0.0) -> Air:
    """Air density as someone states it, kg/m3. Raises: UsageError."""
    if not 0.0 <= density <= 2.0 or standard < 0.0:
        raise UsageError(
            f"an air density of {density:g} +- {standard:g} kg/m3 is not possible: expected about 1.2"
        )
    return Air(float(density), float(standard), "stated")


def density_of(material: str) -> float:
    """Density in kg/m3 of a material by name. Raises: UsageError that lists the known ones."""
    found = DENSITIES.get(material.strip().lower())
    if found is None:
        raise UsageError(f'unknown material "{material}": use one of {", ".join(DENSITIES)}, or a density')
    return found


def water_density(temperature_c: float) -> float:
    """Density of air-free water at 101 325 Pa in kg/m3, 0 to 40 C.

    Source: Tanaka et al. 2001, Metrologia 38, 301. Tap water is within 0.05 % of it.
    Raises: UsageError outside 0 to 40 C.
    """
    if not 0.0 <= temperature_c <= 40.0:
        raise UsageError(f"water at {temperature_c:g} C: the density is known here from 0 to 40 C")
    t = temperature_c
    return 999.974950 * (1.0 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def buoyancy_factor(air_density: float, density: float) -> float:
    """The part of the weight that is left in air: 1 - air / density."""
    return 1.0 - air_density / density
