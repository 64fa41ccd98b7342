"""breakyard logger fetch: runs out of the logger's store, over as many connections as it takes."""

import asyncio
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output, Step
from breakyard.device.keeping import Keeper
from breakyard.device.reach import make_link, pause_s, reach, run_name
from breakyard.errors import LinkError, LinkLost, UsageError

if TYPE_CHECKING:
    from breakyard.device.client.client import Client, StoredRun
    from breakyard.device.link.base import Link

TRIES: Final = 6
"""Attempts in a row that bring nothing, before it gives up: about a minute by radio."""


def fetch(
    numbers: Annotated[list[int] | None, typer.Argument(help="Which runs; default: all.")] = None,
    link: LinkOption = "ble",
    into: Annotated[Path, typer.Option(help="Session, or any folder, that gets the files.")] = Path("."),
    erase: Annotated[
        bool, typer.Option("--erase", help="Let the logger erase each run that is complete here.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Fetch runs from the logger's store, going on where an earlier attempt stopped.

    If the link breaks it connects again by itself. Ctrl-C loses nothing: the same command goes on.

    Example: breakyard logger fetch --link ble --into slipway
    """
    out = Output(as_json)
    job = _Job(Keeper(into), numbers or [], erase)
    try:
        asyncio.run(_fetch(link, job, out))
    except (KeyboardInterrupt, asyncio.CancelledError):
        raise UsageError(f"stopped; {job.kept()}") from None
    for one in job.done:
        out.say(f"{one['file']}: {'complete' if one['complete'] else 'NOT complete'}")
    out.document({"schema": "breakyard.logger.fetch/1", "runs": job.done})
    if not all(one["complete"] for one in job.done):
        raise typer.Exit(1)


@dataclass
class _Job:
    """What is to be fetched, and what is here already, over all connections."""

    keeper: Keeper
    numbers: list[int]
    erase: bool
    serial: bytes = b""
    wanted: "list[StoredRun]" = field(default_factory=list)
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


async def _fetch(way: str, job: _Job, out: Output) -> None:
    """Go through with it. Raises: LinkError at once if nobody answers, LinkLost when the link brings nothing more."""
    from breakyard.device.client.auth import WrongLogger
    from breakyard.device.client.refused import Refused

    async with make_link(way) as link:
        async with reach(link) as client:
            await _begin(client, job)
        with out.progress("fetching", sum(one.records for one in job.wanted)) as step:
            barren = 0
            while len(job.done) < len(job.wanted):
                before = (len(job.done), job.seen)
                try:
                    await _go_on(link, job, step)
                except (Refused, WrongLogger):
                    raise
                except LinkError as error:
                    barren = 1 if (len(job.done), job.seen) != before else barren + 1
                    if barren > TRIES:
                        raise LinkLost(
                            f"gave up after {TRIES} attempts in vain ({error}); {job.kept()}"
                        ) from error
                    step("link lost, connecting again", by=0)
                    await asyncio.sleep(pause_s(barren))


async def _begin(client: "Client", job: _Job) -> None:
    """Find out what there is. Raises: UsageError for a run that there is not, LinkError."""
    assert client.identity is not None
    job.serial = client.identity.serial
    stored = {one.run: one for one in await client.runs()}
    for number in job.numbers:
        if number not in stored:
            raise UsageError(f"the logger has no run {number}; it has {sorted(stored) or 'none'}")
    job.wanted = [stored[number] for number in job.numbers or sorted(stored)]


async def _go_on(link: "Link", job: _Job, step: Step) -> None:
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
