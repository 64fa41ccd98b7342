"""breakyard plot: pictures of pulls, of the moment of the break, of a session, of a calibration and its recording."""

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from breakyard.cli.inputs import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    Pull,
    PullSpeedOption,
    ResponseOption,
    TemperatureOption,
    find_pulls,
    load_curve,
    pull_speed,
    shown_unit,
)
from breakyard.cli.output import JsonOption, Output, UnitOption
from breakyard.cli.reading import Read, Wanted, read_one, read_pulls
from breakyard.errors import DataError, UsageError

if TYPE_CHECKING:
    from breakyard.report.figures.style import Picture


class View(StrEnum):
    """What to draw."""

    PULL = "pull"
    BREAK = "break"
    SESSION = "session"
    CALIBRATION = "calibration"
    PLATEAUS = "plateaus"


class Shade(StrEnum):
    """Dark letters on light paper, or the reverse."""

    LIGHT = "light"
    DARK = "dark"


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
            help="The whole pull, the 300 ms around its break, all pulls in one picture, the calibration, or what of "
            "the recording of a calibration was used."
        ),
    ] = None,
    number: Annotated[
        int | None,
        typer.Option("--pull", min=1, help="Which pull of a recording of several; default: the first."),
    ] = None,
    calibration: CalibrationOption = None,
    unit: UnitOption = None,
    shade: Annotated[Shade, typer.Option(help="light or dark.")] = Shade.LIGHT,
    form: Annotated[Form, typer.Option(help="wide, or phone for one held upright.")] = Form.WIDE,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = 0.0,
    temperature: TemperatureOption = None,
    response: ResponseOption = None,
    speed: PullSpeedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Draw a pull with its zero, onset, first peak, peak and interval, settled load and break.

    A recording of several pulls shows the first one; --pull 2 the second.

    Example: breakyard plot 2026-05-03-slipway/runs/S1.run --view break --shade dark
    """
    pulls = find_pulls(recordings)
    chosen = shown_unit(unit, pulls)
    if view is None:
        view = View.PULL if len(pulls) == 1 else View.SESSION
    wanted = Wanted(
        calibration,
        accuracy,
        misalignment_deg=misalignment,
        temperature_c=temperature,
        response=response,
        pull_speed_m_per_s=pull_speed(speed),
    )
    if view in (View.PULL, View.BREAK) and len(pulls) != 1:
        raise UsageError(f"--view {view} shows one pull; {len(pulls)} were given")
    if number is not None and view not in (View.PULL, View.BREAK):
        raise UsageError(f"--pull chooses a pull for --view pull or break, not {view}")
    shown, which = pulls[0], {"pulls": 0}
    if view is View.SESSION:
        with Output(as_json).progress("reading pulls", len(pulls)) as step:
            reads = read_pulls(pulls, wanted, step)
        picture = session_picture(reads, wanted, chosen, shade, form)
    elif view is View.CALIBRATION:
        picture = _calibration(pulls[0], wanted, chosen, shade, form)
    elif view is View.PLATEAUS:
        picture = _plateaus(pulls[0], wanted, chosen, shade, form)
    else:
        picture, shown, which = _pull(pulls[0], wanted, view, chosen, shade, form, number)
    path = _write(picture, shown, view, output)
    out = Output(as_json)
    out.document({"schema": "breakyard.plot/1", "file": str(path), "alt": picture.alt} | which)
    out.say(picture.alt)
    if which["pulls"] > 1:
        out.say(f"Pull {which['pull']} of {which['pulls']} in this recording; another one: --pull NUMBER")
    out.say(f"written: {path}")


def _pull(
    pull: Pull, wanted: Wanted, view: View, unit: str, shade: Shade, form: Form, number: int | None
) -> "tuple[Picture, Pull, dict[str, int]]":
    """Draw one pull of a recording; with the pull, and which of how many it is."""
    from breakyard.report.figures import break_figure, pull_figure

    found = read_one(pull, wanted)
    if number is not None and number > len(found):
        raise UsageError(f"{pull.path}: --pull {number}, but there are {len(found)} pull(s) in it")
    read, curve = found[(number or 1) - 1]
    if read.summary is None:
        raise DataError(read.problem)
    title = " ".join(part for part in (read.pull.specimen or read.pull.name, read.pull.group) if part)
    draw = break_figure if view is View.BREAK else pull_figure
    picture = draw(curve, read.summary, unit=unit, title=title, mode=shade.value, shape=form.value)
    return picture, read.pull, {"pull": number or 1, "pulls": len(found)}


def session_picture(
    reads: Sequence[Read], wanted: Wanted, unit: str, shade: Shade = Shade.LIGHT, form: Form = Form.WIDE
) -> "Picture":
    """Draw all pulls that could be read over one another. Raises: UsageError if there is none."""
    from breakyard.report.figures import Pull as Drawn
    from breakyard.report.figures import overlay_figure

    drawn = []
    for read in reads:
        if read.summary is None:
            continue
        curve, _ = load_curve(read.pull, wanted.calibration, accuracy_percent=wanted.accuracy_percent)
        drawn.append(
            Drawn(curve, read.summary, label=read.pull.specimen or read.pull.name, group=read.pull.group)
        )
    return overlay_figure(drawn, unit=unit, mode=shade.value, shape=form.value)


def _calibration(pull: Pull, wanted: Wanted, unit: str, shade: Shade, form: Form) -> "Picture":
    from breakyard.cli.inputs import load_calibration
    from breakyard.report.figures import calibration_figure

    made = load_calibration(wanted.calibration, pull.session, pull.name)
    return calibration_figure(made, unit=unit, mode=shade.value, shape=form.value)


def _plateaus(pull: Pull, wanted: Wanted, unit: str, shade: Shade, form: Form) -> "Picture":
    """Find the plateaus again, by what the calibration says was hung."""
    from breakyard.calibration import points_from_run
    from breakyard.cli.calibrating import load_counts
    from breakyard.cli.inputs import load_calibration
    from breakyard.report.figures import plateau_figure

    made = load_calibration(wanted.calibration, pull.session, pull.name)
    run = load_counts(pull.path)
    _, plateaus = points_from_run(run, [point.load for point in made.points])
    return plateau_figure(run, plateaus, made, unit=unit, mode=shade.value, shape=form.value)


def _write(picture: "Picture", pull: Pull, view: View, output: Path | None) -> Path:
    """Write the picture where asked, else into the session's results, else beside the recording."""
    from breakyard.session.files.atomic import write_atomically

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
