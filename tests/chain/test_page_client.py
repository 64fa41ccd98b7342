"""The page's client, in node, against the firmware itself over TCP: as over a cable, and by the rules of the air."""

import asyncio
import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from breakyard.device.client.auth import new_key
from breakyard.device.client.client import Client
from breakyard.run import read_run
from breakyard.simulate.logger import VirtualLogger
from breakyard.simulate.radio_link import RADIO_OPTIONS, RadioLink
from breakyard.simulate.serve import over_tcp
from breakyard.wire.frame import frame

PROGRAM = Path(__file__).parents[1] / "page" / "wire" / "over_tcp.mjs"


async def told(node: str, *words: str) -> dict[str, Any]:
    """What the program printed."""
    process = await asyncio.create_subprocess_exec(
        node, str(PROGRAM), *words, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
    )
    out, err = await process.communicate()
    assert process.returncode == 0, err.decode()
    found: dict[str, Any] = json.loads(out)
    return found


@pytest.mark.parametrize("radio", [False, True])
def test_the_page_s_client_records_and_reads_what_the_cable_reads(micropython: str, radio: bool) -> None:
    """Followed live and read again, with receipts and seals by radio: the bytes are those of the store."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("no node (20 or later)")

    async def story() -> None:
        logger = VirtualLogger("micropython", RADIO_OPTIONS if radio else ())
        air = RadioLink(logger)
        key = new_key()
        async with logger:
            async with Client(logger.link()) as cable:
                if radio:
                    await cable.set_key(key)
            await logger.realtime()
            async with over_tcp((lambda: air) if radio else logger.link, 0) as where:
                found = await told(node, *where.split(":"), *([key.hex()] if radio else []))
            records: list[bytes] = []
            async with Client(logger.link()) as cable:
                end = await cable.read_run(found["run"], records.append)

        assert end is not None
        assert found["samples"] == end.samples >= 80
        assert found["bytes"] == found["again"] == b"".join(map(frame, records)).hex()
        assert found["listed"] == [[1, True]]
        assert ("NOT_ALLOWED" in found["refused"]) is radio
        (mark,) = read_run(bytes.fromhex(found["bytes"])).marks
        assert mark.text == "from the page"

    asyncio.run(story())
