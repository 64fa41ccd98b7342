"""The self-test against the real firmware in the virtual logger: a healthy one passes, each fault is named right.

The stand-ins fail on command; what the firmware and the host make of it is theirs. Device time passes only as
granted, a tenth of a second with each message; so coarse a clock cannot be compared, and "time" is left out.
"""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from breakyard.device.client.client import Client
from breakyard.device.selftest import Procedure, Report, Verdict, run
from breakyard.device.selftest.results import FAULTS
from breakyard.device.selftest.shunt import Shunt
from breakyard.errors import LinkLost, UsageError
from breakyard.simulate.converter import from_counts
from breakyard.simulate.feed import write_feed
from breakyard.simulate.logger import VirtualLogger

Do = Callable[[VirtualLogger], Any]
PERIOD_S = 1 / 92
BEFORE_S = 3
NOISE = 59.0  # data sheet, 90 nV at 3.3 V


def cell(tmp_path: Path, *, noise: float = NOISE, zero: float = 20000.0, press: float = 0.0) -> Path:
    """120 s of a cell at rest; from 16 to 18 s somebody presses with so many counts."""
    time_s = np.arange(1, int(120 / PERIOD_S)) * PERIOD_S
    counts = zero + np.random.default_rng(7).normal(0.0, noise, time_s.size)
    counts += press * ((time_s > 16) & (time_s < 18))
    path = tmp_path / "cell.feed"
    write_feed(path, from_counts(time_s, np.clip(np.rint(counts), -(2**23), 2**23 - 1).astype(np.int32)))
    return path


def report(
    feed: Path,
    *options: str,
    before: Do | None = None,
    procedure: Procedure | None = None,
    asked_s: list[float] | None = None,
) -> Report:
    """The self-test of a logger in front of that cell, after `before` was done to it.

    `asked_s` takes the device's times at which somebody was asked to hold a resistor or to take it off.
    """

    async def go() -> Report:
        async with VirtualLogger(options=options) as logger:
            await logger.load(feed)
            if before is not None:
                await before(logger)
            await logger.run(BEFORE_S)
            link = logger.link()
            send, granted = link.send, [0.0]

            async def pause(seconds: float) -> None:
                granted[0] += seconds
                await logger.run(seconds)

            async def counted(data: bytes) -> None:
                granted[0] += 0.1
                await send(data)

            link.send = counted  # type: ignore[method-assign]

            async def hold(_: str) -> None:
                assert asked_s is not None
                asked_s.append(BEFORE_S + granted[0])

            chosen = replace(procedure or Procedure(), pause=pause, now=lambda: granted[0])
            if asked_s is not None:
                chosen = replace(chosen, hold=hold)
            async with Client(link) as client:
                await client.hello()
                return await run(client, chosen)

    return asyncio.run(go())


def told(found: Report, verdict: Verdict) -> dict[str, str]:
    """Checks with that verdict: the letters of faults.md, or what was found."""
    return {
        one.name: one.look.rpartition(FAULTS)[2].strip() if one.look else one.found
        for one in found.checks
        if one.verdict == verdict
    }


@pytest.mark.usefixtures("micropython")  # it tells how much memory is free
def test_a_healthy_logger_passes(tmp_path: Path) -> None:
    """Everything that can be judged in virtual time; the store really wrote, runs are untouched."""
    runs = tmp_path / "runs"
    runs.mkdir()
    found = report(cell(tmp_path), "--runs", str(runs), "--memory", "1", "--battery-mv", "4900")

    assert told(found, Verdict.FAILED) == {}
    assert found.passed
    assert found.rate == "fast"
    assert set(told(found, Verdict.LEFT_OUT)) == {"noise, slow rate", "answer to a press", "time"}
    assert {one.name for one in found.checks if one.verdict == Verdict.PASSED} == {
        "conversions",
        "rate",
        "off the rails",
        "noise",
        "zero",
        "extra clock pulses",
        "nothing missed or late",
        "link",
        "store",
        "room",
        "supply",
        "free memory",
    }
    assert not [path for path in runs.iterdir() if path.name.startswith("selftest") or path.suffix == ".run"]
    (noise,) = (one.numbers for one in found.checks if one.name == "noise")
    assert noise["noise_counts"] == pytest.approx(NOISE, rel=0.1)
    assert noise["data_sheet_counts"] == pytest.approx(59, abs=0.6)


def converter(fault: str) -> Do:
    return lambda logger: logger._bench({"do": "converter", "fault": fault})


