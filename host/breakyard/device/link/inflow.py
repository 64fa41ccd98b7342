"""What has come in over a link and was not taken yet."""

import asyncio
from typing import Final

from breakyard.errors import LinkLost

MAX_WAITING: Final = 4 << 20
"""Bytes that may wait. A logger sends at most a few kilobytes unasked, so more than this is a faulty or hostile one."""

PACKET: Final = 64
"""Bytes that a packet is taken to cost besides what is in it, or one of many tiny packets would cost far more."""


class Inflow:
    """A queue of packets with an end: closed, it hands out what it has and then raises LinkLost, each time."""

    def __init__(self) -> None:
        self._packets: asyncio.Queue[bytes] = asyncio.Queue()
        self._waiting = 0
        self._reason = ""
        self.closed = asyncio.Event()

    def put(self, data: bytes) -> None:
        """Add a packet; an empty one is nothing, and what comes after the end is lost."""
        if self._reason or not data:
            return
        if self._waiting + len(data) + PACKET > MAX_WAITING:
            self.close("the logger sends more than it was asked for; is it one of ours?")
            return
        self._waiting += len(data) + PACKET
        self._packets.put_nowait(data)

    def close(self, reason: str) -> None:
        """Say why nothing more will come; the first reason counts."""
        if not self._reason:
            self._reason = reason
            self.closed.set()
            self._packets.put_nowait(b"")

    def check(self) -> None:
        """Raises: LinkLost if it was closed."""
        if self._reason:
            raise LinkLost(self._reason)

    async def take(self) -> bytes:
        """Wait for a packet that is not empty. Raises: LinkLost."""
        while True:
            data = await self._packets.get()
            if data:
                self._waiting -= len(data) + PACKET
                return data
            if self._reason:
                self._packets.put_nowait(b"")  # for whoever asks next
                raise LinkLost(self._reason)
