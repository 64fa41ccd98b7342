"""The live number: counts above the logger's own zero, newtons where a calibration is at hand."""

from dataclasses import fields

import pytest

from breakyard.calibration import Calibration, calibrate
from breakyard.calibration.points import mass_point
from breakyard.device.live import live_number, state_name
from breakyard.wire.layout import State
from breakyard.wire.records import Status

BASELINE = 31_000


@pytest.fixture(scope="module")
def calibration() -> Calibration:
    """100 counts a kilogram."""
    return calibrate([mass_point(mass, 5000.0 + 100.0 * mass, limit_kg=0.001) for mass in (0.0, 20.0, 40.0)])


def status(**changes: int) -> Status:
    values = dict.fromkeys((field.name for field in fields(Status)), 0)
    values |= {
        "state": State.RECORDING,
        "counts": BASELINE + 2000,
        "baseline_counts": BASELINE,
        "extreme_counts": BASELINE + 4000,
        "samples": 17,
    }
    return Status(**(values | changes))


def test_without_a_calibration_it_is_counts() -> None:
    """Above the zero of this run, never a guess at force."""
    number = live_number(status())

    assert (number.state, number.recording, number.samples) == ("recording", True, 17)
    assert (number.counts, number.largest_counts, number.load_n) == (2000, 4000, None)
    assert number.text("kgf").split() == ["+2000", "counts"]


def test_with_one_it_is_the_load_of_these_counts(calibration: Calibration) -> None:
    """20 kg and 40 kg hang in standard gravity: kgf by definition (CGPM 1901), the air aside."""
    number = live_number(status(), calibration)

    assert number.text("kgf").split() == ["20.0", "kgf"]
    assert number.largest_text("kgf").split() == ["40.0", "kgf"]


@pytest.mark.parametrize(("number", "word"), [(None, ""), (State.ARMED, "armed"), (99, "state 99")])
def test_a_state_is_a_word(number: int | None, word: str) -> None:
    """Also one that a newer logger has."""
    assert state_name(number) == word
