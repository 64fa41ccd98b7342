"""breakyard calibrate: known loads and the counts they gave -> a calibration."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption, near
from breakyard.errors import CalibrationError, UsageError

if TYPE_CHECKING:
    from breakyard.calibration import Calibration, CalibrationFinding, Drawn
    from breakyard.session.known_loads import KnownPoints

_LOADS = "Known loads"
_PLACE = "Place and air (gravity and buoyancy)"
_CELL = "The cell's plate and sheet"
_PERCENT = "in percent of the capacity"


def command(
    recording: Annotated[
        Path | None, typer.Argument(help="Run in which the masses were hung one after another.")
    ] = None,
    masses: Annotated[
        str | None,
        typer.Option(
            help='What hung, in order, separated by commas: "0, 20 kg, 2 x 20 kg, 20 kg, 0"; "0" is the empty hook. '
            'Also "45 lb", "20 L water at 12 C + 0.9 kg", "20 kg +- 0.02 kg", "20 kg via 5:1".',
            rich_help_panel=_LOADS,
        ),
    ] = None,
    mass_limit: Annotated[
        float | None,
        typer.Option(
            help="Limit of error, in percent, of masses that state no +-; common to all of them or each for itself.",
            rich_help_panel=_LOADS,
        ),
    ] = None,
    masses_known: Annotated[
        str | None,
        typer.Option(
            metavar="HOW",
            help="certificate (0.05 % taken where no limit is stated), weighed on a scale (1 %) or marked (3 %); "
            "default: marked, in a terminal it is asked.",
            rich_help_panel=_LOADS,
        ),
    ] = None,
    points: Annotated[
        Path | None,
        typer.Option(
            help="Instead of a recording: a CSV table with the columns Load (or Mass [kg], or Force [N] with "
            "Uncertainty [N]) and Counts.",
            rich_help_panel=_LOADS,
        ),
    ] = None,
    transfer: Annotated[
        Path | None,
        typer.Option(
            help="Instead of masses: the recording of a second, calibrated cell in the same line.",
            rich_help_panel=_LOADS,
        ),
    ] = None,
    reference: Annotated[
        Path | None,
        typer.Option(help="The calibration of that second cell.", rich_help_panel=_LOADS),
    ] = None,
    steps: Annotated[
        int | None,
        typer.Option(
            help="With --transfer: how many loads were held, the empty ones counted.", rich_help_panel=_LOADS
        ),
    ] = None,
    latitude: Annotated[
        float | None,
        typer.Option(
            help="Where it was done, in degrees: gravity differs by 0.5 % over the earth. Default: the session's.",
            rich_help_panel=_PLACE,
        ),
    ] = None,
    height: Annotated[
        float | None, typer.Option(help="Height above the sea in metres.", rich_help_panel=_PLACE)
    ] = None,
    gravity: Annotated[
        float | None, typer.Option(help="Local gravity in m/s2, if you know it.", rich_help_panel=_PLACE)
    ] = None,
    weather: Annotated[
        str | None, typer.Option(help='"12 C, 1013 hPa, 60 %"; matters for water.', rich_help_panel=_PLACE)
    ] = None,
    air_density: Annotated[
        float | None,
        typer.Option(help="Density of the air in kg/m3, if you know it.", rich_help_panel=_PLACE),
    ] = None,
    capacity: Annotated[
        str | None, typer.Option(help='Capacity on the plate, as "1000 kgf".', rich_help_panel=_CELL)
    ] = None,
    rated_output: Annotated[
        float | None,
        typer.Option(
            help="Rated output on the plate, in mV/V; finds mistakes in units, gain and wiring.",
            rich_help_panel=_CELL,
        ),
    ] = None,
    nonlinearity: Annotated[
        float | None, typer.Option(help=f"Non-linearity {_PERCENT}.", rich_help_panel=_CELL)
    ] = None,
    hysteresis: Annotated[
        float | None, typer.Option(help=f"Hysteresis {_PERCENT}.", rich_help_panel=_CELL)
    ] = None,
    repeatability: Annotated[
        float | None, typer.Option(help=f"Repeatability {_PERCENT}.", rich_help_panel=_CELL)
    ] = None,
    zero_return: Annotated[
        float | None, typer.Option(help=f"Zero return after a full load {_PERCENT}.", rich_help_panel=_CELL)
    ] = None,
    creep: Annotated[
        float | None, typer.Option(help=f"Creep in 30 minutes {_PERCENT}.", rich_help_panel=_CELL)
    ] = None,
    span_per_c: Annotated[
        float | None,
        typer.Option(help="Temperature effect on the span, in percent per degree C.", rich_help_panel=_CELL),
    ] = None,
    temperature_range: Annotated[
        float, typer.Option(help="Pulls may be this many degrees warmer or colder.", rich_help_panel=_CELL)
    ] = 20.0,
    temperature: Annotated[
        float | None,
        typer.Option(
            min=-60.0,
            max=80.0,
            metavar="C",
            help="Temperature of the cell during the calibration, in degrees C; default: that of --weather.",
            rich_help_panel=_CELL,
        ),
    ] = None,
    gain: Annotated[
        int | None,
        typer.Option(help="Where the recording does not say: 128, 64 or 32.", rich_help_panel=_CELL),
    ] = None,
    degree: Annotated[
        str, typer.Option(help="Of the polynomial: auto (what the points support), 1, 2 or 3.")
    ] = "auto",
    name: Annotated[str, typer.Option(help="Name of the calibration.")] = "",
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", help="File to write; default: in the session, or beside the recording."
        ),
    ] = None,
    previous: Annotated[
        Path | None,
        typer.Option(help="An earlier calibration to compare with; default: the session's latest."),
    ] = None,
    write_anyway: Annotated[
        bool,
        typer.Option("--write-anyway", help="Write also where the points miss their own line by over 2 %."),
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Write nothing when something serious is found.")
    ] = False,
    draws: Annotated[
        int,
        typer.Option("--monte-carlo", help="Also draw each interval this many times (JCGM 101), as 20000."),
    ] = 0,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture", "-p", help="Draw line, interval and residuals: a file ending in .png or .svg."
        ),
    ] = None,
    recording_picture: Annotated[
        Path | None, typer.Option(help="Draw the recording with the samples that were used.")
    ] = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Calibrate a cell with masses you own.

    Start one recording, then hang the masses one after another, up and down, ten seconds each; say in the same order
    what hung. The steady stretches are found; swinging and handling are left out. Then the usual mistakes are
    looked for; each one found is named, with what to check. If something is serious, the status is 1; the calibration
    is written all the same, with the doubt in it, so that you can look into it (not with --strict, and not where the
    points miss their own line by more than 2 %). What you do not state is assumed wide: masses to 3 %, no plate.

    Example: breakyard calibrate runs/calibration.run --masses "0, 20 kg, 40 kg, 20 kg, 0" --capacity "1000 kgf"

    Example: breakyard calibrate --points bench.csv --capacity "1000 kgf" --rated-output 2 --latitude 54.3
    """
    from breakyard.calibration import calibrate, check_sanity, parse_loads
    from breakyard.cli import asking
    from breakyard.cli import calibration_options as stated
    from breakyard.cli.calibration_words import DOUBTFUL, drawn_intervals, show, show_findings, understood
    from breakyard.session import known_loads
    from breakyard.session.finding import shown_unit
    from breakyard.session.session import find_session

    if mass_limit is not None and not 0.0 <= mass_limit < 100.0:
        raise UsageError(f"--mass-limit {mass_limit:g}: give a percentage, as 0.1")
    stated.check_ways(recording, masses, points, transfer, reference)
    out, basis = Output(as_json), asking.basis_from(masses_known)
    source = recording or points
    assert source is not None
    session = find_session(source)
    if asking.somebody(as_json):
        if basis is None and mass_limit is None and masses is not None and stated.states_no_limit(masses):
            basis, mass_limit = asking.ask_basis()
        if capacity is None and rated_output is None and not (session and session.info.cell):
            capacity, rated_output = asking.ask_plate()
    limit = None if mass_limit is None else mass_limit / 100
    if session is not None and latitude is None and gravity is None:
        latitude, height = session.info.latitude_deg, session.info.height_m if height is None else height
    percent = {
        "nonlinearity": nonlinearity,
        "hysteresis": hysteresis,
        "repeatability": repeatability,
        "zero_return": zero_return,
        "creep": creep,
        "span_per_c": span_per_c,
    }
    if session is not None:
        capacity, percent, rated_output = stated.with_plate_of(
            session.info.cell, capacity, percent, rated_output
        )
    plate = stated.plate_from(capacity, percent, rated_output)
    local = stated.gravity_from(latitude, height, gravity)
    air = stated.air_from(weather, air_density)
    if points is not None:
        known = known_loads.from_table(points, limit, basis, gain)
    elif transfer is not None:
        assert reference is not None
        known = known_loads.from_second_cell(source, transfer, reference, steps, gain)
    else:
        assert masses is not None
        loads = parse_loads(masses, mass_limit=limit, known=basis)
        known = known_loads.from_recording(
            source, masses, loads, gain, before=lambda: out.say("\n".join(understood(loads)))
        )
    earlier = known_loads.previous_calibration(previous, session, known.gain)
    try:
        made = calibrate(
            known.points,
            plate=plate,
            gain=known.gain,
            gravity=local,
            air=air,
            degree=stated.degree_from(degree),
            name=name or source.stem,
            created=datetime.now(UTC).isoformat(timespec="seconds"),
            provenance=known.provenance if basis is None else {**known.provenance, "masses known by": basis},
            temperature_range_c=temperature_range,
            temperature_c=stated.temperature_from(temperature, weather),
        )
    except CalibrationError as error:
        raise CalibrationError(f"{source.name}: {error}") from None
    findings = check_sanity(
        made,
        noise_counts=None if known.plateaus is None else known.plateaus.noise_counts,
        rate_hz=None if known.run is None else 1.0 / known.run.period_s,
        previous=earlier,
    )
    serious = [finding for finding in findings if finding.serious]
    made = replace(
        made,
        flags=(*made.flags, *(finding.code for finding in serious)),
        sentences=(*made.sentences, *(f"{DOUBTFUL}{finding.message}." for finding in serious)),
    )
    shown = shown_unit(unit or (session.info.unit if session else None))
    pictures = _draw(made, known, shown, picture, recording_picture)
    poor = any(finding.code == "poor_fit" for finding in serious) and not write_anyway
    path = None if poor or (strict and serious) else known_loads.keep_calibration(made, source, output)
    if path is not None and transfer is not None:
        known_loads.note_purpose(transfer)
    drawn = drawn_intervals(made, draws) if draws else {}
    out.document(_document(made, findings, path, pictures, earlier, drawn))
    show(out, made, known.plateaus, shown, drawn)
    show_findings(out, findings, suspects=bool(made.suspects))
    for one in pictures:
        out.say(f"picture: {one}")
    if path is not None:
        out.say(f"written: {path}")
        if session is not None:
            out.say(
                f"next: breakyard record {near(session.root)}   or, where you are: breakyard next {near(session.root)}"
            )
    elif poor:
        out.say(
            "not written, because these points make no calibration; --write-anyway writes it all the same"
        )
    else:
        out.say("not written, because of --strict")
    if session is None:
        out.say(NO_SESSION)
    if (
        session is not None
        and path is not None
        and len(session.calibrations()) > 1
        and not session.info.calibration
    ):
        out.say(
            f'The session has several calibrations: choose one for all by calibration = "{path.stem}" in session.toml.'
        )
    if serious:
        raise typer.Exit(STATUS_NO)