@pytest.mark.parametrize(
    ("fault", "named"),
    [
        ("stopped", {"conversions": "A"}),
        ("stuck_high", {"conversions": "A"}),
        ("stuck_low", {"conversions": "A", "extra clock pulses": "F"}),
        ("no_clock", {"conversions": "A", "extra clock pulses": "F"}),
        ("all_ones", {"conversions": "D", "extra clock pulses": "F"}),
        ("shifted", {"conversions": "F", "extra clock pulses": "F"}),
        ("rail_high", {"conversions": "D", "off the rails": "D"}),
        ("rail_low", {"conversions": "D", "off the rails": "D"}),
        ("slow", {"rate": "C", "conversions": "C"}),
        ("fast", {"rate": "C", "conversions": "C"}),
    ],
)
def test_each_fault_of_the_converter_is_named(tmp_path: Path, fault: str, named: dict[str, str]) -> None:
    """By its letter in faults.md, and nothing else is blamed on wires that are sound."""
    found = report(cell(tmp_path), "--capacity", "2000000", before=converter(fault))
    failed = told(found, Verdict.FAILED)

    assert named.items() <= failed.items(), failed
    assert set(failed) - set(named) <= {"nothing missed or late"}, failed


@pytest.mark.parametrize(
    ("what", "named"),
    [
        ({"noise": 8 * NOISE}, {"noise": "E"}),
        ({"noise": 0.0}, {"off the rails": "D"}),
        ({"zero": 600_000.0}, {"zero": "H"}),
        ({"zero": -600_000.0}, {"zero": "H"}),
    ],
)
def test_each_fault_of_the_cell_is_named(tmp_path: Path, what: Any, named: dict[str, str]) -> None:
    """Noisy, stuck, off zero: that check fails and no other."""
    assert told(report(cell(tmp_path, **what)), Verdict.FAILED) == named


def test_conversions_missed_while_the_board_stood_still(tmp_path: Path) -> None:
    """Three stalls during the look."""

    async def stalled(logger: VirtualLogger) -> None:
        pause = logger.run

        async def run(seconds: float) -> None:
            if seconds == 10:
                for _ in range(3):
                    await logger._bench({"do": "stall", "ms": 60})
                    await pause(0.5)
                seconds -= 1.5
            await pause(seconds)

        logger.run = run  # type: ignore[method-assign]

    assert told(report(cell(tmp_path), before=stalled), Verdict.FAILED) == {"nothing missed or late": "G"}


@pytest.mark.parametrize("fault", ["refuses", "forgets", "spoils"])
def test_flash_that_fails(tmp_path: Path, fault: str) -> None:
    """Whatever is wrong with the block, the store is named."""
    (tmp_path / "runs").mkdir()
    found = report(
        cell(tmp_path),
        "--runs",
        str(tmp_path / "runs"),
        before=lambda logger: logger._bench({"do": "flash", "fault": fault}),
    )

    assert told(found, Verdict.FAILED) == {"store": "K"}


def test_a_store_that_is_nearly_full(tmp_path: Path) -> None:
    """Under ten minutes of samples are left."""
    assert told(report(cell(tmp_path), "--capacity", "100000"), Verdict.FAILED) == {"room": "K"}


def test_a_battery_that_dips(tmp_path: Path) -> None:
    """To less than nine tenths of what it is now, once, before the test."""

    async def dips(logger: VirtualLogger) -> None:
        for millivolts in (3900, 4900):
            await logger._bench({"do": "battery", "mv": millivolts})
            await logger.run(1)

    found = report(cell(tmp_path), "--battery-mv", "4900", before=dips)

    assert told(found, Verdict.FAILED) == {"supply": "L"}


def test_the_slow_rate(tmp_path: Path) -> None:
    """A low RATE fails, unless that is what is being tested."""
    slow = ("--interval-us", "92000")
    feed = tmp_path / "slow.feed"
    time_s = np.arange(1, 1200) * 0.092
    counts = np.random.default_rng(5).normal(900.0, 33.0, time_s.size)
    write_feed(feed, from_counts(time_s, np.rint(counts).astype(np.int32)))
    found = report(feed, *slow)
    assert told(found, Verdict.FAILED) == {"rate": "B"}
    assert found.rate == "slow"
    found = report(feed, *slow, procedure=Procedure(slow=True))

    assert told(found, Verdict.FAILED) == {}
    assert told(report(cell(tmp_path), procedure=Procedure(slow=True)), Verdict.FAILED) == {"rate": "B"}


