"""What a test says to the logger on an emulated chip, and how what comes back is compared with what was made."""

import asyncio
import contextlib
import os
import select
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from breakyard.device.client.client import Client
from breakyard.device.link.usb import UsbLink
from breakyard.run import Run, read_run
from breakyard.wire.frame import frame
from breakyard.wire.records import RunEnd
from chip.chip import Chip

PATIENCE_S = 120.0
"""An emulator on a busy machine is slow; nothing here is measured by the host's clock."""

T = TypeVar("T")
Counts: TypeAlias = "NDArray[np.signedinteger[Any]]"


def with_logger(chip: Chip, do: Callable[[Client], Awaitable[T]]) -> T:
    """Say something over the cable, after HELLO."""

    async def go() -> T:
        async with Client(UsbLink(chip.port), answer_timeout_s=PATIENCE_S) as client:
            await client.hello()
            return await do(client)

    return asyncio.run(go())


def at_prompt(chip: Chip, program: str) -> str:
    """What a program prints that is given to MicroPython's raw prompt; the prompt pin is to be low."""
    end = os.open(chip.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    said = b""

    def wait_for(mark: bytes) -> None:
        nonlocal said
        while mark not in said:
            select.select([end], [], [], 0.2)
            with contextlib.suppress(BlockingIOError):
                said += os.read(end, 4096)
            chip.now_ms()  # EOFError when the emulator has ended

    try:
        while b"raw REPL" not in said:  # MicroPython may not be there yet
            os.write(end, b"\x01")
            begun = chip.now_ms()
            while b"raw REPL" not in said and chip.now_ms() < begun + 500:
                with contextlib.suppress(BlockingIOError):
                    said += os.read(end, 4096)
        said = b""
        for at in range(0, len(program), 64):  # the port's queue is small
            os.write(end, program[at : at + 64].encode())
            begun = chip.now_ms()
            while chip.now_ms() < begun + 20:
                pass
        os.write(end, b"\x04")
        wait_for(b"OK")
        wait_for(b"\x04>")
    finally:
        os.close(end)
    printed, raised = said.split(b"OK", 1)[1].split(b"\x04")[:2]
    assert not raised, raised.decode()
    return printed.decode()


async def chip_time(chip: Chip, milliseconds: int) -> None:
    """Wait until so much of the chip's time has passed."""
    until = await asyncio.to_thread(chip.now_ms) + milliseconds
    while await asyncio.to_thread(chip.now_ms) < until:
        await asyncio.sleep(0.05)


async def fetch(client: Client, number: int) -> tuple[Run, RunEnd | None]:
    """A run of the store."""
    kept: list[bytes] = []
    end = await client.read_run(number, kept.append)
    return read_run(b"".join(frame(one) for one in kept)), end


def beginning(made: Counts, recorded: Counts) -> int:
    """Where what was recorded begins among the counts that the converter made: a count alone comes again and again."""
    first = recorded[:32]
    places = [
        int(k) for k in np.flatnonzero(made == first[0]) if np.array_equal(made[k : k + first.size], first)
    ]
    assert len(places) == 1, f"the first {first.size} samples come {len(places)} times"
    return places[0]


@dataclass(frozen=True, slots=True)
class Compared:
    """`missing` conversions between the first and the last sample; errors of time against the first sample, in us."""

    samples: int
    missing: int
    earliest_us: float
    latest_us: float


def compare(chip: Chip, run: Run) -> Compared:
    """Find each sample among the converter's conversions, in order; AssertionError for one that never was."""
    made = np.array(chip.ask("converter")["made"])
    counts = made[:, 1].astype(int)
    at = beginning(counts, run.counts)
    places = []
    for count in run.counts:
        near = np.flatnonzero(counts[at : at + 4096] == count)
        assert near.size, f"no conversion gave {count} after sample {len(places)}"
        at += int(near[0]) + 1
        places.append(at - 1)
    true_us = made[places, 0] - made[places[0], 0]
    error = (run.time_s - run.time_s[0]) * 1e6 - true_us
    return Compared(
        len(places), places[-1] - places[0] + 1 - len(places), float(error.min()), float(error.max())
    )
