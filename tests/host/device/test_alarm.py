"""The logger's alarm follows the session's stop load, and never what the cell can bear."""

import asyncio
from types import SimpleNamespace
from typing import Any

import pytest

from breakyard.device.alarm import set_alarm
from breakyard.errors import DataError, Refused
from breakyard.session import stopping
from breakyard.wire.layout import Setting


class Logger:
    """Keeps what it is set to; `refuses` everything."""

    def __init__(self, alarm: int = 0, refuses: bool = False) -> None:
        self.settings = SimpleNamespace(alarm_counts=alarm, capacity_counts=4_294_967)
        self.refuses = refuses
        self.asked: list[tuple[Setting, int]] = []

    async def set(self, setting: Setting, value: int) -> int:
        self.asked.append((setting, value))
        if self.refuses:
            raise Refused("no", "SET", 8)
        return value


def told(monkeypatch: pytest.MonkeyPatch, logger: Logger, stop: Any) -> tuple[str, str]:
    def alarm_counts(_: object) -> tuple[int, str]:
        if isinstance(stop, Exception):
            raise stop
        return stop

    monkeypatch.setattr(stopping, "alarm_counts", alarm_counts)
    return asyncio.run(set_alarm(logger, object()))  # type: ignore[arg-type]


def test_the_stop_load_becomes_the_alarm_and_the_capacity_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also in place of another one: each session has its own."""
    for before in (0, 1_000_000):
        logger = Logger(before)
        assert told(monkeypatch, logger, (2_576_980, "600 kgf")) == (
            "the logger's alarm is at the stop load, 600 kgf",
            "",
        )
        assert logger.asked == [(Setting.ALARM_COUNTS, 2_576_980)]


def test_what_is_set_already_is_not_set_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Flash is written only for news."""
    logger = Logger(2_576_980)
    assert told(monkeypatch, logger, (2_576_980, "600 kgf"))[1] == ""
    assert logger.asked == []


def test_an_alarm_that_stays_from_before_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """A session without a stop load leaves it; so do a rig that cannot be read, a refusal, and one beyond the range."""
    assert told(monkeypatch, Logger(), (0, "")) == ("", "")
    done, not_done = told(monkeypatch, Logger(5000), (0, ""))
    assert "5000 counts" in done
    assert not not_done
    for stop, logger in (
        (DataError("no rig"), Logger(5000)),
        ((9_000_000, "2 tf"), Logger(5000)),
        ((600_000, "140 kgf"), Logger(5000, refuses=True)),
    ):
        done, not_done = told(monkeypatch, logger, stop)
        assert not done
        assert "not set" in not_done
        assert "5000 counts" in not_done
