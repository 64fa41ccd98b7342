"""A logger with a flash, here a folder: what survives its power, its crash, and a settings file with mistakes."""

import asyncio
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.errors import LinkLost
from breakyard.run import read_run
from breakyard.simulate.logger import VirtualLogger
from breakyard.wire.layout import EndCause, Level, MarkCode, Overload, State
from breakyard.wire.records import CalibrationCopy, RunEnd

from .conftest import ShortPull

TIMEOUT_S = 60.0
COPY = CalibrationCopy(
    run=0,
    index=0,
    name="spring",
    made_s=1777809600,
    input=1,
    centre_counts=500,
    scale_counts=1000,
    c0_n=10.0,
    c1_n=10.0,
    c2_n=0.0,
    c3_n=0.0,
    highest_known_n=500.0,
    capacity_n=10000.0,
    sha256=bytes(range(32)),
)


def flash(folder: Path, *more: str) -> VirtualLogger:
    return VirtualLogger(options=("--runs", str(folder), *more))


def client(logger: VirtualLogger, first_index: int) -> Client:
    return Client(logger.link(), first_index=first_index, answer_timeout_s=TIMEOUT_S)


async def cut_off(folder: Path, pull: ShortPull, share: float) -> int:
    """A: one whole run, a calibration.  B: another run, and the power goes in the middle of it."""
    logger = flash(folder)
    await logger.power_on()
    async with client(logger, 1) as host:
        await host.hello()
        await host.store_calibration(COPY)
        await logger.load(pull.feed)
        first = await host.arm()
        await logger.run(pull.duration_s)
        assert [run.complete for run in await host.runs()] == [True]
        await logger.load(pull.feed)
        await host.arm()
        await logger.run(pull.duration_s * share)
    await logger.power_off()
    return first


async def after(
    folder: Path, run: int, path: Path
) -> tuple[RunEnd | None, CalibrationCopy | None, list[str], int]:
    """C: power again; the host fetches the run and asks what else is there."""
    async with flash(folder) as logger, client(logger, 500) as host:
        await host.hello()
        await logger.run(2.0)  # a record is looked at every 10 ms until the run has its end
        end = await fetch(host, run, path)
        log = [line.text for line in host.log]
        copy = await host.read_calibration()
        return end, copy, log, await host.arm()


def test_a_run_cut_off_by_the_power_is_there_with_its_end(
    micropython: str, short_pull: ShortPull, tmp_path: Path
) -> None:
    """Every sample up to a second before the cut, in order; earlier run, calibration and numbers untouched."""
    flash_folder = tmp_path / "flash"
    share = 0.6
    asyncio.run(cut_off(flash_folder, short_pull, share))
    whole, _, _, _ = asyncio.run(after(flash_folder, 1, tmp_path / "1.run"))
    end, copy, log, following = asyncio.run(after(flash_folder, 2, tmp_path / "2.run"))

    assert whole is not None
    assert whole.cause == EndCause.HANG
    assert read_run((tmp_path / "1.run").read_bytes()).loss.complete
    assert end is not None
    assert end.cause == EndCause.POWER_LOST
    run = read_run((tmp_path / "2.run").read_bytes())
    feed = short_pull.conversions
    first = int(np.flatnonzero(feed.counts == run.counts[0])[0])
    assert run.loss.complete
    assert np.array_equal(run.counts, feed.counts[first : first + len(run.counts)])
    last_s = feed.time_s[first + len(run.counts) - 1]
    assert share * short_pull.duration_s - 1.0 < last_s <= share * short_pull.duration_s
    assert copy is not None
    assert copy.sha256 == COPY.sha256
    assert following == 4  # the first start after the cut was told of run 3
    # The cut was told at the first start, to the first who listened; who armed then switched it off.
    assert log == ["a run was awaited when the power went: arm again"]


async def cut_off_while_followed(
    folder: Path, path: Path, pull: ShortPull
) -> tuple[float, list[tuple[int, RunEnd | None]], list[str]]:
    """A board that keeps a run in memory until its end, and a host that follows it when the power goes."""
    options = ("--ram-bytes", "60000")
    logger = flash(folder, *options)
    await logger.power_on()
    async with client(logger, 1) as host:
        await host.hello()
        await logger.load(pull.feed)
        run = await host.start()
        reading = asyncio.create_task(fetch(host, run, path, follow=True))
        for _ in range(40):  # in steps, so that a host on a busy machine keeps up
            await logger.run(0.25)
        now_s = logger.now_ms / 1000
        await logger.power_off()
        with pytest.raises(LinkLost):
            await reading
    async with flash(folder, *options) as logger, client(logger, 500) as host:
        await host.hello()
        held = [(one.run, await fetch(host, one.run, path.with_suffix(".lost"))) for one in await host.runs()]
        return now_s, held, [line.text for line in host.log]


