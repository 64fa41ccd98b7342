"""The whole firmware on an emulated RP2040 under an image of MicroPython's rp2 port, talked to over its USB.

tests/support/chip/chip.mjs says what is real in it and what is modelled. Nothing is measured by the host's clock.
"""

import asyncio
import os
import re
import select
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from chip.board import install, power
from chip.chip import Chip
from chip.talk import at_prompt, beginning, chip_time, compare, fetch, with_logger

from breakyard.device.client.client import Client
from breakyard.device.client.conversation import Conversation
from breakyard.device.install.first_words import RESTART_S
from breakyard.run import Run
from breakyard.wire.layout import Command, EndCause, ResetCause
from breakyard.wire.records import RunEnd

RECORD_MS = int(os.environ.get("BREAKYARD_CHIP_SECONDS", "15")) * 1000
"""Of the chip's time; the longer, the surer."""
BY_THE_HOSTS_CLOCK = {"link", "time"}
"""Checks of the self-test that measure with the host's clock, which says nothing of an emulator."""
START_MS = 8000
TIME_US = 15.0
"""A time may be wrong by a turn of the waiting program, 0.4 us, and the anchor at the start (SPEC.md: 20 us a step)."""

NAMES = 20 + 40 + 80 + 160 + 320 + 640
"""How many names MicroPython's first tables hold; the next one has 1280 places and takes 7.7 kB at once."""
AT_RUN_TIME = 10
"""Names that come up when the logger runs, 9 on a Pico with MicroPython 1.28.0."""
EVERYTHING = """
import gc, micropython
text = open("/main.py").read()
load = '__import__("logger.boards." + name, None, None, ("Board",))'
for line, other in (
    ("if prompt():", "if True:"), ("app = App(" + load + ".Board())", load), ("asyncio.run(app.run())", "pass")
):
    assert text.count(line) == 1
    text = text.replace(line, other)
exec(text)
from logger.core import self_test
try:
    import bluetooth
    from logger.links import ble
except ImportError:
    pass
del text, load, line, other
gc.collect()
print("held", gc.mem_alloc(), "free", gc.mem_free())
micropython.qstr_info()
"""
"""All that the board's main.py loads, and what a self-test loads besides. Nothing is run: the emulator has no radio."""

Give = Callable[..., Chip]


def test_install_ends_with_a_logger_that_passes_its_test(installed: Any) -> None:
    """Every check that was made has passed; the restart at the end is not taken for one by the watchdog."""
    said = installed.said
    checks = {check["check"]: check for check in said["selftest"]["checks"]}
    failed = [
        check
        for name, check in checks.items()
        if check["verdict"] == "failed" and name not in BY_THE_HOSTS_CLOCK
    ]

    assert said["answered"]
    assert said["warnings"] == []
    assert said["name"] == "Slip 3"
    assert failed == []
    assert checks["conversions"]["verdict"] == checks["store"]["verdict"] == "passed"
    assert "started by reset" in checks["supply"]["found"]


