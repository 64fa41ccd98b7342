"""breakyard plot: pictures of pulls, of the moment of the break, of a session, of a calibration and its recording."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from breakyard.cli.options import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    PullSpeedOption,
    ResponseOption,
    TemperatureOption,
    chosen_of,
    pull_speed,
)
from breakyard.cli.output import JsonOption, Output, UnitOption, elsewhere_offered, told_once
from breakyard.errors import DataError, UsageError

if TYPE_CHECKING:
    from breakyard.report.figures.style import FigurePicture
    from breakyard.session.options import ReadOptions
    from breakyard.session.pulls import Pull
    from breakyard.shown import Mode


class View(StrEnum):
    """What to draw."""

    PULL = "pull"
    BREAK = "break"
    EXTENSION = "extension"
    SESSION = "session"
    CALIBRATION = "calibration"
    PLATEAUS = "plateaus"


class Form(StrEnum):
    """For a page, or for a phone held upright."""

    WIDE = "wide"
    PHONE = "phone"


def command(
    recordings: Annotated[
        list[Path],
        typer.Argument(help="A run or recording; for --view session several, or a session's folder."),
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", help="File to write, .png or .svg; default: in the session's results/."
        ),
    ] = None,
    view: Annotated[
        View | None,
        typer.Option(
            help="The whole pull, the 300 ms around its break, all pulls in one picture, the calibration, or the "
            "parts of a calibration's recording that were used."
        ),
    ] = None,
    number: Annotated[
        int | None,
        typer.Option("--pull", min=1, help="Which pull of a recording of several; default: the first."),
    ] = None,
    calibration: CalibrationOption = None,
    unit: UnitOption = None,
    dark: Annotated[bool, typer.Option("--dark", help="Draw on a dark ground.")] = False,
    form: Annotated[
        Form | None, typer.Option(help="wide, or phone for one held upright; default: wide.")
    ] = None,
    card: Annotated[
        bool,
        typer.Option(
            "--card",
            help="A picture to pass on, of a pull or of the groups compared: 1080 x 1350 and 1200 x 630, or one of "
            "them with --form.",
        ),
    ] = False,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = None,
    temperature: TemperatureOption = None,
    response: ResponseOption = None,
    speed: PullSpeedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Draw a pull, the moment of its break, or all pulls together.

    The pull is drawn with zero, onset, first peak, peak and interval, settled load and break. A recording of several
    pulls shows the first one; --pull 2 the second.

    Example: breakyard plot 2026-05-03-slipway/runs/S1.run --view break --dark
    """
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import not_kept, read_pulls
    from breakyard.session.reporting import session_picture

    mode: Mode = "dark" if dark else "light"
    pulls = find_pulls(recordings)
    chosen = shown_unit(unit, pulls)
    if view is None:
        view = View.PULL if len(pulls) == 1 else View.SESSION
    options = ReadOptions(
        calibration,
        accuracy,
        misalignment_deg=misalignment,
        temperature_c=temperature,
        response=response,
        pull_speed_m_per_s=pull_speed(speed),
    )
    if card:
        _cards(Output(as_json), pulls, options, chosen, mode, form, number, view, output)
        return
    form = form or Form.WIDE
    if view in (View.PULL, View.BREAK, View.EXTENSION) and len(pulls) != 1:
        raise UsageError(f"--view {view} shows one pull; {len(pulls)} were given")
    if number is not None and view not in (View.PULL, View.BREAK, View.EXTENSION):
        raise UsageError(f"--pull chooses a pull for --view pull or break, not {view}")
    shown, which = pulls[0], {"pulls": 0}
    if view is View.SESSION:
        with Output(as_json).progress("reading pulls", len(pulls)) as step:
            results = read_pulls(pulls, options, step, processes=None)
        for reason in not_kept(results):
            Output(as_json).warn(f"read, but not kept: {reason}")
        for line in told_once(results):
            Output(as_json).warn(f"not in the picture: {line}")
        picture = session_picture(results, options, chosen, mode=mode, form=form.value)
    elif view is View.CALIBRATION:
        picture = _calibration(pulls[0], options, chosen, mode, form)
    elif view is View.PLATEAUS:
        picture = _plateaus(pulls[0], options, chosen, mode, form)
    else:
        picture, shown, which = _pull(pulls[0], options, view, chosen, mode, form, number)
    with elsewhere_offered(output):
        path = _write(picture, shown, view, output)
    out = Output(as_json)
    out.document({"schema": "breakyard.plot/1", "file": str(path), "alt": picture.alt} | which)
    out.say(picture.alt)
    if which["pulls"] > 1:
        out.say(f"Pull {which['pull']} of {which['pulls']} in this recording; another one: --pull NUMBER")
    out.say(f"written: {path}")


