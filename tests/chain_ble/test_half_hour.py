"""A run of half an hour over the air: as it is, cut at every tenth, its host killed, its logger reset.

It is recorded once, by the firmware on its flash store at 150 samples a second; each test gets a copy of that flash.
The tests form a group, so that one worker has them all.
"""

import asyncio
import os
import shutil
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from over_breaks import fetch_over_breaks

from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.run import read_run
from breakyard.simulate.logger import VirtualLogger
from breakyard.wire.layout import LINK_SILENCE

from .conftest import BOARD, KEY, PATIENCE_S, RATE_HZ, SERIAL, Chain

pytestmark = pytest.mark.xdist_group("half hour")

MINUTES = 30
CAPACITY = ("--capacity", "3000000")
REST_S = 0.01
"""Real time left to a command after each 30 ms of device time, as its own time-outs follow the real clock."""

Tell = Callable[..., None]
Feed = Callable[[float], Path]


@dataclass(frozen=True)
class HalfHour:
    """The run in a logger's flash, and as the cable gives it."""

    flash: Path
    run: int
    whole: bytes
    samples: int


@pytest.fixture(scope="session")
def half_hour(feed: Feed, tmp_path_factory: pytest.TempPathFactory, micropython: str) -> HalfHour:
    """Recorded as fast as the interpreter can."""
    folder = tmp_path_factory.mktemp("half-hour")
    flash = folder / "flash"
    flash.mkdir()

    async def record() -> HalfHour:
        async with VirtualLogger("micropython", (*BOARD, *CAPACITY, "--runs", str(flash))) as logger:
            await logger.load(feed(MINUTES * 60 + 30))
            async with Client(logger.link(), answer_timeout_s=PATIENCE_S) as client:
                run = await client.start()
                for _ in range(MINUTES * 6):
                    await logger.run(10)
                await client.stop()
                await logger.run(2)
                end = await fetch(client, run, folder / "cable.run")
        assert end is not None
        assert end.missed == 0
        return HalfHour(flash, run, (folder / "cable.run").read_bytes(), end.samples)

    return asyncio.run(record())


@pytest.fixture
def own_flash(half_hour: HalfHour, tmp_path: Path) -> tuple[str, ...]:
    """Options of a board whose flash holds the run."""
    shutil.copytree(half_hour.flash, tmp_path / "flash")
    return (*CAPACITY, "--runs", str(tmp_path / "flash"))


def test_half_an_hour_comes_byte_for_byte_at_under_six_bytes_a_sample(
    chain: Tell, half_hour: HalfHour, own_flash: tuple[str, ...], tmp_path: Path
) -> None:
    """All of it, complete; what was notified, framing, answers and receipts included, is 5.66 bytes a sample."""
    path = tmp_path / "air.run"

    async def story(chain: Chain) -> None:
        async with chain.client() as client:
            before = chain.air.notified_bytes
            end = await fetch(client, half_hour.run, path)
            notified = chain.air.notified_bytes - before

        assert end is not None
        assert end.samples == half_hour.samples >= MINUTES * 60 * RATE_HZ
        assert path.read_bytes() == half_hour.whole
        run = read_run(path.read_bytes())
        assert run.loss.complete
        assert len(run.counts) == half_hour.samples
        assert notified / half_hour.samples < 5.68

    chain(story, options=own_flash, packets=8, buffers=16)


def test_half_an_hour_cut_at_every_tenth(
    chain: Tell, half_hour: HalfHour, own_flash: tuple[str, ...], tmp_path: Path
) -> None:
    """The link is lost at each tenth of the bytes, in the middle of whatever was under way; the file is the same."""
    path = tmp_path / "air.run"

    async def story(chain: Chain) -> None:
        cuts = [len(half_hour.whole) * tenth // 10 for tenth in range(1, 10)]

        async def watch() -> None:
            if cuts and path.exists() and path.stat().st_size >= cuts[0]:
                del cuts[0]
                await chain.air.drop_link()

        chain.air.on_slice = watch

        async def connect() -> Client:
            return chain.client()

        end = await fetch_over_breaks(connect, half_hour.run, path)
        chain.air.on_slice = None

        assert end is not None
        assert not cuts
        assert chain.bluez.connects == 10
        assert path.read_bytes() == half_hour.whole

    chain(story, options=own_flash, packets=8, buffers=16)


def test_half_an_hour_with_the_logger_reset_in_the_middle(
    chain: Tell, half_hour: HalfHour, own_flash: tuple[str, ...], tmp_path: Path
) -> None:
    """It loses its power half-way; run and key are in its flash, and the rest is fetched after its start."""
    path = tmp_path / "air.run"

    async def story(chain: Chain) -> None:
        resets = 0

        async def watch() -> None:
            nonlocal resets
            if not resets and path.exists() and path.stat().st_size > len(half_hour.whole) // 2:
                resets += 1
                await chain.air.reset()

        chain.air.on_slice = watch

        async def connect() -> Client:
            return chain.client()

        end = await fetch_over_breaks(connect, half_hour.run, path)

        assert resets == 1
        assert end is not None
        assert path.read_bytes() == half_hour.whole

    chain(story, options=own_flash, packets=8, buffers=16)


def test_half_an_hour_with_the_host_killed_in_the_middle(
    chain: Tell, half_hour: HalfHour, own_flash: tuple[str, ...], tmp_path: Path
) -> None:
    """kill -9 of the command `breakyard logger fetch`; given again, it completes what it left.

    The system keeps the dead program's connection (bluez issue 89); the logger ends it by its own 5 s of silence.
    """
    keys = tmp_path / "keys.json"
    keys.write_text(f'{{"{SERIAL}": "{KEY.hex()}"}}')
    folder = tmp_path / "pulls"
    folder.mkdir()
    words = (
        sys.executable,
        "-m",
        "breakyard",
        "logger",
        "fetch",
        "--link",
        f"ble:{SERIAL}",
        "--into",
        str(folder),
    )
    environment = {**os.environ, "BREAKYARD_KEYS": str(keys)}

    async def story(chain: Chain) -> None:
        host = await asyncio.create_subprocess_exec(
            *words, env=environment, stderr=asyncio.subprocess.DEVNULL
        )

        async def watch() -> None:
            if any(part.stat().st_size > len(half_hour.whole) // 2 for part in folder.glob("*.part")):
                host.send_signal(signal.SIGKILL)
                chain.air.on_slice = None

        chain.air.on_slice = watch
        await host.wait()
        assert host.returncode == -signal.SIGKILL
        (part,) = folder.iterdir()
        left = read_run(part.read_bytes())
        assert not left.loss.complete
        assert len(left.counts) > half_hour.samples // 3
        size = part.stat().st_size

        chain.air.rest_s = 0
        await chain.device_time(LINK_SILENCE / 1000 + 1)
        chain.air.rest_s = REST_S
        before = chain.air.notified_bytes
        again = await asyncio.create_subprocess_exec(
            *words, env=environment, stderr=asyncio.subprocess.DEVNULL
        )
        await again.wait()

        assert again.returncode == 0
        (whole,) = folder.iterdir()
        assert whole.suffix == ".run"
        assert whole.read_bytes() == half_hour.whole
        rest = len(half_hour.whole) - size
        assert chain.air.notified_bytes - before < 1.01 * rest + 10_000  # receipts, answers

    chain(story, options=own_flash, packets=8, buffers=16, rest_s=REST_S, silence_s=0)
