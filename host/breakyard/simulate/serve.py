"""The virtual logger for anybody's client, one at a time: its cable over TCP, or at a pseudo-terminal."""

import asyncio
import os
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress

from breakyard.device.link.base import Link
from breakyard.errors import LinkError, UsageError

Send = Callable[[bytes], Awaitable[None]]
Receive = Callable[[], Awaitable[bytes]]


async def _bridge(link: Link, receive: Receive, send: Send) -> None:
    """Carry bytes both ways until the client is gone (receives nothing), or the logger ends the link or is off."""
    await link.connect()

    async def to_client() -> None:
        with suppress(LinkError, OSError):
            while True:
                await send(await link.receive())

    async def to_logger() -> None:
        with suppress(LinkError, OSError):
            while data := await receive():
                await link.send(data)

    tasks = [asyncio.create_task(to_client()), asyncio.create_task(to_logger())]
    try:
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        with suppress(LinkError):
            await link.disconnect()


@asynccontextmanager
async def over_tcp(make_link: Callable[[], Link], port: int) -> AsyncIterator[str]:
    """Serve on a port of this computer (0: any that is free); gives the address as host:port. Raises: UsageError.

    `make_link` gives each client the link to the logger: its `link`, or a radio link.
    """
    alone = asyncio.Lock()

    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        async def send(data: bytes) -> None:
            writer.write(data)
            await writer.drain()

        try:
            async with alone:
                await _bridge(make_link(), lambda: reader.read(4096), send)
        finally:
            writer.close()

    try:
        server = await asyncio.start_server(handle, "127.0.0.1", port)
    except (OSError, OverflowError) as error:
        raise UsageError(f"port {port}: {error}; choose another, or 0 for any that is free") from error
    async with server:
        host, taken = server.sockets[0].getsockname()[:2]
        yield f"{host}:{taken}"


@asynccontextmanager
async def at_pseudo_terminal(make_link: Callable[[], Link]) -> AsyncIterator[str]:
    """Serve at a pseudo-terminal; gives its name, to be opened like a serial port. Raises: UsageError."""
    if sys.platform == "win32":
        raise UsageError("there are no pseudo-terminals on this system; use --tcp")
    import tty

    ours, theirs = os.openpty()
    tty.setraw(theirs)
    loop = asyncio.get_running_loop()
    arrived: asyncio.Queue[bytes] = asyncio.Queue()
    loop.add_reader(ours, lambda: arrived.put_nowait(os.read(ours, 4096)))

    async def send(data: bytes) -> None:
        await asyncio.to_thread(os.write, ours, data)

    async def serve() -> None:
        while True:  # a link that the logger ended is made again
            await _bridge(make_link(), arrived.get, send)

    bridge = asyncio.create_task(serve())
    try:
        yield os.ttyname(theirs)
    finally:
        loop.remove_reader(ours)
        bridge.cancel()
        with suppress(asyncio.CancelledError):
            await bridge
        os.close(ours)
        os.close(theirs)
