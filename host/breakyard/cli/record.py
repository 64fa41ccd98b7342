"""Record one pull: arm, live number and peak, stop, fetch, attach to the next specimen."""

import asyncio
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output, UnitOption, printable
from breakyard.device.keeping import Keeper, Kept
from breakyard.device.reach import make_link, pause_s, reach, run_name
from breakyard.device.room import ask_room, room_lines
from breakyard.errors import LinkError, UsageError

if TYPE_CHECKING:
    from breakyard.device.client.client import Client
    from breakyard.device.link.base import Link
    from breakyard.wire.records import Status


def command(
    folder: Annotated[Path, typer.Argument(help="Session, or any folder, that gets the run.")] = Path("."),
    link: LinkOption = "ble",
    specimen: Annotated[
        str | None, typer.Option("--specimen", "-s", help="Its id; default: the next one without a run.")
    ] = None,
    now: Annotated[
        bool, typer.Option("--now", help="Record at once, until Ctrl-C or --seconds; for a calibration.")
    ] = False,
    seconds: Annotated[float | None, typer.Option(help="End the run after so long.", min=1)] = None,
    calibration: Annotated[
        Path | None,
        typer.Option("--calibration", "-c", help="For the live number; default: the session's own."),
    ] = None,
    erase: Annotated[
        bool, typer.Option("--erase", help="Let the logger erase the run once it is here.")
    ] = False,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Record one pull with live numbers, and keep it for the next specimen.

    Ctrl-C ends the run, never loses it. If the link breaks the logger records on; the run is fetched when it is back.

    Example: breakyard record slipway --link ble
    """
    out = Output(as_json)
    keeper = Keeper(folder)
    chosen = _specimen(keeper, specimen, now)
    show = _Display(out, _live(keeper, calibration, unit))
    job = _Job(keeper, chosen, now, seconds, show)
    with _ctrl_c_ends(job):
        kept = asyncio.run(_record(link, job, erase))
    show.end()
    if kept is None:
        out.say("nothing was recorded")
    else:
        out.say(
            f"{kept.path}{f' for {chosen}' if chosen else ''}: {'complete' if kept.complete else 'NOT complete'}"
        )
    out.document(
        {
            "schema": "breakyard.record/1",
            "run": job.run or None,
            "file": str(kept.path) if kept else None,
            "specimen": chosen or None,
            "complete": bool(kept and kept.complete),
            "seconds_left_s": job.seconds_left,
            "warning": job.warning or None,
        }
    )
    if kept is None or not kept.complete:
        raise typer.Exit(1)


def _specimen(keeper: Keeper, named: str | None, now: bool) -> str:
    """The specimen that the run belongs to, or nothing. Raises: UsageError."""
    session = keeper.session
    if session is None:
        if named is not None:
            raise UsageError("--specimen needs a session, which has a table of specimens")
        return ""
    known = [
        one.id for one in sorted(session.specimens(), key=lambda one: (one.order is None, one.order or 0))
    ]
    if named is not None:
        if named not in known:
            raise UsageError(f'no specimen "{named}" in {session.layout.specimens_file}; add it there first')
        return named
    if now:
        return ""
    done = {run.notes.specimen for run in session.runs()}
    return next((one for one in known if one not in done), "")


class _Display:
    """One line in the terminal that is written over and over."""

    def __init__(self, out: Output, words: Any) -> None:
        self._out = out
        self._quiet = out.as_json or not sys.stderr.isatty()
        self._words = words
        self._shown_s = 0.0

    def say(self, text: str) -> None:
        """A line that stays."""
        self._out.say(text)

    def status(self, status: "Status") -> None:
        """Show a status, a few times a second at most."""
        if time.monotonic() - self._shown_s > 0.1:
            self.line(self._words(status))

    def line(self, text: str) -> None:
        """Show a text in place of the last."""
        if not self._quiet:
            self._shown_s = time.monotonic()
            print(f"\r{printable(text):<78.78}", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        """Leave the line."""
        if not self._quiet and self._shown_s:
            print(file=sys.stderr)


def _live(keeper: Keeper, calibration: Path | None, unit: str | None) -> Any:
    """A function from a status to words: counts, or force if there is a calibration."""
    from breakyard.units import force_unit, from_newtons
    from breakyard.wire.layout import State

    session = keeper.session
    made: Any = None
    if calibration is not None or (session is not None and session.calibrations()):
        from breakyard.session.in_force import load_calibration

        made = load_calibration(calibration, session, "the live number")
    shown = force_unit(unit) if unit else session.info.unit if session else "N"

    def number(counts: int, zero: int) -> str:
        if made is None:
            return f"{counts - zero:+9d} counts"
        return f"{from_newtons(float(made.load_n(counts, zero)), shown):8.1f} {shown}"

    def words(status: "Status") -> str:
        now = number(status.counts, status.baseline_counts)
        if status.state == State.RECORDING:
            peak = number(status.extreme_counts, status.baseline_counts)
            return f"recording  {now}  largest {peak}  {status.samples} samples"
        if status.state == State.ARMED:
            return f"armed, waiting for the pull  {now}"
        if status.state == State.FAULT:
            return "the converter does not deliver"
        return f"fetching ...  {now}"

    return words


@dataclass
class _Job:
    """What is being done, over all connections."""

    keeper: Keeper
    specimen: str
    now: bool
    seconds: float | None
    show: _Display
    run: int = 0
    name: str = ""
    stop_wanted: bool = False
    stopped: bool = False
    began_s: float = 0.0
    seconds_left: int = 0
    warning: str = ""

    def tell_room(self, status: "Status") -> None:
        """Say how long the store will take samples; a warning goes to standard error, where --json lets it through."""
        said, self.warning = room_lines(self.keeper.session, status)
        self.seconds_left = status.seconds_left
        self.show.say(said)
        if self.warning:
            print(self.warning, file=sys.stderr)

    @property
    def should_stop(self) -> bool:
        """True once the run is to be ended and was not yet."""
        late = self.seconds is not None and self.began_s and time.monotonic() - self.began_s > self.seconds
        return (self.stop_wanted or bool(late)) and not self.stopped


@contextmanager
def _ctrl_c_ends(job: _Job) -> Iterator[None]:
    """The first Ctrl-C ends the run, the second gives up."""

    def handle(*_: object) -> None:
        if job.stop_wanted:
            raise KeyboardInterrupt
        job.stop_wanted = True

    before = signal.signal(signal.SIGINT, handle)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


async def _record(way: str, job: _Job, erase: bool) -> Kept | None:
    """Go through with it over as many connections as it takes. Raises: LinkError only before the run began."""
    async with make_link(way) as link:
        attempt = 0
        while True:
            try:
                kept = await _once(link, job)
                if kept is None or not kept.complete:
                    return kept
                if erase and kept.sha256 is not None:
                    async with reach(link) as client:
                        await client.erase(job.run, kept.sha256)
                return kept
            except LinkError as error:
                if not job.run:
                    raise
                job.show.line(f"link lost, the logger records on: {error}")
                await asyncio.sleep(pause_s(attempt))
                attempt += 1


async def _once(link: "Link", job: _Job) -> Kept | None:
    """One connection: begin if it has not begun, follow to the end, keep. None if nothing was recorded."""
    async with reach(link) as client:
        assert client.identity is not None
        if not job.run:
            job.tell_room(await ask_room(client))
            await client.synchronise()
            job.run = await (client.start() if job.now else client.arm())
            job.name = _base_name(job, client.identity.serial)
        await client.stream_status(True)
        if not await _watch(client, job):
            return None
        await client.stream_status(False)
        notes = None
        if job.keeper.session is not None:
            from breakyard.session.files.notes import RunNotes
            from breakyard.session.pulls import PURPOSE

            more = {PURPOSE: "calibration"} if job.now else {}
            notes = RunNotes(specimen=job.specimen or None, more=more)
        job.name = await job.keeper.place(client, job.run, job.name)
        return await job.keeper.fetch(client, job.run, job.name, follow=True, notes=notes)


async def _watch(client: "Client", job: _Job) -> bool:
    """Show what happens and write it down, until the run has ended; False if none began."""
    from breakyard.wire.layout import State

    follow: asyncio.Task[object] | None = None
    try:
        while True:
            status = await client.wait_for_status()
            job.show.status(status)
            if status.state == State.RECORDING and follow is None:
                job.began_s = job.began_s or time.monotonic()
                job.name = await job.keeper.place(client, job.run, job.name)
                part = job.keeper.part(job.name)
                from breakyard.device.client.download import fetch

                follow = asyncio.create_task(fetch(client, job.run, part, follow=True))
            if job.should_stop:
                await client.stop()
                job.stopped = True
                continue
            if status.state in (State.IDLE, State.FAULT):
                if follow is not None:
                    await follow
                return any(one.run == job.run for one in await client.runs())
    finally:
        if follow is not None and not follow.done():
            follow.cancel()
            await asyncio.gather(follow, return_exceptions=True)


def _base_name(job: _Job, serial: bytes) -> str:
    """The specimen's id, or the logger's name for the run."""
    from breakyard.session.files.layout import safe_name

    with suppress(UsageError):  # an id that no file can be called
        return safe_name(job.specimen) if job.specimen else run_name(serial, job.run)
    return run_name(serial, job.run)
