"""What a mass pulls with, against published gravity and buoyancy."""

import pytest

from breakyard.simulate.weights import normal_gravity, stack


@pytest.mark.parametrize(
    ("latitude_deg", "gravity"),
    [(0, 9.7803253359), (30, 9.7932472692), (45, 9.8061977694), (60, 9.8191769531), (90, 9.8321849379)],
)
def test_gravity_of_the_ellipsoid(latitude_deg: float, gravity: float) -> None:
    """WGS84 normal gravity (NIMA TR8350.2): equator and pole as published, between them by its formula."""
    assert normal_gravity(latitude_deg) == pytest.approx(gravity, abs=2e-10)
    assert normal_gravity(-latitude_deg) == normal_gravity(latitude_deg)


def test_gravity_against_a_measurement() -> None:
    """Gaithersburg, room 129: 9.801018 m/s2 (J. Res. NBS 70C, 1966) at 39.13 N, about 133 m; within 1e-4."""
    assert normal_gravity(39.13, 133.0) == pytest.approx(9.801018, rel=1e-4)


def test_gravity_falls_with_height() -> None:
    """0.3086 mGal a metre is the textbook free-air gradient (from memory)."""
    assert normal_gravity(45.0) - normal_gravity(45.0, 1000.0) == pytest.approx(3.086e-3, rel=2e-3)


def test_masses_hung_one_after_another_and_taken_off_again() -> None:
    """F = m g (1 - air / density): cast iron in air of 1.2 kg/m3 loses 1.67 parts in 10 000."""
    weights = stack(
        (20.0, 20.0, 20.0),
        (0.01, -0.02, 0.0),
        standard_kg=0.01,
        latitude_deg=45.0,
        height_m=0.0,
        anomaly=1e-5,
    )

    assert weights.stated_kg == (0.0, 20.0, 40.0, 60.0, 40.0, 20.0, 0.0)
    assert weights.true_kg == pytest.approx((0.0, 20.01, 39.99, 59.99, 39.99, 20.01, 0.0))
    assert weights.forces_n[3] == pytest.approx(59.99 * 9.8061977694 * 1.00001 * (1 - 1.2 / 7200), rel=1e-9)
