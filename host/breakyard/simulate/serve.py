"""The virtual logger for anybody's client, one at a time: its cable over TCP, or at a pseudo-terminal."""

import asyncio
import os
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress

from breakyard.errors import LinkError, UsageError
from breakyard.simulate.logger import VirtualLogger

Send = Callable[[bytes], Awaitable[None]]
Receive = Callable[[], Awaitable[bytes]]


async def _bridge(logger: VirtualLogger, receive: Receive, send: Send) -> None:
    """Carry bytes both ways until the client is gone (receives nothing) or the logger is off."""
    link = logger.link()
    await link.connect()

    async def to_client() -> None:
        while True:
            await send(await link.receive())

    back = asyncio.create_task(to_client())
    try:
        with suppress(LinkError, OSError):
            while data := await receive():
                await link.send(data)
    finally:
        back.cancel()
        with suppress(asyncio.CancelledError, LinkError, OSError):
            await back
        await link.disconnect()


@asynccontextmanager
async def over_tcp(logger: VirtualLogger, port: int) -> AsyncIterator[str]:
    """Serve on a port of this computer (0: any that is free); gives the address as host:port. Raises: UsageError."""
    alone = asyncio.Lock()

    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        async def send(data: bytes) -> None:
            writer.write(data)
            await writer.drain()

        try:
            async with alone:
                await _bridge(logger, lambda: reader.read(4096), send)
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
async def at_pseudo_terminal(logger: VirtualLogger) -> AsyncIterator[str]:
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

    bridge = asyncio.create_task(_bridge(logger, arrived.get, send))
    try:
        yield os.ttyname(theirs)
    finally:
        loop.remove_reader(ours)
        bridge.cancel()
        with suppress(asyncio.CancelledError):
            await bridge
        os.close(ours)
        os.close(theirs)
