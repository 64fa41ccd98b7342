"""breakyard step: how this logger's converter answers a sudden break, from a hung mass that is cut loose."""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from breakyard.cli.output import STATUS_NO, JsonOption, Output
from breakyard.errors import UsageError

if TYPE_CHECKING:
    from breakyard.converter import Cut, StepResponse, StepSource
    from breakyard.run import Run


def command(
    recordings: Annotated[
        list[Path],
        typer.Argument(help="Runs (or CSV files of counts) of one logger, with 10 to 20 cuts in all."),
    ],
    logger: Annotated[
        str, typer.Option(help="Serial number of the logger, where the recordings do not say.")
    ] = "",
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            help="File to write; default: responses/SERIAL.json in the session, or beside the first.",
        ),
    ] = None,
    replace_old: Annotated[
        bool, typer.Option("--replace", help="Put it in the place of an earlier response of this logger.")
    ] = False,
    picture: Annotated[
        Path | None, typer.Option("--picture", "-p", help="Draw the shape: a file ending in .png or .svg.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Measure how the converter answers a sudden break.

    Hang a mass and cut it loose, 10 to 20 times, all recorded. The falls are found, laid over one another to better
    than one conversion, and compared with filters of order 1 to 6. If the data are good enough the answer is kept for
    this logger, and summarize, plot, compare and report read its sudden breaks with it instead of allowing for order 3
    and 4. How to make the recording: hardware_notes/step_response.md. Status 1: the data do not settle it, and nothing
    is kept.

    Example: breakyard step indoors/runs/cuts-1.run indoors/runs/cuts-2.run --picture step.png
    """
    from breakyard.converter import measure
    from breakyard.session.files.responses import keep_response, response_file
    from breakyard.session.session import find_session

    cuts, sources, runs = _read(recordings)
    serial = _serial(runs, logger)
    gains = {run.converter.gain for run in runs if run.converter is not None}
    response = measure(
        cuts,
        logger=serial,
        created=_when(),
        gain=gains.pop() if len(gains) == 1 else None,
        sources=sources,
    )
    session = find_session(recordings[0])
    path = output or response_file(session.root if session else recordings[0].parent, serial)
    kept = False
    if response.usable:
        kept = keep_response(path, response, replace=replace_old)
    if picture is not None:
        from breakyard.report.figures.step_figure import step_figure
        from breakyard.session.files.pictures import save_picture

        save_picture(step_figure(response, cuts), picture)
    out = Output(as_json)
    out.document(
        response.to_json()
        | {
            "file": str(path) if response.usable else None,
            "picture": None if picture is None else str(picture),
        }
    )
    if not as_json:
        _show(out, response)
    if not response.usable:
        out.say("Nothing is kept; peaks of this logger go on being read with order 3 and 4 allowed for.")
        raise typer.Exit(STATUS_NO)
    out.say(f"kept: {path}" if kept else f"the same is there already: {path}")
    if picture is not None:
        out.say(f"picture: {picture}")


def _read(paths: Sequence[Path]) -> "tuple[list[Cut], list[StepSource], list[Run]]":
    """All cuts of all recordings. Raises: DataError for a recording without one."""
    from breakyard.converter import StepSource, find_cuts
    from breakyard.document import sha256_of
    from breakyard.errors import DataError
    from breakyard.session.recordings import load_counts

    cuts: list[Cut] = []
    sources: list[StepSource] = []
    runs: list[Run] = []
    for path in paths:
        run = load_counts(path)
        found = find_cuts(run.time_s[run.usable], run.counts[run.usable].astype(float), path.name)
        if not found:
            raise DataError(
                f"{path}: no cut found; each needs a mass that hangs still for a second, a sudden fall, and three "
                "quiet seconds after it"
            )
        cuts += found
        sources.append(StepSource(path.name, sha256_of(path.read_bytes()), len(found)))
        runs.append(run)
    hashes = [source.sha256 for source in sources]
    if len(set(hashes)) < len(hashes):
        raise UsageError("the same recording is given twice; each counts once")
    return cuts, sources, runs


def _serial(runs: "Sequence[Run]", stated: str) -> str:
    found = {run.identity.serial.hex() for run in runs if run.identity is not None}
    if len(found) > 1:
        raise UsageError(
            f"these recordings come from several loggers ({', '.join(sorted(found))}); one at a time"
        )
    serial = stated or next(iter(found), "")
    if found and serial not in found:
        raise UsageError(f"--logger {stated}: the recordings come from logger {found.pop()}")
    if not serial:
        raise UsageError("these recordings do not say which logger made them; give its serial with --logger")
    return serial


def _when() -> str:
    return datetime.now(UTC).replace(microsecond=0).isoformat().replace("+00:00", "Z")


def _show(out: Output, response: "StepResponse") -> None:
    quality = response.quality
    out.say(
        f"Logger {response.logger}: {quality.used} of {quality.found} cuts used, {response.rate_hz:.1f} conversions "
        f"a second, noise {100 * quality.noise:.2f} % of the mass."
    )
    whole = [at for at in response.at if at == int(at) and 0.0 <= at <= response.order + 1]
    rows = []
    for at in whole:
        k = response.at.index(at)
        rows.append([f"{at:.0f}", f"{100 * response.left[k]:.2f} %", f"{100 * response.standard[k]:.2f} %"])
    if rows:
        out.table(
            "Share of the mass that is still shown", ["conversions since the cut", "left", "+- (1 SD)"], rows
        )
    told = [
        f"order {order}: {100 * weight:.1f} %" for order, weight in response.order_weights if weight > 5e-4
    ]
    out.say(f"Filter: {', '.join(told)}.")
    for sentence in response.sentences:
        out.say(sentence)
