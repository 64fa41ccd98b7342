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
    radio: Annotated[
        bool,
        typer.Option(
            "--radio",
            help="By the rules of the air: with a key, which is shown, receipts, and an end after 5 s of silence.",
        ),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Run the virtual logger on this computer, for any client.

    One client at a time; Enter pulls its cell, Ctrl-C ends it. It is the firmware itself, in a real interpreter; time
    follows the clock. Bytes come as over a cable, or with --radio as a central would write them and be notified of.
    protocol/README.md tells how to try a client against it.
    """
    if (tcp is None) != pty:
        raise UsageError("say --tcp PORT or --pty, one of them")
    out = Output(as_json)
    with suppress(KeyboardInterrupt):
        run_async(_serve(tcp, radio, out))


async def _serve(tcp: int | None, radio: bool, out: Output) -> None:
    from breakyard.device.client.auth import new_key
    from breakyard.device.client.client import Client
    from breakyard.device.reach import simulated_pull
    from breakyard.simulate.logger import VirtualLogger
    from breakyard.simulate.radio_link import RADIO_OPTIONS, RadioLink
    from breakyard.simulate.serve import at_pseudo_terminal, over_tcp

    with TemporaryDirectory() as folder:
        feed = simulated_pull(Path(folder), False)
        logger = VirtualLogger(options=RADIO_OPTIONS if radio else ())
        air = RadioLink(logger)
        async with logger:
            await logger.load(simulated_pull(Path(folder), True))
            if radio:
                key = new_key()
                async with Client(logger.link()) as client:
                    await client.set_key(key)
                out.say(f"its key is {key.hex()}; without it live numbers are open, and nothing else")
            await logger.realtime()
            make_link = (lambda: air) if radio else logger.link
            served = at_pseudo_terminal(make_link) if tcp is None else over_tcp(make_link, tcp)
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
