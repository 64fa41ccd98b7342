"""The computer's side of the field page, with the firmware behind it: a run is kept, whatever ends in between."""

import asyncio
import json
from collections.abc import AsyncIterator
from concurrent.futures import Executor, Future
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from breakyard.errors import LinkError, UsageError
from breakyard.field.messages import Request
from breakyard.field.station import Station
from breakyard.field.watchers import PageWatcher, Watchers
from breakyard.run import read_run
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.pulls import pulls_of
from breakyard.session.session import Session, create_session
from breakyard.simulate import recipes
from breakyard.simulate.chain import measure
from breakyard.simulate.feed import write_feed
from breakyard.simulate.logger import VirtualLogger
from breakyard.simulate.pull import pull
from breakyard.simulate.scenario import boatyard
from breakyard.wire.frame import FrameReader
from breakyard.wire.layout import State
from breakyard.wire.records import Status, parse


class AtOnce(Executor):
    """Reads in this very process: what is told matters here, not where."""

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> "Future[Any]":
        done: Future[Any] = Future()
        done.set_result(fn(*args, **kwargs))
        return done


class Seat:
    """A station at work in front of a logger, and what a page would hear."""

    def __init__(self, session: Session, logger: VirtualLogger) -> None:
        self.watchers = Watchers()
        self.said: list[str] = []
        self.station = Station(session, logger.link(), self.watchers, AtOnce(), say=self.said.append)

    @asynccontextmanager
    async def taken(self) -> AsyncIterator["Seat"]:
        with self.watchers.joined(self.station.hello()) as self.watcher:
            job = asyncio.create_task(self.station.run())
            try:
                yield self
            finally:
                job.cancel()
                with suppress(asyncio.CancelledError):
                    await job

    async def hears(self, kind: str, **wanted: Any) -> dict[str, Any]:
        """The next message of that kind with those values."""
        watcher: PageWatcher = self.watcher
        async with asyncio.timeout(60):
            while True:
                message = await watcher.waiting.get()
                if isinstance(message, str):
                    news: dict[str, Any] = json.loads(message)
                    if news["type"] == kind and all(
                        news.get(name) == value for name, value in wanted.items()
                    ):
                        return news

    async def recording(self) -> None:
        """Wait until the logger says that it records."""
        reader = FrameReader()
        async with asyncio.timeout(60):
            while True:
                message = await self.watcher.waiting.get()
                if isinstance(message, bytes):
                    reader.receive_data(message)
                    while isinstance(raw := reader.next_bytes(), bytes):
                        status = parse(raw)
                        if isinstance(status, Status) and status.state == State.RECORDING:
                            return


def ask(do: str, **texts: str) -> Request:
    return Request(1, do, "", texts)


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """A session with two specimens. Invented."""
    return create_session(
        tmp_path / "session", SessionInfo(), [Specimen("S1", order=1), Specimen("S2", order=2)]
    )


@pytest.fixture
def quick_pull(tmp_path: Path) -> Path:
    """Two quiet seconds, and a brittle pull to 200 kgf within another. Invented."""
    yard = boatyard()
    rig = recipes.Rig(quiet_s=2.0, bumps=0, slack_s=0.5, line_n=5.0)
    truth = pull(recipes.brittle(rig, peak_n=1961.0, rate_n_per_s=1500.0), seed=4, clear=True)
    write_feed(tmp_path / "quick.feed", measure(truth, yard.cell, yard.converter, seed=4))
    return tmp_path / "quick.feed"


def test_a_pull_is_kept_for_its_specimen_and_read(
    session: Session, quick_pull: Path, micropython: str
) -> None:
    """Armed by a page, recorded, fetched, named after its specimen, told to every page."""

    async def story() -> None:
        async with VirtualLogger("micropython") as logger, Seat(session, logger).taken() as seat:
            await logger.realtime()
            await seat.hears("logger", link="on")
            await logger.load(quick_pull)
            await seat.station.carry_out(ask("arm", specimen="S1"))
            reading = await seat.hears("reading")
            with pytest.raises(UsageError, match="no specimen"):
                await seat.station.carry_out(ask("arm", specimen="S9"))
            await seat.station.carry_out(ask("note", name="S1", outcome="broke", note="clean"))

        assert reading["specimen"] == "S1"
        assert reading["peak"] is None
        assert "calibration" in reading["problem"]
        kept = session.layout.run_file("S1")
        assert read_run(kept.read_bytes()).loss.complete
        assert session.notes("S1").more["outcome"] == "broke"
        assert session.notes("S1").notes == "clean"
        assert session.notes("S1").specimen == "S1"

    asyncio.run(story())


def test_the_computer_goes_in_the_pull_and_finds_it_again(
    session: Session, quick_pull: Path, micropython: str
) -> None:
    """Ended in mid-run, begun again when the run is over: the run is whole, and is its specimen's."""

    async def story() -> None:
        async with VirtualLogger("micropython") as logger:
            await logger.realtime()
            async with Seat(session, logger).taken() as seat:
                await seat.hears("logger", link="on")
                await logger.load(quick_pull)
                await seat.station.carry_out(ask("arm", specimen="S2"))
                await seat.recording()
            async with Seat(session, logger).taken() as again:
                await again.hears("logger", link="on")
                await again.hears("reading", specimen="S2")

        assert read_run(session.layout.run_file("S2").read_bytes()).loss.complete

    asyncio.run(story())


def test_something_is_weighed_from_the_page(session: Session, micropython: str) -> None:
    """Recorded until it is ended; the run says that it is no pull, also when this program began anew meanwhile."""

    async def story() -> None:
        async with VirtualLogger("micropython") as logger:
            await logger.realtime()
            async with Seat(session, logger).taken() as seat:
                await seat.hears("logger", link="on")
                await seat.station.carry_out(ask("start", purpose="weighing"))
                await seat.hears("logger", purpose="weighing")
                await seat.recording()
            async with Seat(session, logger).taken() as again:
                await again.hears("logger", link="on")
                await again.station.carry_out(ask("stop"))
                reading = await again.hears("reading")

        assert reading["weighed"] == {}  # nothing is calibrated here
        assert "calibration" in reading["problem"]
        (run,) = session.runs()
        assert run.notes.more == {"purpose": "weighing"}
        assert pulls_of(session) == ()

    asyncio.run(story())


def test_without_a_logger_a_command_says_so(session: Session) -> None:
    """The logger goes on by itself; the page hears why nothing happened."""

    async def story() -> None:
        async with VirtualLogger() as logger:
            station = Station(session, logger.link(), Watchers(), AtOnce())
            with pytest.raises(LinkError, match="goes on by itself"):
                await station.carry_out(ask("arm", specimen="S1"))
            with pytest.raises(UsageError, match="virtual"):
                await station.carry_out(ask("simulate"))

    asyncio.run(story())
