"""breakyard logger virtual: the logger's firmware on this computer, for anybody's client."""

import sys
import threading
from collections.abc import AsyncIterator
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from breakyard.cli.output import JsonOption, Output
from breakyard.cli.running import run_async
from breakyard.errors import UsageError


def command(
    tcp: Annotated[
        int | None,
        typer.Option("--tcp", help="Serve on this TCP port of this computer; 0: any that is free."),
    ] = None,
    pty: Annotated[
        bool, typer.Option("--pty", help="Serve at a pseudo-terminal, to be opened like a serial port.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Run the virtual logger on this computer, for any client.

    One client at a time; Enter pulls its cell, Ctrl-C ends it. It is the firmware itself, in a real interpreter, with a
    cable's bytes; time follows the clock. protocol/README.md tells how to try a client against it.
    """
    if (tcp is None) != pty:
        raise UsageError("say --tcp PORT or --pty, one of them")
    out = Output(as_json)
    with suppress(KeyboardInterrupt):
        run_async(_serve(tcp, out))


async def _serve(tcp: int | None, out: Output) -> None:
    from breakyard.device.reach import simulated_pull
    from breakyard.simulate.logger import VirtualLogger
    from breakyard.simulate.serve import at_pseudo_terminal, over_tcp

    with TemporaryDirectory() as folder:
        feed = simulated_pull(Path(folder), False)
        async with VirtualLogger() as logger:
            await logger.load(simulated_pull(Path(folder), True))
            await logger.realtime()
            served = at_pseudo_terminal(logger) if tcp is None else over_tcp(logger, tcp)
            async with served as where:
                out.say(f"the virtual logger is at {where}; Enter pulls its cell, Ctrl-C ends it")
                async for _ in _lines():
                    await logger.load(feed)
                    out.say("pulling: quiet for ten seconds, then to a break at 300 kgf")


async def _lines() -> AsyncIterator[str]:
    """Lines of standard input as they come; goes on waiting after its end."""
    import asyncio

    loop = asyncio.get_running_loop()
    came: asyncio.Queue[str] = asyncio.Queue()

    def read() -> None:
        for line in sys.stdin:
            with suppress(RuntimeError):  # the event loop has ended
                loop.call_soon_threadsafe(came.put_nowait, line)

    # A daemon, so that Ctrl-C does not wait for another line.
    threading.Thread(target=read, daemon=True).start()
    while True:
        yield await came.get()
