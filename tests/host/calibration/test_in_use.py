"""Remounts and a long hold: the size that was put in comes out, and what cannot tell is refused."""

import math

import numpy as np
import pytest

from breakyard.calibration import Calibration, KnownLoad, Plate, Point, calibrate, mass_load, mass_point
from breakyard.calibration.in_use import hold, remounts
from breakyard.errors import CalibrationError

COUNTS_PER_KG = 6000.0


def made() -> Calibration:
    points = [
        mass_point(kg, 50_000.0 + COUNTS_PER_KG * kg) for kg in (0.0, 20.0, 40.0, 60.0, 40.0, 20.0, 0.0)
    ]
    return calibrate(points, plate=Plate(9806.65))


def mounted(*shares: float, zero_moves: float = 300.0) -> list[Point]:
    """20 kg, mounted anew each time: the span is off by a share, and every mounting has a zero of its own."""
    points = [Point(KnownLoad("0"), 50_000.0)]
    for at, share in enumerate(shares):
        zero = 50_000.0 + zero_moves * at
        points.append(Point(mass_load(20.0), zero + zero_moves / 2 + COUNTS_PER_KG * 20.0 * (1.0 + share)))
        points.append(Point(KnownLoad("0"), zero + zero_moves))
    return points


def test_remounts_give_the_scatter_of_one_mounting() -> None:
    """-0.1, 0 and +0.1 %: a standard deviation of 0.1 % with 2 degrees of freedom; moving zeros do not count."""
    found = remounts(made(), mounted(-0.001, 0.0, 0.001))

    assert found.standard == pytest.approx(0.001, rel=1e-6)
    assert found.freedom == 2
    assert found.shares == pytest.approx((-0.001, 0.0, 0.001), abs=1e-9)


@pytest.mark.parametrize(
    "points", [mounted(0.0, 0.001), mounted(0.0, 0.0, 0.0)[:-1], mounted(0.0, 0.0, 0.0)[::2]]
)
def test_too_few_or_disordered_mountings_are_refused(points: list[Point]) -> None:
    with pytest.raises(CalibrationError, match="empty, mass, empty, mass"):
        remounts(made(), points)


def held(minutes: float, crept: float, zero_drift: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """20 s empty, a mass that creeps with a time constant of 8 min, 60 s empty; the zero drifts per second."""
    time = np.arange(0.0, 80.0 + 60.0 * minutes, 0.1)
    on = (time >= 20.0) & (time < 20.0 + 60.0 * minutes)
    span = 120_000.0 * (1.0 + crept * (1.0 - np.exp(-(time - 20.0) / 480.0)))
    noise = np.random.default_rng(2).normal(0.0, 40.0, time.size)
    return time, 50_000.0 + np.where(on, span, 0.0) + zero_drift * time + noise


@pytest.mark.parametrize("crept", [0.0006, -0.0006])
@pytest.mark.parametrize("zero_drift", [0.0, 0.05])
def test_a_long_hold_gives_the_creep(crept: float, zero_drift: float) -> None:
    """0.06 % in all: seen as at least what came after the first seconds, at most that and the reading's own doubt; a
    drift of the zero as large is taken off."""
    found = hold(*held(30.0, crept, zero_drift))
    expected = 0.0006 * (math.exp(-25.0 / 480.0) - math.exp(-1783.0 / 480.0))

    assert expected <= found.share <= expected + 0.00015
    assert found.seconds == pytest.approx(1800.0, abs=1.0)


@pytest.mark.parametrize("minutes", [5.0, 25.0])
def test_a_short_hold_is_refused(minutes: float) -> None:
    with pytest.raises(CalibrationError, match="30 are needed"):
        hold(*held(minutes, 0.0006))


def test_nothing_hung_is_refused() -> None:
    time = np.arange(0.0, 2000.0, 0.1)
    with pytest.raises(CalibrationError, match="nothing was hung"):
        hold(time, np.random.default_rng(1).normal(5e4, 40.0, time.size))
    with pytest.raises(CalibrationError, match="nothing was hung"):
        hold(time, np.full(time.size, 5e4))
