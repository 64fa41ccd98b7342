"""breakyard logger arm and stop: the logger records by itself, whether this computer stays or goes."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output
from breakyard.cli.running import run_async
from breakyard.device.reach import reach_way
from breakyard.device.room import ask_room, room_lines
from breakyard.report.words.printable import printable


def arm(
    link: LinkOption = "ble",
    now: Annotated[bool, typer.Option("--now", help="Record at once, without waiting for a load.")] = False,
    session: Annotated[
        Path | None, typer.Option(help="Session that the pulls are for: is there room for all of them?")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Let the logger wait for the pull and record it by itself.

    This computer may go away meanwhile.

    Example: breakyard logger arm --link ble:9f3c
    """

    from breakyard.session.session import open_session

    out = Output(as_json)
    opened = open_session(session) if session is not None else None

    async def do() -> tuple[int, int, str]:
        async with reach_way(link) as client:
            status = await ask_room(client)
            said, warning = room_lines(opened, status)
            out.say(said)
            if warning:
                print(printable(warning), file=sys.stderr)
            await client.synchronise()
            return await (client.start() if now else client.arm()), status.seconds_left, warning

    run, seconds_left, warning = run_async(do())
    out.say(f"run {run} {'has begun' if now else 'begins with the load'}; fetch it afterwards")
    out.document(
        {
            "schema": "breakyard.logger.arm/1",
            "run": run,
            "recording": now,
            "seconds_left_s": seconds_left,
            "warning": warning or None,
        }
    )


def stop(link: LinkOption = "ble", as_json: JsonOption = False) -> None:
    """End the run that is being recorded, or disarm.

    Example: breakyard logger stop --link usb
    """

    async def do() -> int:
        async with reach_way(link) as client:
            return await client.stop()

    run = run_async(do())
    out = Output(as_json)
    out.say(f"run {run} has ended" if run else "nothing was being recorded")
    out.document({"schema": "breakyard.logger.stop/1", "run": run or None})
