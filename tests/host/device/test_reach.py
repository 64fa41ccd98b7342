"""The way to a logger by its name."""

import asyncio
from pathlib import Path

import as_windows
import pytest

from breakyard.device import reach


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="looks for open files in /proc")
def test_the_virtual_loggers_folder_goes_after_its_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows removes no folder in which a process has a file open, and the command would end with that error."""
    monkeypatch.setattr(reach, "TemporaryDirectory", as_windows.TemporaryDirectory)

    async def say_hello() -> bytes:
        async with reach.reach_way("virtual", calm=True) as client:
            assert client.identity is not None
            return client.identity.serial

    assert asyncio.run(say_hello())
