"""The field page through this computer: live numbers and readings on every phone in reach of its network."""

from contextlib import AsyncExitStack
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated, Any

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output
from breakyard.cli.running import run_async
from breakyard.errors import BreakyardError, UsageError

if TYPE_CHECKING:
    from breakyard.calibration import Calibration
    from breakyard.session.session import Session


def command(
    session: Annotated[Path | None, typer.Argument(help="Session that gets the pulls.")] = None,
    link: LinkOption = "ble",
    port: Annotated[int, typer.Option(help="Port of the page; 0 takes a free one.", min=0, max=65535)] = 8032,
    here: Annotated[bool, typer.Option("--here", help="Only for browsers on this computer.")] = False,
    site: Annotated[
        Path | None,
        typer.Option(help="Write the page into this new folder, to be served from any https site, and stop."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Show the pulls on phones in this network, live and summarized.

    Talks to the logger, keeps and reads its runs, and serves the field page on this network. Watching is free;
    commanding needs the pairing code shown here. Ctrl-C ends it; the logger goes on by itself.

    Example: breakyard field slipway --link ble
    """
    out = Output(as_json)
    if site is not None:
        from breakyard.field.files import write_site

        written = write_site(site)
        out.say(f"{site}: {len(written)} files; HOSTING.txt there says where to put them")
        out.document({"schema": "breakyard.field/1", "site": str(site), "files": len(written)})
        return
    if session is None:
        raise UsageError("which session? Say its folder: breakyard field SESSION")
    from breakyard.session.session import open_session

    opened = open_session(session)
    try:
        run_async(_serve(out, opened, link, "127.0.0.1" if here else "", port))
    except KeyboardInterrupt:
        out.say("ended; the logger goes on by itself, and what it records is fetched next time")


async def _serve(out: Output, session: "Session", way: str, host: str, port: int) -> None:
    """Serve until Ctrl-C. Raises: UsageError, LinkError."""
    import asyncio
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    from breakyard.device.reach import make_link
    from breakyard.field.code import PairingCode
    from breakyard.field.door import Door
    from breakyard.field.files import page_files
    from breakyard.field.reading import end_with_the_command
    from breakyard.field.station import Station
    from breakyard.field.watchers import Watchers

    async with AsyncExitStack() as stack:
        simulate = hang = None
        if way == "virtual":
            folder = Path(stack.enter_context(TemporaryDirectory()))
            logger, pulls = await _virtual(stack, session, folder)
            device, simulate, hang = logger.link(), pulls.pull, pulls.hang
        else:
            device = await stack.enter_async_context(make_link(way))
        # One process, begun afresh: the reading never shares anything with the page's server.
        readers = stack.enter_context(
            ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=end_with_the_command)
        )
        watchers = Watchers()
        station = Station(
            session=session,
            link=device,
            watchers=watchers,
            readers=readers,
            simulate=simulate,
            hang=hang,
            say=out.say,
            calibration=_calibration(session, out),
            stop_load_n=_stop_load(session, out),
        )
        code = PairingCode()
        door = Door(page_files(), watchers, code, station.hello, station.carry_out)
        server = await stack.enter_async_context(door.opened(host or "0.0.0.0", port))
        taken = server.sockets[0].getsockname()[1]
        _tell(out, host, taken, code.text, way)
        await asyncio.gather(station.run(), _read_all(station))


async def _read_all(station: Any) -> None:
    """What the session holds already, for whoever opens the page."""
    from breakyard.session.pulls import PURPOSE, WEIGHING_PURPOSE

    for run in station.session.runs():
        if run.notes.specimen or run.notes.more.get(PURPOSE) == WEIGHING_PURPOSE:
            await station.read(run.name)


async def _virtual(stack: AsyncExitStack, session: "Session", folder: Path) -> tuple[Any, Any]:
    """A virtual logger and its pulls; in the demo's session the cell is the demo's, so that its calibration holds."""
    from breakyard.session.files.info import DEMO_MARK
    from breakyard.simulate.logger import VirtualLogger
    from breakyard.simulate.on_demand import PullsOnDemand
    from breakyard.simulate.scenario import boatyard

    yard = boatyard()
    if session.info.more.get("made_by") != DEMO_MARK:
        raise UsageError(
            f"{session.root}: the virtual logger's pulls are invented, and only the demo's session takes them: "
            "breakyard demo makes one"
        )
    logger = await stack.enter_async_context(VirtualLogger())
    pulls = PullsOnDemand(logger, folder, yard.cell, yard.converter)
    await pulls.quiet()
    await logger.realtime()
    return logger, pulls


def _calibration(session: "Session", out: Output) -> "Calibration | None":
    """The session's calibration, or None with a word about it."""
    from breakyard.session.in_force import load_calibration

    try:
        return load_calibration(None, session, "the live number")
    except UsageError as error:
        out.say(f"numbers are counts, not loads: {error}")
        return None


def _stop_load(session: "Session", out: Output) -> float | None:
    """The session's stop load in newtons, or None with a word where its rig cannot be read."""
    from breakyard.session.stopping import stop_load_n

    try:
        return stop_load_n(session)
    except BreakyardError as error:
        out.say(f"no stop load: {error}")
        return None


def _tell(out: Output, host: str, port: int, code: str, way: str) -> None:
    from breakyard.field.door import addresses

    places = [f"http://{address}:{port}/" for address in ([host] if host else [*addresses(), "localhost"])]
    out.say(
        f"Open on this computer: {places[0]}"
        if host
        else f"Open on a phone in the same network: {places[0]}   (on this computer: http://localhost:{port}/)"
    )
    out.say(f"Pairing code, for whoever may command: {code[:4]} {code[4:]}")
    if not out.as_json:
        import sys

        import segno

        # The code stands behind the #, which a browser sends to nobody.
        segno.make(f"{places[0]}#code={code}", error="m").terminal(sys.stdout, compact=True)
    if way == "virtual":
        out.say('Everything here is invented. On the page: "Wait for the pull", then "Simulate a pull".')
    out.say("Ctrl-C ends it; the logger's own store keeps every run.")
    out.document({"schema": "breakyard.field/1", "pages": places, "code": code, "link": way})