def test_both_rates_where_the_pin_is_wired(tmp_path: Path) -> None:
    """The logger switches to slow and back by itself; both are judged."""
    found = report(cell(tmp_path), "--rate-pin", "1")

    assert told(found, Verdict.FAILED) == {}
    (slow,) = (one for one in found.checks if one.name == "rate, RATE low")
    assert slow.numbers["rate_hz"] == pytest.approx(92 / 8, rel=0.01)
    assert slow.verdict == Verdict.PASSED
    assert found.rate_hz == pytest.approx(92, rel=0.01)


@pytest.mark.parametrize(
    ("counts", "verdict"), [(40_000.0, Verdict.PASSED), (-40_000.0, Verdict.PASSED), (0.0, Verdict.FAILED)]
)
def test_a_press_is_seen(tmp_path: Path, counts: float, verdict: Verdict) -> None:
    """An excursion of either sign and the return to zero; nothing, when nobody presses."""
    asked = []
    found = report(cell(tmp_path, press=counts), procedure=Procedure(press=lambda: asked.append(1)))
    (seen,) = (one for one in found.checks if one.name == "answer to a press")

    assert asked == [1]
    assert seen.verdict == verdict
    assert found.passed == (verdict == Verdict.PASSED)
    if counts:
        assert seen.numbers["largest_counts"] == pytest.approx(counts, rel=0.02)


def test_a_logger_that_is_armed_meanwhile_is_left_alone(tmp_path: Path) -> None:
    """By its button, say: the test gives way, in one line."""

    def armed_while(seconds: float) -> Do:
        async def arm(logger: VirtualLogger) -> None:
            pause = logger.run

            async def run(asked: float) -> None:
                await pause(asked)
                if asked == seconds:
                    async with Client(logger.link(), first_index=9000) as other:
                        await other.arm()

            logger.run = run  # type: ignore[method-assign]

        return arm

    with pytest.raises(UsageError, match="armed or recording; end that first"):
        report(cell(tmp_path), before=armed_while(3))


def test_power_that_goes_during_the_test(tmp_path: Path) -> None:
    """One line that leads to the supply."""

    async def goes(logger: VirtualLogger) -> None:
        pause = logger.run

        async def run(seconds: float) -> None:
            await pause(min(seconds, 5))
            if seconds == 10:
                await logger.power_off()
                await asyncio.sleep(0)

        logger.run = run  # type: ignore[method-assign]

    with pytest.raises(LinkLost, match=r"look at its supply: hardware_notes/faults\.md L"):
        report(cell(tmp_path), before=goes)


@pytest.mark.parametrize(
    ("shift", "verdict"),
    [
        (-1_875_766.0, {}),
        (-0.985 * 1_875_766, {}),
        (1_875_766.0, {}),  # held to A-
        (-0.975 * 1_875_766, {"shunt": "I"}),
        (-0.5 * 1_875_766, {"shunt": "I"}),  # gain 64
    ],
)
def test_a_resistor_across_one_arm(tmp_path: Path, shift: float, verdict: dict[str, str]) -> None:
    """100 kilohm across 350 ohm: the count moves as it must, or gain, wires and plug are named."""
    resistor, asked_s = Procedure(shunt=Shunt(100e3)), list[float]()
    report(cell(tmp_path), procedure=resistor, asked_s=asked_s)  # shows when the resistor is asked for
    on_s, off_s = asked_s
    time_s = np.arange(1, int(120 / PERIOD_S)) * PERIOD_S
    counts = 20000.0 + np.random.default_rng(7).normal(0.0, NOISE, time_s.size)
    counts += shift * ((time_s > on_s + 0.5) & (time_s < off_s + 0.5))
    feed = tmp_path / "shunt.feed"
    write_feed(feed, from_counts(time_s, np.rint(counts).astype(np.int32)))

    found = report(feed, procedure=resistor, asked_s=[])

    assert told(found, Verdict.FAILED) == verdict
    (check,) = (one for one in found.checks if one.name == "shunt")
    assert check.numbers["shunt_counts"] == pytest.approx(shift, abs=20)


def test_nobody_to_hold_a_resistor(tmp_path: Path) -> None:
    """Left out, with the reason; without --shunt the check is not there at all."""
    assert (
        "not on a terminal"
        in told(report(cell(tmp_path), procedure=Procedure(shunt=Shunt(100e3))), Verdict.LEFT_OUT)["shunt"]
    )
