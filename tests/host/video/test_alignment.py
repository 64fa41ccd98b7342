"""Clip and run side by side: the speed of sound, and the mean of clues that agree."""

import math

import pytest

from breakyard.video.alignment import (
    Clue,
    Filmed,
    TiePoint,
    TimeTerm,
    align,
    heard_clue,
    seen_clue,
    speed_of_sound,
)
from breakyard.video.moments import ClipMoment

BREAK = TiePoint(12.0, 0.001)


def clue(time_s: float, standard_s: float) -> Clue:
    """A clue with one doubt."""
    return Clue("sound", time_s, (TimeTerm("all of it", standard_s),))


@pytest.mark.parametrize(
    ("temperature_c", "speed"),
    [(-10.0, 325.2), (0.0, 331.3), (20.0, 343.2), (30.0, 349.0)],
)
def test_the_speed_of_sound(temperature_c: float, speed: float) -> None:
    """Dry air as an ideal gas, sqrt(gamma R T / M) with gamma 1.4, R 8.314463 J/(mol K) and M 28.9647 g/mol (US
    Standard Atmosphere 1976; from memory), and the usual table's figures (from memory)."""
    ideal = math.sqrt(1.4 * 8.314463 * (temperature_c + 273.15) / 0.0289647)

    assert speed_of_sound(temperature_c) == pytest.approx(ideal, rel=5e-4)
    assert speed_of_sound(temperature_c) == pytest.approx(speed, abs=0.3)


def test_a_noise_comes_late_by_the_distance() -> None:
    """34.32 m at 20 C are a tenth of a second; four times as much of a clip that is slowed down four times."""
    heard = ClipMoment(5.0, 1.0, "sound")

    assert heard_clue(heard, Filmed(34.32, 20.0)).time_s == pytest.approx(4.9, abs=1e-6)
    assert heard_clue(heard, Filmed(34.32, 20.0, stretch=4.0)).time_s == pytest.approx(4.6, abs=1e-6)


def test_what_is_not_said_makes_it_less_sure() -> None:
    """A distance that is stated, then a temperature, never widens the doubt."""
    heard = ClipMoment(5.0, 1.0, "sound")
    unsure = heard_clue(heard, Filmed()).standard_s
    farther = heard_clue(heard, Filmed(15.0)).standard_s
    warm = heard_clue(heard, Filmed(15.0, 20.0)).standard_s

    assert warm < farther < unsure


def test_a_frame_shows_what_happened_in_it() -> None:
    """The break lies half a frame before the first that shows it, evenly: its half-width over sqrt 3."""
    found = seen_clue(ClipMoment(3.0, 1.0, "picture", step_s=1.0 / 30.0), Filmed())

    assert found.time_s == pytest.approx(3.0 - 1.0 / 60.0)
    assert found.terms[0].standard_s == pytest.approx(1.0 / 60.0 / math.sqrt(3.0))


def test_clues_that_agree_are_weighted_by_their_variances() -> None:
    """The least-squares mean of independent values (JCGM 100:2008, H.5; worked by hand: weights 4/5 and 1/5)."""
    found = align([clue(5.00, 0.010), clue(5.01, 0.020)], BREAK, 1.0)

    assert found.clip_s == pytest.approx(5.002)
    assert found.run_time(5.502) == pytest.approx(12.5)
    assert found.clip_time(found.run_time(7.7)) == pytest.approx(7.7)
    assert found.others == ()


def test_a_clue_that_disagrees_is_not_averaged() -> None:
    """It is kept beside, and told."""
    far = clue(9.0, 0.02)
    found = align([clue(5.0, 0.01), far], BREAK, 1.0)

    assert found.clip_s == 5.0
    assert found.others == (far,)
    assert found.words