def test_it_starts_from_sources_while_the_installer_waits(image: Path, tmp_path: Path) -> None:
    """Loading them takes more time and memory than compiled files; the command waits so long."""
    said = install(image, tmp_path, "--sources", "--no-selftest").said
    with power(image, tmp_path) as board:
        end = os.open(board.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            os.write(end, bytes(8))  # a knock
            while not select.select([end], [], [], 0.05)[0]:
                board.now_ms()
            started_ms = board.now_ms()
        finally:
            os.close(end)
        print(f"started from sources after {started_ms} ms")

        assert said["answered"]
        assert not said["compiled"]
        assert board.count("reset") == 0
        assert started_ms < RESTART_S * 1000


def test_the_names_fit_the_tables_that_are_there(chip: Give) -> None:
    """One name more than they hold costs as much as a ring of 500 samples."""
    said = at_prompt(chip(high_pins=[]), EVERYTHING)
    print(said)
    names = re.search(r"n_qstr=(\d+)", said)

    assert names
    assert int(names[1]) <= NAMES - AT_RUN_TIME


def test_a_hello_at_any_moment_of_the_start_leaves_a_logger(chip: Give) -> None:
    """A HELLO, which begins with byte 3, every few milliseconds from power-up on: it starts and answers."""
    board = chip()
    conversation = Conversation(1)
    end = os.open(board.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    sent = 0
    try:
        while board.now_ms() < START_MS:
            os.write(end, conversation.command(Command.HELLO)[1])
            sent += 1
    finally:
        os.close(end)

    name = with_logger(board, lambda client: asyncio.sleep(0, client.name))
    print(f"{sent} HELLOs in {START_MS} ms")
    assert name == "Slip 3"
    assert board.count("reset") == 0


@pytest.mark.parametrize("rate", [80.0, 92.3, 150.0])
def test_every_conversion_of_a_ramp_is_recorded(chip: Give, rate: float) -> None:
    """Every count, in order, none missing, at its time; the clock is high for 1 us (data sheet: 0.2 to 50)."""
    board = chip(rate=rate)

    async def go(client: Client) -> tuple[Run, RunEnd | None]:
        number = await client.start()
        board.order(rise=37)
        await chip_time(board, RECORD_MS)
        await client.stop()
        return await fetch(client, number)

    run, end = with_logger(board, go)
    seen = compare(board, run)
    print(f"{rate}/s: {seen}, {end}")
    assert end is not None
    assert (seen.missing, end.missed, end.samples) == (0, 0, seen.samples)
    assert seen.samples > 0.9 * rate * RECORD_MS / 1000
    assert -TIME_US <= seen.earliest_us <= seen.latest_us <= TIME_US
    converter = board.ask("converter")
    assert converter["high_us"] == pytest.approx([1.0, 1.0], abs=0.01)
    assert converter["lost"] == 0


@pytest.mark.parametrize("erase_ms", [45, 180, 400])
@pytest.mark.parametrize("rate", [92.3, 150.0])
def test_nothing_is_lost_while_an_old_run_is_fetched(chip: Give, rate: float, erase_ms: int) -> None:
    """An old run is fetched over USB again and again meanwhile; flash as quick as it is, and as slow as it may be."""
    board = chip(rate=rate)

    async def go(client: Client) -> tuple[Run, RunEnd | None, int]:
        old = await client.start()
        await chip_time(board, 5000)
        await client.stop()
        await fetch(client, old)
        board.order(options={"erase_ms": erase_ms})
        number = await client.start()
        until = await asyncio.to_thread(board.now_ms) + RECORD_MS
        fetched = 0
        while await asyncio.to_thread(board.now_ms) < until:
            await fetch(client, old)
            fetched += 1
        await client.stop()
        return *await fetch(client, number), fetched

    run, end, fetched = with_logger(board, go)
    seen = compare(board, run)
    print(f"{rate}/s, erase {erase_ms} ms: fetched {fetched} times, {seen}, {end}")
    assert end is not None
    assert seen.samples == end.samples
    assert (seen.missing, end.missed) == (0, 0)


def test_a_host_that_stops_reading_costs_no_sample(chip: Give) -> None:
    """It asks for the status and follows the run, then takes nothing for 10 s."""
    board = chip()

    async def go(client: Client) -> tuple[Run, RunEnd | None]:
        await client.set(6, 50)  # status_ms
        await client.stream_status(True)
        number = await client.start()
        following = asyncio.create_task(client.read_run(number, lambda _: None, follow=True))
        await chip_time(board, 3000)
        board.order(takes=False)
        await chip_time(board, 10_000)
        board.order(takes=True)
        await chip_time(board, 2000)
        following.cancel()
        await client.stop()
        await client.stream_status(False)
        return await fetch(client, number)

    run, end = with_logger(board, go)
    seen = compare(board, run)
    print(f"{seen}, {end}")
    assert end is not None
    assert (seen.missing, end.missed, end.samples) == (0, 0, seen.samples)


def test_a_run_cut_by_a_reset_is_kept_to_the_latest_commit(chip: Give) -> None:
    """The power goes in mid-run; then the run has an end, its samples are right, the next number is a new one."""
    board = chip()
    before: list[Any] = []

    async def record(client: Client) -> int:
        number = await client.start()
        board.order(rise=11)
        await chip_time(board, 6000)
        return number

    number = with_logger(board, record)
    before.extend(board.ask("converter")["made"])
    board.order(power=True)

    async def look(client: Client) -> tuple[Run, RunEnd | None, int]:
        while not all(one.complete for one in await client.runs()):
            await chip_time(board, 200)
        run, end = await fetch(client, number)
        return run, end, await client.start()

    run, end, following = with_logger(board, look)
    counts = np.array([count for _, count in before])
    at = beginning(counts, run.counts)
    missing = len(counts) - at - len(run.counts)
    print(f"{len(run.counts)} of {len(counts) - at} samples, {end}")
    assert end is not None
    assert end.cause == EndCause.POWER_LOST
    assert np.array_equal(run.counts, counts[at : at + len(run.counts)])
    assert missing <= 1.8 * 92.3
    assert following > number
    assert ResetCause(end.reset_cause) in (ResetCause.POWER, ResetCause.UNKNOWN)
