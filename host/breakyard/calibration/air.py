"""Air and water: buoyancy of known masses, and the mass of water from its volume.

Sizes: 0.015 % for steel, 0.05 % for concrete, 0.12 % for water.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

from breakyard.errors import UsageError

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
