"""Gravity, air and water against published values."""

import math

import pytest

from breakyard.calibration import air_from_weather, gravity_at, standard_gravity
from breakyard.calibration.weight import buoyancy_factor, normal_gravity, water_density


@pytest.mark.parametrize(
    ("latitude", "gravity"),
    [(0.0, 9.7803253359), (90.0, 9.8321849378)],
)
def test_wgs84_at_equator_and_pole(latitude: float, gravity: float) -> None:
    """NIMA TR8350.2: theoretical gravity at the equator and at the poles."""
    assert normal_gravity(latitude) == pytest.approx(gravity, abs=2e-10)
    assert normal_gravity(-latitude) == normal_gravity(latitude)


@pytest.mark.parametrize(
    ("latitude", "height", "gravity"),
    [
        (30.0, 0.0, 9.7932472692),
        (45.0, 0.0, 9.8061977694),
        (60.0, 0.0, 9.8191769531),
        (45.0, 1000.0, 9.8031129),
    ],
)
def test_wgs84_pins(latitude: float, height: float, gravity: float) -> None:
    """The formula evaluated apart with 50 digits (a pin, not a published value)."""
    assert normal_gravity(latitude, height) == pytest.approx(gravity, abs=6e-8)


@pytest.mark.parametrize(
    ("where", "latitude", "height", "measured"),
    [
        ("Gaithersburg, NBS room 129 (J. Res. NBS 70C, 1966)", 39.13, 133.0, 9.801018),
        ("Munich (newspaper quoting PTB)", 48.137, 550.0, 9.806987),
        ("Braunschweig (newspaper quoting PTB)", 52.27, 80.0, 9.812394),
    ],
)
def test_measured_gravity_lies_within_the_stated_limit(
    where: str, latitude: float, height: float, measured: float
) -> None:
    """Measured values differ from the formula by less than 1e-4, the limit the uncertainty is made of."""
    used = gravity_at(latitude, height)

    assert abs(used.value / measured - 1.0) < 1e-4, where
    assert used.standard == pytest.approx(1e-4 * used.value / math.sqrt(3.0))


def test_standard_gravity_covers_the_earth() -> None:
    """9.80665 with its uncertainty reaches the equator and the poles at k = 2."""
    used = standard_gravity()

    assert used.value == 9.80665
    for latitude in (0.0, 90.0):
        assert abs(normal_gravity(latitude) - used.value) < 2.0 * used.standard


def test_air_density() -> None:
    """20 C, 1013.25 hPa, 50 %: CIPM-2007 gives 1.199314 (computed from its constants); OIML R 111-1 E.3
    (from memory) within its 2e-4."""
    assert air_from_weather(20.0, 1013.25, 50.0).density == pytest.approx(1.19929, abs=5e-6)
    assert air_from_weather(20.0, 1013.25, 50.0).density == pytest.approx(1.199314, rel=2e-4)


@pytest.mark.parametrize(
    ("celsius", "mm_mercury", "humidity", "density"),
    [
        (10.0, 730.0, 40.0, 1.19569),
        (40.0, 760.0, 40.0, 1.11497),
        (22.3, 748.1, 37.0, 1.17194),
        (23.4, 612.3, 23.0, 0.95632),
    ],
)
def test_air_density_tables(celsius: float, mm_mercury: float, humidity: float, density: float) -> None:
    """Mass Metrology p. 205 (first two) and NIST SOP 2 (NISTIR 6969) Appendix B: within the uncertainty
    stated for the weather given, at k = 2."""
    air = air_from_weather(celsius, mm_mercury * 1013.25 / 760.0, humidity)

    assert abs(air.density - density) < 2.0 * air.standard + 5e-6


@pytest.mark.parametrize(
    ("celsius", "density"),
    [
        (0.0, 999.8428),
        (4.0, 999.9749),
        (10.0, 999.7027),
        (15.0, 999.1026),
        (20.0, 998.2067),
        (25.0, 997.0470),
        (30.0, 995.6488),
        (40.0, 992.2152),
    ],
)
def test_water_density(celsius: float, density: float) -> None:
    """Tanaka et al. 2001, Metrologia 38, 301: their formula, evaluated apart."""
    assert water_density(celsius) == pytest.approx(density, abs=6e-5)


@pytest.mark.parametrize(
    ("density", "factor"), [(8000.0, 0.99985), (11340.0, 0.999894), (2400.0, 0.9995), (998.2, 0.998798)]
)
def test_buoyancy(density: float, factor: float) -> None:
    """1 - 1.2/density (OIML D 28:2004 for the conventional 8000; others derived)."""
    assert buoyancy_factor(1.2, density) == pytest.approx(factor, abs=6e-7)
