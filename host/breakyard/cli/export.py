"""breakyard export: curves and results as files that anything opens."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.inputs import AccuracyOption, CalibrationOption, find_pulls, load_curve, shown_unit
from breakyard.cli.output import JsonOption, Output, UnitOption
from breakyard.cli.reading import Wanted, read_pulls


class Decimal(StrEnum):
    """Which mark spreadsheets of the reader's country expect."""

    POINT = "point"
    COMMA = "comma"


def command(
    recordings: Annotated[list[Path], typer.Argument(help="Runs, recordings or a session's folder.")],
    to: Annotated[Path, typer.Option("--to", help="Folder to write into; made if it is not there.")],
    calibration: CalibrationOption = None,
    unit: UnitOption = None,
    decimal: Annotated[
        Decimal, typer.Option(help="Decimal mark; with a comma, semicolons separate the columns.")
    ] = Decimal.POINT,
    accuracy: AccuracyOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write each pull's curve as CSV, with units in the headers, and one table of all results.

    The load of a curve counts from the pull's own zero where one was found. Existing files are replaced.

    Example: breakyard export 2026-05-03-slipway --to curves --unit kN
    """
    from breakyard.formats.write_csv import curve_csv, summaries_csv
    from breakyard.session.atomic import write_atomically
    from breakyard.session.layout import name_from

    pulls = find_pulls(recordings)
    chosen = shown_unit(unit, pulls)
    marks = {"separator": ";", "decimal": ","} if decimal is Decimal.COMMA else {}
    out = Output(as_json)
    to.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    with out.progress("reading pulls", len(pulls)) as step:
        reads = read_pulls(pulls, Wanted(calibration, accuracy), step)
    for read in reads:
        curve, _ = load_curve(read.pull, calibration, accuracy_percent=accuracy)
        zero_n = read.summary.zero.load_n if read.summary is not None else 0.0
        path = to / f"{name_from(read.pull.name)}.curve.csv"
        write_atomically(path, curve_csv(curve, unit=chosen, zero_n=zero_n, **marks).encode("utf-8-sig"))
        written.append(path)
        if read.problem:
            out.say(f"{read.pull.name}: no summary ({read.problem})")
    good = [(read.pull, read.summary) for read in reads if read.summary is not None]
    if good:
        path = to / "summaries.csv"
        more = {"specimen": [p.specimen for p, _ in good], "group": [p.group for p, _ in good]}
        text = summaries_csv([summary for _, summary in good], unit=chosen, more=more, **marks)
        write_atomically(path, text.encode("utf-8-sig"))
        written.append(path)
    out.document({"schema": "breakyard.export/1", "files": [str(path) for path in written]})
    for path in written:
        out.say(str(path))
