"""Runs out of the logger's store, over as many connections as it takes; what was fetched is never fetched twice."""

import asyncio
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Protocol

from breakyard.device.client.client import Client, StoredRun
from breakyard.device.keeping import Keeper
from breakyard.device.link.base import Link
from breakyard.device.reach import make_link, pause_s, reach
from breakyard.errors import LinkError, LinkGone, LinkLost, Refused, UsageError, WrongLogger
from breakyard.session.files.layout import run_name

TRIES: Final = 6
"""Attempts in a row that bring nothing, before it gives up: about a minute by radio."""


class Advance(Protocol):
    """Advances a progress bar by the pieces that are finished, and names the last; `by` 0 only shows the words."""

    def __call__(self, piece: str, by: int = 1) -> None: ...


Progress = Callable[[str, int], AbstractContextManager[Advance]]
"""Shows how far a piece of work has come: takes its label and the number of its steps."""


@dataclass
class FetchJob:
    """What is to be fetched, and what is here already, over all connections."""

    keeper: Keeper
    numbers: list[int]
    erase: bool
    serial: bytes = b""
    wanted: list[StoredRun] = field(default_factory=list)
    done: list[dict[str, Any]] = field(default_factory=list)
    part: Path | None = None
    seen: int = 0
    """Records of the run under way that were counted."""

    def kept(self) -> str:
        """A clause that says what is here, and how to have the rest."""
        files = f"{len(self.done)} of {len(self.wanted)} runs are here"
        if self.part is not None and self.part.exists():
            files += f", {self.part} holds what came of the next and can be read"
        return f"{files}; the same command goes on from there"


async def fetch_runs(way: str, job: FetchJob, progress: Progress) -> None:
    """Go through with it. Raises: LinkError at once if nobody answers, LinkLost when the link brings nothing more."""
    async with make_link(way) as link:
        async with reach(link) as client:
            await _begin(client, job)
        with progress("fetching", sum(one.records for one in job.wanted)) as step:
            barren = 0
            while len(job.done) < len(job.wanted):
                before = (len(job.done), job.seen)
                try:
                    await _go_on(link, job, step)
                except (Refused, WrongLogger, LinkGone):
                    raise
                except LinkError as error:
                    barren = 1 if (len(job.done), job.seen) != before else barren + 1
                    if barren > TRIES:
                        raise LinkLost(
                            f"gave up after {TRIES} attempts in vain ({error}); {job.kept()}"
                        ) from error
                    step("link lost, connecting again", by=0)
                    await asyncio.sleep(pause_s(barren))


async def _begin(client: Client, job: FetchJob) -> None:
    """Find out what there is. Raises: UsageError for a run that there is not, LinkError."""
    assert client.identity is not None
    job.serial = client.identity.serial
    stored = {one.run: one for one in await client.runs()}
    for number in job.numbers:
        if number not in stored:
            raise UsageError(f"the logger has no run {number}; it has {sorted(stored) or 'none'}")
    job.wanted = [stored[number] for number in job.numbers or sorted(stored)]


async def _go_on(link: Link, job: FetchJob, step: Advance) -> None:
    """One connection: fetch what is not here yet. Raises: LinkError when it breaks, DataError."""
    async with reach(link) as client:
        assert client.identity is not None
        if client.identity.serial != job.serial:
            raise UsageError(
                f"another logger answers now ({client.identity.serial.hex()}); name the one you mean, "
                f"as in ble:{job.serial.hex()}; {job.kept()}"
            )
        for one in job.wanted[len(job.done) :]:
            passed = 0

            def count(run: int = one.run) -> None:
                nonlocal passed
                passed += 1
                if passed > job.seen:
                    job.seen = passed
                    step(f"run {run}")

            name = await job.keeper.place(client, one.run, run_name(job.serial, one.run))
            job.part = job.keeper.part(name)
            kept = await job.keeper.fetch(client, one.run, name, count)
            step(f"run {one.run}", by=max(0, one.records - job.seen))  # what was here before
            if job.erase and kept.complete and kept.sha256 is not None:
                await client.erase(one.run, kept.sha256)
            job.done.append({"run": one.run, "file": str(kept.path), "complete": kept.complete})
            job.seen, job.part = 0, None
