"""Links inside one process: to a function that plays the logger, and a link that fails on command."""

import asyncio
from collections.abc import Callable, Iterable

from breakyard.device.link.base import Link
from breakyard.errors import LinkLost


class MemoryLink:
    """A link to a function that is given bytes and returns the chunks that come back.

    Does not simulate: time, packet loss, reordering.
    """

    max_packet = 4096
    read_records = 64

    def __init__(self, handler: Callable[[bytes], Iterable[bytes]]) -> None:
        self._handler = handler
        self._incoming: asyncio.Queue[bytes] = asyncio.Queue()
        self._open = False

    async def connect(self) -> None:
        self._open = True

    async def disconnect(self) -> None:
        self._open = False

    async def send(self, data: bytes) -> None:
        if not self._open:
            raise LinkLost("the link is closed; connect again")
        for chunk in self._handler(data):
            self._incoming.put_nowait(chunk)

    async def receive(self) -> bytes:
        if not self._open:
            raise LinkLost("the link is closed; connect again")
        return await self._incoming.get()


class CutLink:
    """A link that breaks after some bytes have come through, as a radio does at the edge of its range.

    Args:
        inner: the link that carries the bytes.
        after_bytes: how many incoming bytes pass before each break; the rest of that chunk is lost. When the
            numbers are used up the link holds.
    """

    def __init__(self, inner: Link, after_bytes: Iterable[int]) -> None:
        self._inner = inner
        self._cuts = iter(after_bytes)
        self._left = next(self._cuts, None)
        self._broken = False
        self.max_packet = inner.max_packet
        self.read_records = inner.read_records
        self.cut_count = 0

    async def connect(self) -> None:
        await self._inner.connect()
        self._broken = False

    async def disconnect(self) -> None:
        await self._inner.disconnect()

    async def send(self, data: bytes) -> None:
        if self._broken:
            raise LinkLost("the link broke; connect again")
        await self._inner.send(data)

    async def receive(self) -> bytes:
        if self._broken:
            raise LinkLost("the link broke; connect again")
        chunk = await self._inner.receive()
        if self._left is None:
            return chunk
        if len(chunk) < self._left:
            self._left -= len(chunk)
            return chunk
        kept, self._left = chunk[: self._left], next(self._cuts, None)
        self._broken = True
        self.cut_count += 1
        if not kept:
            raise LinkLost("the link broke; connect again")
        return kept