def _pull(
    pull: "Pull", options: "ReadOptions", view: View, unit: str, mode: "Mode", form: Form, number: int | None
) -> "tuple[FigurePicture, Pull, dict[str, int]]":
    """Draw one pull of a recording; with the pull, and which of how many it is."""
    from breakyard.report.figures.extension_figure import extension_figure
    from breakyard.report.figures.pull_figure import break_figure, pull_figure
    from breakyard.session.reading import read_one

    found = read_one(pull, options)
    result, curve = chosen_of(found, number, pull.path)
    if result.summary is None:
        raise DataError(result.problem)
    title = " ".join(part for part in (result.label, result.pull.group) if part)
    draw = {View.BREAK: break_figure, View.EXTENSION: extension_figure}.get(view, pull_figure)
    picture = draw(curve, result.summary, unit=unit, title=title, mode=mode, form=form.value)
    return picture, result.pull, {"pull": number or 1, "pulls": len(found)}


def _cards(
    out: Output,
    pulls: "tuple[Pull, ...]",
    options: "ReadOptions",
    unit: str,
    mode: "Mode",
    form: Form | None,
    number: int | None,
    view: View,
    output: Path | None,
) -> None:
    """Write the card of a pull, or of a comparison, in both forms or in one."""
    from breakyard.disk.atomic import write_atomically
    from breakyard.report.figures.card_figure import comparison_card, pull_card
    from breakyard.session.comparing import compare_results
    from breakyard.session.reading import read_one, read_pulls

    if view not in (View.PULL, View.SESSION):
        raise UsageError(f"--card shows a pull or groups; leave --view {view} out")
    first = pulls[0]
    session = first.session
    date = "" if session is None or session.info.date is None else session.info.date.isoformat()
    forms = [form] if form is not None else [Form.PHONE, Form.WIDE]
    if view is View.PULL:
        found = read_one(first, options)
        result, curve = chosen_of(found, number, first.path)
        if result.summary is None:
            raise DataError(result.problem)
        title = ", ".join(part for part in (result.label, result.pull.group) if part)
        name, summary = result.pull.name.replace("#", "-"), result.summary
        pictures = [
            pull_card(curve, summary, unit=unit, title=title, date=date, mode=mode, form=one.value)
            for one in forms
        ]
    else:
        with out.progress("reading pulls", len(pulls)) as step:
            results = read_pulls(pulls, options, step, processes=None)
        comparison = compare_results(results)
        name, title = "groups", "" if session is None else session.info.place
        pictures = [
            comparison_card(comparison, unit=unit, title=title, date=date, mode=mode, form=one.value)
            for one in forms
        ]
    written = []
    for one, picture in zip(forms, pictures, strict=True):
        tail = "" if len(forms) == 1 or one is Form.PHONE else "-wide"
        path = first.path.with_name(f"{name}.card{tail}.png")
        if output is not None:
            path = output.with_name(f"{output.stem}{tail}{output.suffix}")
        elif session is not None:
            path = session.layout.result_file(path.name)
        if path.suffix.lower() not in (".png", ".svg"):
            raise UsageError(f"{path}: a picture's name ends in .png or .svg")
        write_atomically(path, picture.svg() if path.suffix.lower() == ".svg" else picture.png())
        written.append(path)
    files = [str(path) for path in written]
    out.document(
        {"schema": "breakyard.plot/1", "file": files[0], "files": files, "alt": pictures[0].alt, "pulls": 0}
    )
    out.say(pictures[0].alt)
    for path in written:
        out.say(f"written: {path}")


def _calibration(
    pull: "Pull", options: "ReadOptions", unit: str, mode: "Mode", form: Form
) -> "FigurePicture":
    from breakyard.report.figures.calibration_figure import calibration_figure
    from breakyard.session.in_force import load_calibration

    made = load_calibration(options.calibration, pull.session, pull.name)
    return calibration_figure(made, unit=unit, mode=mode, form=form.value)


def _plateaus(pull: "Pull", options: "ReadOptions", unit: str, mode: "Mode", form: Form) -> "FigurePicture":
    """Find the plateaus again, by what the calibration says was hung."""
    from breakyard.calibration import points_from_run
    from breakyard.report.figures.plateau_figure import plateau_figure
    from breakyard.session.in_force import load_calibration
    from breakyard.session.recordings import load_counts

    made = load_calibration(options.calibration, pull.session, pull.name)
    run = load_counts(pull.path)
    _, plateaus = points_from_run(run, [point.load for point in made.points])
    return plateau_figure(run, plateaus, made, unit=unit, mode=mode, form=form.value)


def _write(picture: "FigurePicture", pull: "Pull", view: View, output: Path | None) -> Path:
    """Write the picture where asked, else into the session's results, else beside the recording."""
    from breakyard.disk.atomic import write_atomically

    kind = "png" if output is None else output.suffix.lower().lstrip(".")
    if kind not in ("png", "svg"):
        raise UsageError(f"{output}: a picture's name ends in .png or .svg")
    data = picture.png() if kind == "png" else picture.svg()
    name = {View.SESSION: "all-pulls", View.CALIBRATION: "calibration"}.get(
        view, f"{pull.name.replace('#', '-')}.{view}"
    ) + ".png"
    if output is None and pull.session is not None:
        return pull.session.write_result(name, data)
    path = output or pull.path.with_name(name)
    write_atomically(path, data if isinstance(data, bytes) else data.encode())
    return path
