"""breakyard logger fetch: runs out of the logger's store, over as many connections as it takes."""

from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output, stopped
from breakyard.cli.running import run_async


def fetch(
    numbers: Annotated[list[int] | None, typer.Argument(help="Which runs; default: all.")] = None,
    link: LinkOption = "ble",
    into: Annotated[Path, typer.Option(help="Session, or any folder, that gets the files.")] = Path("."),
    erase: Annotated[
        bool, typer.Option("--erase", help="Let the logger erase each run that is complete here.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Fetch runs from the logger, going on where it stopped.

    If the link breaks it connects again by itself. Ctrl-C loses nothing: the same command goes on.

    Example: breakyard logger fetch --link ble --into slipway
    """
    import asyncio

    from breakyard.device.fetching import FetchJob, fetch_runs
    from breakyard.device.keeping import Keeper

    out = Output(as_json)
    job = FetchJob(Keeper(into), numbers or [], erase)
    try:
        run_async(fetch_runs(link, job, out.progress))
    except (KeyboardInterrupt, asyncio.CancelledError):
        stopped(f"stopped; {job.kept()}")
    for one in job.done:
        out.say(f"{one['file']}: {'complete' if one['complete'] else 'NOT complete'}")
    out.document({"schema": "breakyard.logger.fetch/1", "runs": job.done})
    if not all(one["complete"] for one in job.done):
        raise typer.Exit(1)