def test_where_flash_waits_for_the_end_of_the_run_a_host_that_follows_has_it(
    micropython: str, short_pull: ShortPull, tmp_path: Path
) -> None:
    """As on an ESP32: the logger has lost the run, and says so; the host has all but the last second of it."""
    path = tmp_path / "1.run"
    now_s, held, log = asyncio.run(cut_off_while_followed(tmp_path / "flash", path, short_pull))

    ((number, end),) = held
    assert end is not None
    assert (number, end.index, end.cause, end.samples) == (1, 0, EndCause.MEMORY_LOST, 0)
    assert "run 1, awaited or kept in memory, was lost with the power" in log
    lost = read_run(path.with_suffix(".lost").read_bytes())
    assert lost.loss.complete
    assert not len(lost.counts)
    run = read_run(path.read_bytes())
    feed = short_pull.conversions
    first = int(np.flatnonzero(feed.counts == run.counts[0])[0])
    assert np.array_equal(run.counts, feed.counts[first : first + len(run.counts)])
    assert run.begin is not None
    last_s = run.begin.first_s + run.begin.first_us * 1e-6 + run.time_s[-1]
    assert now_s - 1.0 < last_s <= now_s


async def crash(folder: Path) -> tuple[list[str], State]:
    logger = flash(folder)
    await logger.power_on()
    async with client(logger, 1) as host:
        await host.hello()
    await logger._bench({"do": "crash"})
    with pytest.raises(LinkLost, match="a crash was asked for"):
        await logger.run(1.0)
    await logger.power_off()
    async with flash(folder) as logger, client(logger, 1) as host:
        await host.hello()
        await host.stream_status(True)
        await logger.run(2.0)
        status = host.status
        assert status is not None
        lines = [line.text for line in host.log if line.level == Level.ERROR]
    async with flash(folder) as logger, client(logger, 1) as host:
        await host.hello()
        await logger.run(1.0)
        assert not [line for line in host.log if line.level == Level.ERROR]
    return lines, State(status.state)


def test_after_a_crash_the_logger_is_ready_and_says_what_happened(micropython: str, tmp_path: Path) -> None:
    """The lines come once; then they are gone."""
    lines, state = asyncio.run(crash(tmp_path / "flash"))

    assert lines[0] == "restarted after a crash:"
    assert lines[-1] == "ValueError: a crash was asked for"
    assert state == State.IDLE


class Seen(asyncio.Queue[dict[str, Any]]):
    """The bench's events, and among them when the lamp was switched."""

    def __init__(self) -> None:
        super().__init__()
        self.lamp: list[tuple[int, int]] = []

    def put_nowait(self, item: dict[str, Any]) -> None:
        if item["event"] == "lamp":
            self.lamp.append((item["level"], item["now_us"]))
        super().put_nowait(item)


async def with_settings(
    folder: Path, settings: Path, pull: ShortPull
) -> tuple[list[str], int, list[tuple[int, int]], bytes]:
    logger = flash(folder, "--settings", str(settings), "--lamp", "1")
    seen = Seen()
    async with logger, client(logger, 1) as host:
        logger._events = seen
        await host.hello()
        await host.stream_status(True)
        await logger.load(pull.feed)
        await host.arm()
        await logger.run(pull.duration_s)
        status = host.status
        assert status is not None
        await fetch(host, 1, folder / "copy")
        return [line.text for line in host.log], status.overload, seen.lamp, (folder / "copy").read_bytes()


def test_wrong_settings_are_named_the_right_ones_hold_and_the_flash_is_marked(
    micropython: str, short_pull: ShortPull, tmp_path: Path
) -> None:
    """The settings record of the run, the overload alarm, and the lamp's moment on the device's clock."""
    settings = tmp_path / "settings.txt"
    settings.write_text(
        "threshold_counts = 40000\nhang_ms = soon\ncolour = red\ncapacity_counts = 500000\nalarm_counts = 400000\n"
    )
    log, overload, lamp, data = asyncio.run(with_settings(tmp_path / "flash", settings, short_pull))

    run = read_run(data)
    assert run.settings is not None
    assert (run.settings.threshold_counts, run.settings.hang_ms) == (40000, 5000)
    assert "settings.txt line 2: hang_ms is no whole number" in log
    assert "settings.txt line 3: no setting is called colour" in log
    assert overload == Overload.ABOVE_120_PERCENT
    assert run.end is not None
    assert run.end.overload == Overload.ABOVE_120_PERCENT
    assert run.settings.alarm_counts == 400000
    (mark,) = run.marks
    assert (mark.code, mark.text) == (MarkCode.VIDEO, "flash")
    moment_us = mark.mark_s * 1_000_000 + mark.mark_us
    before, lit, after_it = next(
        (lamp[i - 1], lamp[i], lamp[i + 1]) for i in range(1, len(lamp) - 1) if lamp[i] == (1, moment_us)
    )
    assert lit[1] - before[1] >= 120_000 or before[0] == 0
    assert 290_000 <= after_it[1] - lit[1] <= 310_000
