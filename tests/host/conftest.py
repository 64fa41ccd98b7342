"""What several rooms' tests need."""

import asyncio

import pytest

from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.simulate.logger import VirtualLogger


@pytest.fixture(scope="session")
def two_runs(tmp_path_factory: pytest.TempPathFactory, micropython: str) -> tuple[bytes, bytes]:
    """Two runs of one virtual logger, as they lie in its store."""
    folder = tmp_path_factory.mktemp("runs")

    async def record() -> list[bytes]:
        found = []
        async with VirtualLogger("micropython") as logger, Client(logger.link()) as client:
            for name in ("a", "b"):
                run = await client.start()
                await logger.run(1.5)
                await client.stop()
                await fetch(client, run, folder / name)
                found.append((folder / name).read_bytes())
        return found

    first, second = asyncio.run(record())
    return first, second
