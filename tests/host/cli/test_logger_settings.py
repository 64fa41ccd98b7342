"""The logger's settings: shown with units, changed in counts, time or force, refused in one line otherwise."""

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import pytest

from breakyard.cli import logger_settings
from breakyard.device.client.client import Client
from breakyard.device.settings import MEANINGS, parse_setting, value_words
from breakyard.errors import UsageError
from breakyard.simulate.logger import VirtualLogger
from breakyard.wire.layout import FIELDS, Input, Kind
from breakyard.wire.records import CalibrationCopy

from .conftest import Said

# 1 count = 0.01 N, so 20 000 counts are 200 N = 20.39 kgf (kgf = 9.80665 N, by definition).
COPY = CalibrationCopy(
    run=0, index=0, name="weights", made_s=0, input=Input.A128, centre_counts=0, scale_counts=1_000_000,
    c0_n=0.0, c1_n=-10_000.0, c2_n=0.0, c3_n=0.0, highest_known_n=600.0, capacity_n=0.0, sha256=bytes(32),
)  # fmt: skip


@pytest.fixture
def calibrated(monkeypatch: pytest.MonkeyPatch) -> None:
    """The virtual logger keeps a copy of a calibration."""

    @asynccontextmanager
    async def reach_way(way: str) -> AsyncIterator[Client]:
        async with VirtualLogger(None) as logger, Client(logger.link(), answer_timeout_s=60) as client:
            await client.hello()
            await client.store_calibration(COPY)
            yield client

    monkeypatch.setattr(logger_settings, "reach_way", reach_way)


def test_every_setting_has_a_meaning_in_the_order_of_the_table() -> None:
    """None is left out of what is shown."""
    assert tuple(MEANINGS) == tuple(name for name, _ in FIELDS[Kind.SETTINGS])


def test_shown_with_units_and_as_force(breakyard: Callable[..., Said], calibrated: None) -> None:
    """Through the copy of the calibration that the logger keeps, in the unit asked for."""
    said = breakyard("logger", "settings", "--unit", "kgf")

    assert said.status == 0
    for words in ("20000 counts = 20.39 kgf", "5000 ms", "2 samples", "channel A, gain 128", "0 counts"):
        assert words in said.out


def test_changed_in_force_time_and_by_name(breakyard: Callable[..., Said], calibrated: None) -> None:
    """What is said is what is in force afterwards."""
    said = breakyard("logger", "settings", "threshold=50 N", "hang = 2,5 s", "trigger_samples=3", "--json")
    document = said.document

    assert said.status == 0
    assert document["schema"] == "breakyard.logger.settings/1"
    assert document["changed"] == ["threshold_counts", "hang_ms", "trigger_samples"]
    assert document["settings"]["threshold_counts"] == 5000
    assert document["settings"]["hang_ms"] == 2500
    assert document["settings"]["trigger_samples"] == 3
    assert document["settings"]["pre_trigger_ms"] == 5000
    assert document["threshold_n"] == pytest.approx(50)
    assert document["capacity_n"] == 0


def test_nothing_is_changed_when_one_of_several_cannot_be(
    breakyard: Callable[..., Said], calibrated: None
) -> None:
    """The force is beyond what a threshold may be: the other value stays as it was, too."""
    said = breakyard("logger", "settings", "hang=2 s", "threshold=200 kN")
    assert (said.status, said.complaint) == (
        2,
        "breakyard: threshold=200 kN: threshold_counts is a whole number from 100 to 8000000",
    )
    said = breakyard("logger", "settings", "input=A64", "threshold=50 N")
    assert said.complaint.endswith('the calibration "weights" is for another input of the converter')


def test_a_force_needs_a_calibration(breakyard: Callable[..., Said]) -> None:
    """A logger that keeps none, and no file given: counts can be said all the same."""
    said = breakyard("logger", "settings", "threshold=50 N", "--link", "virtual")
    assert said.status == 2
    assert "the logger keeps no calibration that makes counts of a force" in said.complaint
    said = breakyard(
        "logger", "settings", "threshold=5000 counts", "input=b32", "--link", "virtual", "--json"
    )
    assert said.document["settings"]["threshold_counts"] == 5000
    assert said.document["settings"]["input"] == Input.B32
    assert said.document["threshold_n"] is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("hang_ms=99", "whole number from 100 to 600000"),
        ("hang=many", "many is no number"),
        ("hang=", "nothing is no number"),
        ("hang=3 kgf", "hang_ms is given in ms or s or min"),
        ("hang=0.5", "whole number"),
        ("hang_ms", "say NAME=VALUE"),
        ("=3", "say NAME=VALUE"),
        ("lamp_pin=3", "settings.txt only"),
        ("threshold=20 kg", "write kgf if you mean kgf"),
        ("threshold=-200", "whole number from 100"),
        ("input=C", r"an input is A128 \(channel A, gain 128\)"),
        ("trigger=2 s", "trigger_samples is given in samples"),
    ],
)
def test_what_is_wrong_is_said_before_anything_is_sent(text: str, said: str) -> None:
    """One line that says what may be said instead."""
    with pytest.raises(UsageError, match=said):
        parse_setting(text)


def test_an_input_that_is_not_known_is_shown_all_the_same() -> None:
    """A newer logger may have one."""
    assert value_words("input", 9, None, "N") == "input 9"
