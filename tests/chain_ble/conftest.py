"""The whole chain in one process (but for the board's interpreter and the bus): see support/ble_air."""

import asyncio
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from ble_air.private_bus import PrivateBus, missing

from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.device.link.ble import BleLink
from breakyard.simulate.logger import VirtualLogger

RATE_HZ = 150
PATIENCE_S = 60.0
"""Real seconds that a host on a busy machine may need; nothing waits so long when all is well."""

SERIAL = "0102030405060708"
KEY = bytes(range(7, 39))
BOARD = ("--serial", SERIAL, "--interval-us", str(1_000_000 // RATE_HZ))
"""Options of the board in all these tests."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Say what is missing instead of failing, where the chain cannot be put together."""
    lacks = [missing()] if missing() else []
    packages = [name for name in ("bumble", "dbus_fast", "bleak") if find_spec(name) is None]
    if packages:
        lacks.append(f"no Python package {' and '.join(packages)} (pip install 'breakyard[air]')")
    if sys.platform != "linux":
        lacks = ["bleak's BlueZ backend runs on Linux only"]
    if lacks:
        for item in items:
            if Path(__file__).parent in item.path.parents:
                item.add_marker(pytest.mark.skip(reason="; ".join(lacks)))


@pytest.fixture
def bus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A bus that bleak takes for the system's."""
    with PrivateBus(tmp_path) as private:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", private.address)
        yield private


class BusyLink(BleLink):
    """Tells whether it is writing, so that the air waits for it."""

    writing = 0

    async def _write(self, data: bytes, inflow: Any) -> None:
        BusyLink.writing += 1
        try:
            await super()._write(data, inflow)
        finally:
            BusyLink.writing -= 1


@dataclass
class Chain:
    """A board in the air and a computer's Bluetooth that can reach it."""

    air: Any
    bluez: Any
    logger: VirtualLogger

    def link(self) -> BleLink:
        """A link as a program on this computer has it, with more patience."""
        return BusyLink(SERIAL[-8:], lost_after_s=PATIENCE_S)

    def client(self, key: bytes | None = KEY, **more: Any) -> Client:
        """A client over the air that has the key."""
        return Client(self.link(), answer_timeout_s=PATIENCE_S, key=key, **more)

    @asynccontextmanager
    async def over_cable(self) -> AsyncIterator[Client]:
        """Talk over the cable meanwhile; the air stands still between its messages only."""
        async with Client(self.logger.link(), answer_timeout_s=PATIENCE_S) as client:
            yield client

    async def device_time(self, seconds: float) -> None:
        """Wait until that much device time has passed."""
        until = self.logger.now_ms + seconds * 1000
        async with self.air.moved:
            await self.air.moved.wait_for(lambda: self.logger.now_ms >= until)

    async def record(self, seconds: float) -> int:
        """Record so long, by command over the cable; returns the run's number."""
        async with self.over_cable() as client:
            run = await client.start()
            await self.device_time(seconds)
            await client.stop()
        await self.device_time(2)
        return run

    async def whole(self, run: int, folder: Path) -> bytes:
        """The run as the cable gives it."""
        path = folder / "cable.run"
        path.unlink(missing_ok=True)
        async with self.over_cable() as client:
            assert await fetch(client, run, path) is not None
        return path.read_bytes()


Story = Callable[[Chain], Awaitable[None]]


@pytest.fixture
def chain(bus: PrivateBus, micropython: str) -> Callable[..., None]:
    """Run an asynchronous story with a chain; parameters of the air and the board by name.

    `silence_s`: device time after which the logger ends the link of a silent host; 0: its own 5 s. A story whose
    device time runs ahead of the host's clock gives the host more.
    """

    def tell(
        story: Story,
        *,
        options: tuple[str, ...] = (),
        host_mtu: int = 247,
        slice_s: float = 0.03,
        rest_s: float = 0.0,
        silence_s: float = PATIENCE_S,
        **air_parameters: Any,
    ) -> None:
        from ble_air.air import Air
        from ble_air.bluez import Bluez

        async def all_of_it() -> None:
            radio = ("--radio", "1", "--silence-ms", str(int(silence_s * 1000)))
            logger = VirtualLogger("micropython", (*BOARD, *radio, *options))
            air = Air(logger, slice_s=slice_s, rest_s=rest_s)
            air.parameters |= air_parameters
            air.host_writes = lambda: BusyLink.writing > 0
            async with air, Bluez(bus.address, air.link, host_mtu=host_mtu) as bluez:
                made = Chain(air, bluez, logger)
                async with made.over_cable() as client:
                    await client.set_key(KEY)
                await story(made)

        asyncio.run(all_of_it())

    return tell


@pytest.fixture(scope="session")
def feed(tmp_path_factory: pytest.TempPathFactory) -> Callable[[float], Path]:
    """Feed files of so many seconds at 150 samples a second: counts that no two samples share. Invented data."""

    def make(seconds: float) -> Path:
        path: Path = tmp_path_factory.mktemp("feed") / "noise.feed"
        number = int(seconds * RATE_HZ)
        draw = np.random.default_rng(6)
        table = np.empty(number, dtype=[("us", "<u4"), ("counts", "<i4")])
        table["us"] = np.arange(1, number + 1) * (1_000_000 // RATE_HZ) + draw.integers(-40, 41, number)
        table["counts"] = draw.integers(-4_000_000, 4_000_000, number)
        path.write_bytes(table.tobytes())
        return path

    return make
