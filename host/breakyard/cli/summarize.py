"""breakyard summarize: each pull's peak with its interval, how it broke, and what to doubt."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from breakyard.cli.budget_words import show_budget
from breakyard.cli.inputs import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    Pull,
    PullSpeedOption,
    ResponseOption,
    TemperatureOption,
    find_pulls,
    pull_speed,
    shown_unit,
)
from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption, fail, printable
from breakyard.cli.reading import Read, Wanted, read_pulls

if TYPE_CHECKING:
    from breakyard.pull.results import Summary

STRENGTH: Final = 3
"""Which column of the table tells what the specimen bears."""


def command(
    recordings: Annotated[
        list[Path],
        typer.Argument(help="Runs, recordings (CSV) or a session's folder, which means all its pulls."),
    ],
    calibration: CalibrationOption = None,
    unit: UnitOption = None,
    coverage: Annotated[float, typer.Option(min=0.5, max=0.999, help="Coverage of the intervals.")] = 0.95,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = 0.0,
    temperature: TemperatureOption = None,
    response: ResponseOption = None,
    speed: PullSpeedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Give each pull its peak with an interval, the way it broke, and the doubts.

    In a session the results are written to results/ beside the runs; a pull whose recording and calibration have not
    changed is not computed again. One pull is told line by line, with the budget of its doubt. A recording of several
    pulls gives a row for each, NAME#1, NAME#2 and so on; which specimens they were its notes say (runs/NAME.toml:
    specimens = ["S1", "S2"]), else they belong to no group.

    Example: breakyard summarize 2026-05-03-slipway --unit kgf
    """
    pulls = find_pulls(recordings)
    out = Output(as_json)
    wanted = Wanted(calibration, accuracy, coverage, misalignment, temperature, response, pull_speed(speed))
    with out.progress("reading pulls", len(pulls)) as step:
        reads = read_pulls(pulls, wanted, step)
    problems = [read for read in reads if read.summary is None]
    if len(reads) == 1 and problems:
        fail(problems[0].problem)
    chosen = shown_unit(unit, pulls)
    write_tables(reads, chosen)
    if len(reads) == 1 and reads[0].summary is not None:
        out.document(reads[0].summary.to_json())
    else:
        out.document(table_document(reads))
    show(out, reads, chosen)
    if len(reads) == 1 and reads[0].summary is not None:
        tell(out, reads[0].summary, chosen)
        show_budget(out, reads[0].summary, chosen)
    else:
        say_parts(out, reads)
    if problems:
        for read in problems:
            print(f"breakyard: {printable(read.problem)}", file=sys.stderr)
        raise typer.Exit(STATUS_NO)


def show(out: Output, reads: Sequence[Read], unit: str) -> None:
    """Print the table, and under it what is to be doubted about which row."""
    from breakyard.report.words.table import make_table

    good = [(read.pull, read.summary) for read in reads if read.summary is not None]
    table = make_table(
        [summary for _, summary in good],
        unit=unit,
        specimens=[pull.specimen or pull.name for pull, _ in good],
        groups=[pull.group for pull, _ in good],
    )
    rows = []
    for row in table.rows:
        specimen, *cells = table.cells(row)
        # What a specimen bears is its peak, unless it did not break: only then it needs saying.
        cells = [
            "same" if cell == row.strength == row.peak and place == STRENGTH else cell
            for place, cell in enumerate(cells, start=1)
        ]
        rows.append([f"! {specimen}" if row.doubtful else specimen, *cells])
    out.table("", table.headings, rows)
    for sentence in table.shared:
        out.say(f"  All: {sentence}")
    for row in table.rows:
        for doubt in row.doubts:
            out.say(f"{'! ' if row.doubtful else '  '}{row.specimen or row.name}: {doubt}")


def tell(out: Output, summary: "Summary", unit: str) -> None:
    """Print one pull's story, line by line."""
    if out.as_json:
        return
    from breakyard.report.words.account import account

    out.table("The pull, line by line", ("", ""), account(summary, unit))


def say_parts(out: Output, reads: Sequence[Read]) -> None:
    """Say which recordings held several pulls, and when each began."""
    by_file: dict[Path, list[Read]] = {}
    for read in reads:
        if read.pull.part is not None:
            by_file.setdefault(read.pull.path, []).append(read)
    for path, parts in by_file.items():
        begun = ", ".join("?" if one.summary is None else f"{one.summary.onset_s:.1f}" for one in parts)
        out.say(f"  {path.name}: {len(parts)} pulls in one recording, begun at {begun} s")
        if not parts[0].pull.listed and parts[0].pull.session is not None:
            out.say(f'    to name their specimens, write into {path.stem}.toml: specimens = ["...", ...]')


def table_document(reads: Sequence[Read]) -> dict[str, Any]:
    """All pulls with their summaries, for JSON."""
    return {"schema": "breakyard.summaries/1", "pulls": [_row(read) for read in reads]}


def write_tables(reads: Sequence[Read], unit: str) -> None:
    """Write results/summaries.csv of each session that was read as a whole."""
    from breakyard.formats.write_csv import summaries_csv

    for root in {read.pull.session.root for read in reads if read.pull.session is not None}:
        inside = [read for read in reads if read.pull.session is not None and read.pull.session.root == root]
        good = [(read.pull, read.summary) for read in inside if read.summary is not None]
        session = inside[0].pull.session
        if session is None or len(inside) < 2 or not good:
            continue
        text = summaries_csv(
            [summary for _, summary in good],
            unit=unit,
            more={"specimen": [p.specimen for p, _ in good], "group": [p.group for p, _ in good]},
        )
        session.write_result("summaries.csv", text)


def _row(read: Read) -> dict[str, Any]:
    return described(read.pull) | {
        "summary": None if read.summary is None else read.summary.to_json(),
        "problem": read.problem or None,
    }


def described(pull: Pull) -> dict[str, Any]:
    """What is known of a pull besides its recording, for JSON."""
    return {
        "name": pull.name,
        "file": str(pull.path),
        "specimen": pull.specimen or None,
        "group": pull.group or None,
        "order": pull.order,
        "part": pull.part,
    }
