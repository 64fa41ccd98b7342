"""breakyard report: one page that tells a session to anyone, and everything needed to check it."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.options import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    PullSpeedOption,
    ResponseOption,
    TemperatureOption,
)
from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption, elsewhere_offered, fail, told_once


class PictureKind(StrEnum):
    """How pictures are written."""

    PNG = "png"
    SVG = "svg"


def command(
    sessions: Annotated[
        list[Path], typer.Argument(help="A session's folder, several for one page, or one recording.")
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            help="Page to write; default: results/report.html, of several: report.html here.",
        ),
    ] = None,
    unit: UnitOption = None,
    calibration: CalibrationOption = None,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = None,
    temperature: TemperatureOption = None,
    response: ResponseOption = None,
    speed: PullSpeedOption = None,
    coverage: Annotated[float, typer.Option(min=0.5, max=0.999, help="Coverage of the intervals.")] = 0.95,
    matters: Annotated[str, typer.Option(help="Relative difference worth knowing about.")] = "10%",
    markdown: Annotated[
        bool, typer.Option("--markdown", help="Also write a summary in Markdown, beside the page.")
    ] = False,
    pictures: Annotated[
        PictureKind | None,
        typer.Option(help="Also write each picture as a file of this kind, beside the page."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Write one page about the whole session, to show or print.

    It has curves, strengths, doubts, comparison, calibration, rig and hashes. The page needs no network and no other
    file, prints well, and can be read on a phone. It holds whatever people wrote in the session's files: look at it
    before you publish it.

    Example: breakyard report 2026-05-03-slipway --unit kgf --markdown
    """
    from breakyard.cli.options import option, pull_speed
    from breakyard.disk.atomic import write_atomically
    from breakyard.report.page.page import make_page
    from breakyard.session.files.layout import SESSION_FILE
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import not_kept, read_pulls
    from breakyard.session.reporting import gather, gather_recording
    from breakyard.session.session import open_session
    from breakyard.session.tables import write_tables
    from breakyard.units import parse_share

    worth = option("--matters", parse_share, matters)
    recordings = [path for path in sessions if path.is_file() and path.name != SESSION_FILE]
    if recordings and len(sessions) > 1:
        fail(f"{recordings[0]}: a report is about sessions or about one recording; give that one alone")
    opened = list({one.root.resolve(): one for one in map(open_session, sessions)}.values())
    pulls = find_pulls(recordings or [one.root for one in opened])
    shown = shown_unit(unit, pulls)
    out = Output(as_json)
    options = ReadOptions(
        calibration, accuracy, coverage, misalignment, temperature, response, pull_speed(speed)
    )
    with out.progress("reading pulls", len(pulls)) as step:
        results = read_pulls(pulls, options, step, processes=None)
    problems = [result for result in results if result.summary is None]
    if len(problems) == len(results):
        fail(problems[0].problem)
    if recordings:
        content = gather_recording(results, options, shown, opened[0])
        page = output or opened[0].layout.result_file(f"{recordings[0].stem}.report.html")
    else:
        content = gather(opened, results, options, shown, matters=worth)
        page = output or (
            opened[0].layout.result_file("report.html") if len(opened) == 1 else Path("report.html")
        )
    with elsewhere_offered(output):
        write_atomically(page, make_page(content).encode())
    written = [page]
    if markdown:
        from breakyard.report.page.markdown import make_markdown

        written.append(page.with_suffix(".md"))
        write_atomically(written[-1], make_markdown(content).encode())
    if pictures is not None:
        from breakyard.session.reporting import pictures as draw

        for name, picture in draw(content).items():
            written.append(page.with_name(f"{name}.{pictures.value}"))
            write_atomically(written[-1], picture.png() if pictures is PictureKind.PNG else picture.svg())
    out.document(
        {
            "schema": "breakyard.report/1",
            "page": str(page),
            "files": [str(path) for path in written],
            "pulls": len(content.entries),
            "doubtful": [entry.label for entry in content.doubtful],
            "unread": [{"name": name, "problem": problem} for name, problem in content.unread],
            "comparison": None if content.comparison is None else content.comparison.to_json(),
            "comparison_problem": content.comparison_problem or None,
            "rig_problem": content.rig_problem or None,
        }
    )
    for path in written:
        out.say(f"written: {path}")
    out.say("next: open it in a browser; it is made to be read on a phone, and printed from there")
    # Last: a spreadsheet that has the old table open keeps nothing else back.
    not_written = not_kept(results) if recordings else write_tables(results, shown)
    for line in told_once(problems):
        out.warn(line)
    for entry in content.entries:
        for photo in entry.photos:
            if photo.problem:
                out.warn(f"{entry.label}: photo {photo.name}: {photo.problem}")
    if not_written:
        out.warn(f"on the page, but not kept beside it: {not_written[0]}")
    if problems:
        raise typer.Exit(STATUS_NO)