NO_SESSION: Final = (
    "no session here: the calibration lies beside the recording; breakyard new FOLDER makes a session"
)


def _draw(
    made: "Calibration", known: "KnownPoints", unit: str, picture: Path | None, recording_picture: Path | None
) -> list[Path]:
    """Write the pictures that were asked for."""
    drawn = []
    if picture is not None:
        from breakyard.report.figures.calibration_figure import calibration_figure
        from breakyard.session.files.pictures import save_picture

        save_picture(calibration_figure(made, unit=unit), picture)
        drawn.append(picture)
    if recording_picture is not None:
        from breakyard.report.figures.plateau_figure import plateau_figure
        from breakyard.session.files.pictures import save_picture

        if known.run is None or known.plateaus is None:
            raise UsageError("--recording-picture needs a recording; a table of points has none")
        save_picture(plateau_figure(known.run, known.plateaus, made, unit=unit), recording_picture)
        drawn.append(recording_picture)
    return drawn


def _document(
    made: "Calibration",
    findings: "Sequence[CalibrationFinding]",
    path: Path | None,
    pictures: Sequence[Path],
    earlier: "Calibration | None",
    drawn: "Mapping[float, Drawn]",
) -> dict[str, object]:
    """The calibration as its file has it, and what this command found out beside it."""
    from breakyard.cli.calibration_words import load_line
    from breakyard.document import to_plain

    return made.to_json() | {
        "file": None if path is None else str(path),
        "loads_understood": [load_line(point.load) for point in made.points],
        "findings": to_plain(findings),
        "compared_with": None if earlier is None else {"name": earlier.name, "hash": earlier.content_hash},
        "pictures": [str(one) for one in pictures],
        "monte_carlo": to_plain(list(drawn.values())),
    }
