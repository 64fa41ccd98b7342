"""Fetching over a link that breaks, as a test does it: connect again and go on."""

from collections.abc import Awaitable, Callable
from pathlib import Path

from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch, kept_part
from breakyard.errors import LinkError, LinkLost
from breakyard.wire.records import RunEnd


async def fetch_over_breaks(
    connect: Callable[[], Awaitable[Client]], run: int, path: Path, *, tries: int = 10
) -> RunEnd | None:
    """Fetch a run over a link that breaks: connect again and go on, up to `tries` breaks without any progress.

    Raises: LinkLost when the link brings nothing any more.
    """
    barren = 0
    while True:
        before = kept_part(path, run)
        try:
            async with await connect() as client:
                return await fetch(client, run, path)
        except LinkError as error:
            barren = 0 if kept_part(path, run) > before else barren + 1
            if barren >= tries:
                raise LinkLost(f"the link broke {tries} times without bringing anything: {error}") from error
