"""Follows one logger for as long as the command runs: passes its numbers on, keeps its runs, has each pull read.

The logger's own store is the safety: whatever is lost here (the link, a phone, this program), the run is found again in
the store at the next connection and fetched on from where it stopped.
"""

import asyncio
import json
from collections.abc import Awaitable, Callable, Iterable
from concurrent.futures import BrokenExecutor, Executor
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from breakyard.calibration.device_copy import copy_for_device
from breakyard.calibration.model import Calibration
from breakyard.device.alarm import set_alarm
from breakyard.device.client.client import Client, Refused
from breakyard.device.keeping import Keeper
from breakyard.device.link.base import Link
from breakyard.device.reach import pause_s, reach
from breakyard.errors import BreakyardError, DataError, LinkError, UsageError
from breakyard.field.messages import Request, message_of
from breakyard.field.pictures import Uploads
from breakyard.field.reading import read_for_pages
from breakyard.field.watchers import Watchers
from breakyard.session.files.layout import run_name, safe_name
from breakyard.session.files.notes import RunNotes
from breakyard.session.files.specimens import Specimen
from breakyard.session.photos import add_photo
from breakyard.session.proving import asked_of_specimen
from breakyard.session.pulls import PURPOSE, WEIGHING_PURPOSE, planned, still_to_pull
from breakyard.session.session import Session
from breakyard.wire.frame import frame
from breakyard.wire.layout import State
from breakyard.wire.records import Status, build

ARMED_FILE: Final = "armed.json"
"""In the session's results: what was said of a run of a logger before it began, should this program end meanwhile."""

Pull = Callable[[], Awaitable[None]]


def holds_of(session: Session, specimens: Iterable[Specimen]) -> dict[str, dict[str, float]]:
    """What is asked of each specimen, for the seconds at or above it; what cannot be read is left out here."""
    found = {}
    for one in specimens:
        with suppress(BreakyardError):
            if (asked := asked_of_specimen(session, one.id)) is not None:
                found[one.id] = {"load_n": asked.load_n, "for_s": asked.for_s}
    return found


