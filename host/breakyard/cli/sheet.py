"""breakyard sheet: one page per specimen, made to be printed."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.options import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    PullSpeedOption,
    TemperatureOption,
    pull_speed,
)
from breakyard.cli.output import JsonOption, Output, UnitOption, told_once
from breakyard.errors import UsageError


class Paper(StrEnum):
    """What it is printed on."""

    A4 = "a4"
    LETTER = "letter"


def command(
    specimens: Annotated[list[str] | None, typer.Argument(help="Ids of specimens.")] = None,
    everything: Annotated[bool, typer.Option("--all", help="A sheet for every specimen.")] = False,
    session: Annotated[
        Path, typer.Option("--session", help="The session's folder; default: the one you are in.")
    ] = Path("."),
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", help="Page to write; default: results/ID.sheet.html, or sheets.html."),
    ] = None,
    paper: Annotated[Paper, typer.Option(help="Paper that it is printed on.")] = Paper.A4,
    unit: UnitOption = None,
    calibration: CalibrationOption = None,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = None,
    temperature: TemperatureOption = None,
    speed: PullSpeedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write one sheet per specimen, to be printed.

    It shows photo, own columns, curve, results with intervals, hold, cycles, conditions, the calibration and its age,
    hashes, and what test reports ask for.

    Examples: breakyard sheet S1 --session slipway

    breakyard sheet --all --session slipway --paper letter
    """
    from breakyard.disk.atomic import write_atomically
    from breakyard.report.page.sheet import make_sheets
    from breakyard.session.files.layout import name_from
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import read_pulls
    from breakyard.session.session import open_session
    from breakyard.session.sheets import gather_sheets

    if bool(specimens) == everything:
        raise UsageError("name the specimens, as breakyard sheet S1, or say --all")
    opened = open_session(session)
    pulls = find_pulls([opened.root])
    shown = shown_unit(unit, pulls)
    out = Output(as_json)
    options = ReadOptions(
        calibration,
        accuracy,
        misalignment_deg=misalignment,
        temperature_c=temperature,
        pull_speed_m_per_s=pull_speed(speed),
    )
    with out.progress("reading pulls", len(pulls)) as step:
        results = read_pulls(pulls, options, step, processes=None)
    sheets = gather_sheets(opened, results, options, shown, specimens or ())
    name = "sheets.html" if len(sheets) != 1 else f"{name_from(sheets[0].specimen)}.sheet.html"
    page = output or opened.layout.result_file(name)
    page.parent.mkdir(parents=True, exist_ok=True)
    write_atomically(page, make_sheets(sheets, paper=paper.value).encode())
    out.document(
        {
            "schema": "breakyard.sheets/1",
            "page": str(page),
            "specimens": [one.specimen for one in sheets],
        }
    )
    out.say(
        f"written: {page} ({len(sheets)} {'sheet' if len(sheets) == 1 else 'sheets'}; print it from a browser)"
    )
    shown_here = {one.specimen for one in sheets}
    for line in told_once(result for result in results if result.label in shown_here):
        out.warn(f"without numbers: {line}")
