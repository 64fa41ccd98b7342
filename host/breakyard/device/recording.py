"""One pull recorded, over as many connections as it takes: arm, follow, stop, fetch, keep for its specimen.

The first Ctrl-C of a command sets `stop_wanted`: the run is ended and kept. When the link breaks the logger records on,
and the run is fetched when it is back.
"""

import asyncio
import time
from collections import deque
from contextlib import AsyncExitStack, suppress
from dataclasses import dataclass, field
from typing import Final, Protocol

from breakyard.device.alarm import set_alarm
from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.device.keeping import Keeper, Kept
from breakyard.device.link.base import Link
from breakyard.device.reach import make_link, pause_s, reach
from breakyard.device.room import ask_room, room_lines
from breakyard.disk.alone import alone_with
from breakyard.errors import LinkError, LinkGone, Refused, UsageError
from breakyard.session.attaching import length_in
from breakyard.session.files.layout import run_name, safe_name
from breakyard.session.files.notes import RunNotes
from breakyard.session.pulls import CALIBRATION_PURPOSE, PURPOSE, planned, still_to_pull
from breakyard.wire.layout import MarkCode, State
from breakyard.wire.records import Status

LONGEST_MARK: Final = 64
"""Bytes of a mark's text that the logger takes (protocol/SPEC.md, MARK)."""


class RecordingObserver(Protocol):
    """Shows what happens while a pull is recorded."""

    def say(self, text: str) -> None:
        """Something to know."""

    def warn(self, text: str) -> None:
        """Something to act on."""

    def status(self, status: Status) -> None:
        """What the logger says of itself, some times a second."""

    def line(self, text: str) -> None:
        """What is going on, in place of the last status."""


def specimen_for(keeper: Keeper, named: str | None, now: bool) -> str:
    """The specimen that the run belongs to, or nothing. Raises: UsageError."""
    session = keeper.session
    if session is None:
        if named is not None:
            raise UsageError("--specimen needs a session, which has a table of specimens")
        return ""
    if named is not None:
        if named not in planned(session):
            raise UsageError(f'no specimen "{named}" in {session.layout.specimens_file}; add it there first')
        return named
    if now:
        return ""
    return next(iter(still_to_pull(session)), "")


@dataclass
class RecordJob:
    """What is being done, over all connections."""

    keeper: Keeper
    specimen: str
    now: bool
    seconds: float | None
    observer: RecordingObserver
    run: int = 0
    name: str = ""
    stop_wanted: bool = False
    stopped: bool = False
    began_s: float = 0.0
    seconds_left: int = 0
    warning: str = ""
    said: str = ""
    """What its notes are to say."""
    typed: deque[tuple[float, str]] = field(default_factory=deque)
    """Marks that wait to be sent: when (monotonic clock), and what they say."""

    def tell_room(self, status: Status) -> None:
        """Say how long the store will take samples; and whether that is little."""
        said, self.warning = room_lines(self.keeper.session, status)
        self.seconds_left = status.seconds_left
        self.observer.say(said)
        if self.warning:
            self.observer.warn(self.warning)

    @property
    def calibrating(self) -> bool:
        """Whether known masses are recorded: begun by hand, for no specimen."""
        return self.now and not self.specimen

    @property
    def notes(self) -> RunNotes:
        """What is known of the run before it is recorded."""
        return RunNotes(
            self.specimen or None,
            notes=self.said,
            more={PURPOSE: CALIBRATION_PURPOSE} if self.calibrating else {},
        )

    @property
    def should_stop(self) -> bool:
        """True once the run is to be ended and was not yet."""
        late = self.seconds is not None and self.began_s and time.monotonic() - self.began_s > self.seconds
        return (self.stop_wanted or bool(late)) and not self.stopped


async def record_pull(way: str, job: RecordJob, erase: bool) -> Kept | None:
    """Go through with it over as many connections as it takes.

    Raises: LinkError (later LinkGone only); FileBusy while another command records the same specimen; DataError, before
    the logger is armed, if the folder takes no files.
    """
    job.keeper.ensure_takes_files()
    async with AsyncExitStack() as stack:
        session = job.keeper.session
        if session is not None and job.specimen:
            stack.enter_context(alone_with(session.layout.runs / job.specimen, wait_s=0))
        link = await stack.enter_async_context(make_link(way, masses=job.now))
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
                if not job.run or isinstance(error, LinkGone):
                    raise
                job.observer.line(f"link lost, the logger records on: {error}")
                await asyncio.sleep(pause_s(attempt))
                attempt += 1


async def _once(link: Link, job: RecordJob) -> Kept | None:
    """One connection: begin if it has not begun, follow to the end, keep. None if nothing was recorded."""
    async with reach(link) as client:
        assert client.identity is not None
        if not job.run:
            job.tell_room(await ask_room(client))
            await client.synchronise()
            await _set_alarm(client, job)
            job.run = await (client.start() if job.now else client.arm())
            job.name = _base_name(job, client.identity.serial)
        await client.stream_status(True)
        if not await _watch(client, job):
            return None
        await client.stream_status(False)
        job.name = await job.keeper.place(client, job.run, job.name)
        return await job.keeper.fetch(client, job.run, job.name, follow=True, notes=job.notes)


async def _watch(client: Client, job: RecordJob) -> bool:
    """Show what happens and write it down, until the run has ended; False if none began."""
    follow: asyncio.Task[object] | None = None
    try:
        while True:
            status = await client.wait_for_status()
            job.observer.status(status)
            if status.state == State.RECORDING and follow is None:
                job.began_s = job.began_s or time.monotonic()
                job.name = await job.keeper.place(client, job.run, job.name)
                job.keeper.begin(job.name, job.notes)
                part = job.keeper.part(job.name)
                follow = asyncio.create_task(fetch(client, job.run, part, follow=True))
            if job.typed:
                await _send_marks(client, job, status)
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


async def _send_marks(client: Client, job: RecordJob, status: Status) -> None:
    """Write what was typed into the run, each at its own moment; before a run there is nothing to write into."""
    while job.typed:
        at_s, text = job.typed[0]
        if status.state == State.RECORDING:
            code = MarkCode.USER if length_in(text) is None else MarkCode.EXTENSION
            short = text.encode()[:LONGEST_MARK].decode(errors="ignore")
            try:
                await client.mark(code, short, before_s=time.monotonic() - at_s)
                job.observer.say(f"marked: {short}")
            except Refused as refused:
                job.observer.warn(f'the mark "{short}" was not written: {refused}')
        else:
            job.observer.warn(f'the mark "{text}" was not written: nothing is being recorded yet')
        job.typed.popleft()


def _base_name(job: RecordJob, serial: bytes) -> str:
    """The specimen's id, or the logger's name for the run."""
    with suppress(UsageError):  # an id that no file can be called
        return safe_name(job.specimen) if job.specimen else run_name(serial, job.run)
    return run_name(serial, job.run)


async def _set_alarm(client: Client, job: RecordJob) -> None:
    """The logger's own alarm at the stop load of the session's rig; a calibration weighs, and needs none."""
    if job.keeper.session is None or job.calibrating:
        return
    done, not_done = await set_alarm(client, job.keeper.session)
    if done:
        job.observer.say(done)
    if not_done:
        job.observer.warn(not_done)