@dataclass
class Station:
    """One session, one logger, any number of pages.

    Args:
        session: gets the runs.
        link: the way to the logger.
        watchers: hear everything.
        readers: runs the reading of a pull; a process, so that numbers stay fresh meanwhile.
        simulate: makes a pull at the virtual logger's cell, where there is one; hang: hangs something on it.
        say: a line for the terminal.
    """

    session: Session
    link: Link
    watchers: Watchers
    readers: Executor
    simulate: Pull | None = None
    hang: Pull | None = None
    say: Callable[[str], None] = print
    calibration: Calibration | None = None
    stop_load_n: float | None = None
    readings: dict[str, dict[str, Any]] = field(default_factory=dict)
    _uploads: Uploads = field(default_factory=Uploads)
    _client: Client | None = None
    _logger: dict[str, Any] = field(default_factory=lambda: {"link": "connecting", "trouble": ""})
    _following: "asyncio.Task[None] | None" = None
    _fetching: "asyncio.Task[None] | None" = None

    def hello(self) -> str:
        """Everything that a page needs to begin."""
        copy = None
        if self.calibration is not None:
            copy = {"name": self.calibration.name, **copy_for_device(self.calibration).fields()}
        return message_of(
            "hello",
            session=self._session_words(),
            calibration=copy,
            simulates=self.simulate is not None,
            readings=list(self.readings.values()),
            **self._logger,
        )

    def _session_words(self) -> dict[str, Any]:
        return {
            "title": self.session.root.name,
            "unit": self.session.info.unit,
            "specimens": list(planned(self.session)),
            "next": next(iter(still_to_pull(self.session)), ""),
            "stop_load_n": self.stop_load_n,
            "holds": holds_of(self.session, self.session.specimens()),
        }

    def _changed(self, **changes: Any) -> None:
        self._logger |= changes
        self.watchers.tell(message_of("logger", **changes))

    async def run(self) -> None:
        """Follow the logger until cancelled; a broken link is made again."""
        attempt = 0
        while True:
            try:
                async with reach(self.link) as client:
                    attempt = 0
                    await self._once(client)
            except LinkError as error:
                if self._logger["link"] != "lost":
                    self.say(f"link lost, the logger records on: {error}")
                self._changed(link="lost", trouble=f"the computer does not reach the logger: {error}")
            finally:
                self._client = None
                for task in (self._following, self._fetching):
                    if task is not None:
                        task.cancel()
                        with suppress(asyncio.CancelledError, BreakyardError):
                            await task
                self._following = self._fetching = None
            await asyncio.sleep(pause_s(attempt))
            attempt += 1

    async def _once(self, client: Client) -> None:
        assert client.identity is not None
        with suppress(Refused):
            await client.synchronise()
        settings = client.settings
        await client.stream_status(True)
        self._client = client
        self._changed(
            link="on",
            trouble="",
            name=client.name,
            serial=client.identity.serial.hex(),
            key="ours",
            clockSet=True,
            settings=None if settings is None else {"threshold_counts": settings.threshold_counts},
        )
        self.say(f"connected to {client.name or client.identity.serial.hex()}")
        before: int | None = None
        while True:
            status = await client.wait_for_status()
            self.watchers.tell(_framed(status))
            recording = status.state == State.RECORDING
            free = self._following is None or self._following.done()
            if recording and before != State.RECORDING and free:
                self._following = asyncio.create_task(self._follow(client))
            # Listed after the first status, so that a run that ended before it is complete there.
            if before is None:
                self._fetching = asyncio.create_task(self._fetch_all(client))
            elif not recording and before == State.RECORDING:
                self._fetching = asyncio.create_task(self._after(self._fetching, client))
            before = status.state

    async def _after(self, earlier: "asyncio.Task[None] | None", client: Client) -> None:
        """What is left in the store once a run has ended, one fetching after another."""
        for task in (self._following, earlier):
            if task is not None:
                await asyncio.wait([task])
        await self._fetch_all(client)

    async def _follow(self, client: Client) -> None:
        """Keep the run that is being recorded, as it grows."""
        listed = await client.runs()
        if listed:
            await self._keep(client, listed[-1].run, follow=True)

    async def _fetch_all(self, client: Client) -> None:
        """Keep every run of the store that is not here yet, the newest first."""
        for stored in reversed(await client.runs()):
            if stored.complete:
                await self._keep(client, stored.run, follow=False)

    async def _keep(self, client: Client, run: int, *, follow: bool) -> None:
        assert client.identity is not None
        try:
            keeper = Keeper(self.session.root)
            armed = self._armed(client.identity.serial.hex(), run)
            name = await keeper.place(client, run, _name(armed.specimen or "", client.identity.serial, run))
            known = self.session.layout.run_file(name).exists()
            notes = armed if armed != RunNotes() else None
            kept = await keeper.fetch(client, run, name, follow=follow, notes=notes)
        except DataError as error:
            self.say(str(error))
            self._changed(trouble=str(error))
            return
        if kept.complete and not known:
            self.say(f"kept: {kept.path}")
            self._changed(session=self._session_words())
            await self.read(kept.path.stem)

    async def read(self, name: str) -> None:
        """Have one run read, and tell the pages."""
        loop = asyncio.get_running_loop()
        try:
            found = await loop.run_in_executor(self.readers, read_for_pages, self.session.root, name)
        except BrokenExecutor:
            self.say(
                f"{name}: the process that reads pulls was ended; the run is kept: breakyard summarize reads it"
            )
            return
        for reading in found:
            self.readings[reading["name"]] = reading
            self.watchers.tell(message_of("reading", **reading))

    async def carry_out(self, request: Request) -> None:
        """Do what a page that has the code asks. Raises: BreakyardError with the reason why not."""
        if request.do == "note":
            await self._note(request)
            return
        if request.do == "photo":
            await self._photo(request)
            return
        if request.do == "simulate":
            if self.simulate is None:
                raise UsageError("only the virtual logger's pulls can be simulated")
            hang = self.hang if self._logger.get("purpose") == WEIGHING_PURPOSE else None
            await (hang or self.simulate)()
            return
        client = self._client
        if client is None:
            raise LinkError("the computer does not reach the logger now; the logger goes on by itself")
        if request.do in ("arm", "start"):
            specimen = request.texts.get("specimen", "")
            if specimen and specimen not in {one.id for one in self.session.specimens()}:
                raise UsageError(
                    f'no specimen "{specimen}" in the session; add it to specimens.csv, or leave it empty'
                )
            Keeper(self.session.root).ensure_takes_files()
            if request.do == "arm":
                for said in await set_alarm(client, self.session):
                    if said:
                        self.say(said)
            run = await (client.arm() if request.do == "arm" else client.start())
            assert client.identity is not None
            purpose = request.texts.get("purpose", "")
            self._remember(client.identity.serial.hex(), run, specimen, purpose)
            self._changed(run=run, specimen=specimen, purpose=purpose)
        elif request.do == "stop":
            await client.stop()
        elif request.do == "mark":
            await client.mark(0, request.texts.get("text", ""))

    async def _note(self, request: Request) -> None:
        name = request.texts.get("name", "").split("#")[0]
        names = {run.name for run in self.session.runs()}
        if name not in names:
            raise UsageError("no such pull in the session")

        def change(notes: RunNotes) -> RunNotes:
            outcome = {"outcome": request.texts["outcome"]} if "outcome" in request.texts else {}
            return replace(
                notes, notes=request.texts.get("note", notes.notes), more={**notes.more, **outcome}
            )

        self.session.change_notes(name, change)
        kept = self.session.notes(name)
        for reading in self.readings.values():
            if reading["name"].split("#")[0] == name:
                reading |= {"note": kept.notes, "outcome": kept.more.get("outcome", "")}

    async def _photo(self, request: Request) -> None:
        """Keep a photo for the specimen of a pull, once all of its pieces have come."""
        texts = request.texts
        name = texts.get("name", "")
        specimen = self.readings.get(name, {}).get("specimen", "")
        if not specimen:
            raise UsageError(
                "this pull has no specimen that a photo could belong to; name it in its notes first"
            )
        photo = self._uploads.take(name, texts.get("part", ""), texts.get("parts", ""), texts.get("data", ""))
        if photo is not None:
            kept = await asyncio.to_thread(add_photo, self.session, specimen, photo)
            self.say(f"photo of {specimen}: {kept}")

    def _armed_path(self) -> Path:
        return self.session.layout.results / ARMED_FILE

    def _remember(self, serial: str, run: int, specimen: str, purpose: str) -> None:
        said = {"logger": serial, "run": run, "specimen": specimen, "purpose": purpose}
        self.session.write_result(ARMED_FILE, json.dumps(said))

    def _armed(self, serial: str, run: int) -> RunNotes:
        """What was said of a run before it began: its specimen, or that something is weighed."""
        try:
            kept = json.loads(self._armed_path().read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return RunNotes()
        if not isinstance(kept, dict) or (kept.get("logger"), kept.get("run")) != (serial, run):
            return RunNotes()
        specimen = kept.get("specimen")
        weighing = kept.get("purpose") == WEIGHING_PURPOSE
        return RunNotes(
            specimen=specimen if specimen and isinstance(specimen, str) else None,
            more={PURPOSE: WEIGHING_PURPOSE} if weighing else {},
        )


def _name(specimen: str, serial: bytes, run: int) -> str:
    with suppress(UsageError):  # an id that no file can be called
        return safe_name(specimen) if specimen else run_name(serial, run)
    return run_name(serial, run)


def _framed(status: Status) -> bytes:
    return frame(build(status))
