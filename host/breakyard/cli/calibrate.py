"""breakyard calibrate: a recording of known masses -> a calibration."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from breakyard.cli.output import JsonOption, Output, UnitOption
from breakyard.errors import CalibrationError, UsageError

if TYPE_CHECKING:
    from breakyard.calibration import Calibration, Gravity, Plateaus

_PERCENT = "in percent of the capacity, from the cell's sheet"


def command(
    recording: Annotated[Path, typer.Argument(help="Run in which the masses were hung one after another.")],
    masses: Annotated[
        str,
        typer.Option(
            help='What hung, in order, separated by commas: "0, 20 kg, 2 x 20 kg, 20 kg, 0"; "0" is the empty hook. '
            'Also "45 lb", "20 L water at 12 C + 0.9 kg", "20 kg +- 0.02 kg".'
        ),
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", help="File to write; default: in the session, or beside the recording."
        ),
    ] = None,
    name: Annotated[str, typer.Option(help="Name of the calibration.")] = "",
    latitude: Annotated[
        float | None,
        typer.Option(help="Where it was done, in degrees: gravity differs by 0.5 % over the earth."),
    ] = None,
    height: Annotated[float | None, typer.Option(help="Height above the sea in metres.")] = None,
    gravity: Annotated[float | None, typer.Option(help="Local gravity in m/s2, if you know it.")] = None,
    capacity: Annotated[
        str | None, typer.Option(help='Capacity on the cell\'s plate, as "1000 kgf".')
    ] = None,
    rated_output: Annotated[float | None, typer.Option(help="Rated output on the plate, in mV/V.")] = None,
    nonlinearity: Annotated[float | None, typer.Option(help=f"Non-linearity {_PERCENT}.")] = None,
    hysteresis: Annotated[float | None, typer.Option(help=f"Hysteresis {_PERCENT}.")] = None,
    degree: Annotated[
        int | None, typer.Option(help="Degree of the polynomial, 1 to 3; default: what the points support.")
    ] = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Calibrate a cell with masses you own.

    Start one recording, then hang the masses one after another, up and down, ten seconds each; say in the same order
    what hung. The steady stretches are found, swinging and handling are left out.

    Example: breakyard calibrate runs/calibration.run --masses "0, 20 kg, 40 kg, 20 kg, 0" --latitude 54.3
    """
    from breakyard.calibration import calibrate, parse_loads, points_from_run
    from breakyard.cli.inputs import load_run, shown_unit
    from breakyard.session.session import find_session

    session = find_session(recording)
    if session is not None and latitude is None and gravity is None:
        latitude, height = session.info.latitude_deg, session.info.height_m
    run = load_run(recording)
    try:
        points, plateaus = points_from_run(run, parse_loads(masses))
        made = calibrate(
            points,
            plate=_plate(capacity, rated_output, nonlinearity, hysteresis),
            gain=None if run.converter is None else run.converter.gain,
            gravity=_gravity(latitude, height, gravity),
            degree=degree,
            name=name or recording.stem,
            created=datetime.now(UTC).isoformat(timespec="seconds"),
            provenance={"recording": recording.name, "masses": masses},
        )
    except CalibrationError as error:
        raise CalibrationError(f"{recording.name}: {error}") from None
    path = write_calibration(made, recording, output)
    out = Output(as_json)
    out.document(made.to_json() | {"file": str(path)})
    show(out, made, plateaus, shown_unit(unit or (session.info.unit if session else None)))
    out.say(f"written: {path}")


def write_calibration(made: "Calibration", recording: Path, output: Path | None) -> Path:
    """Keep a calibration: where asked, else in the recording's session, else beside the recording.

    Raises: DataError when another calibration has that name.
    """
    import json

    from breakyard.session.atomic import write_once
    from breakyard.session.layout import name_from
    from breakyard.session.session import find_session

    text = json.dumps(made.to_json(), indent=1, ensure_ascii=False) + "\n"
    session = find_session(recording)
    if output is None and session is not None:
        return session.add_calibration(name_from(made.name), text)
    path = output or recording.with_name(f"{name_from(made.name)}.calibration.json")
    write_once(path, text.encode())
    return path


def show(out: Output, made: "Calibration", plateaus: "Plateaus | None", unit: str) -> None:
    """Print a calibration for people: its points, how far it can be trusted, what to mind."""
    from breakyard.units import from_newtons

    forces = [point.load.force(made.gravity, made.air).newtons for point in made.points]
    rows = []
    for number, (point, force, residual) in enumerate(
        zip(made.points, forces, made.residuals_n, strict=True)
    ):
        when = (
            ""
            if plateaus is None
            else f"{plateaus.found[number].start_s:.1f} to {plateaus.found[number].end_s:.1f}"
        )
        rows.append(
            [
                point.load.text or "0",
                when,
                f"{from_newtons(force, unit):.3f}",
                f"{point.counts:.0f}",
                f"{from_newtons(residual, unit):+.4f}",
            ]
        )
    out.table(
        f"Calibration {made.name}, degree {made.degree}",
        ["hung", "steady, s", f"load, {unit}", "counts", f"off the line, {unit}"],
        rows,
    )
    top = made.points[forces.index(max(forces))]
    zero = made.points[forces.index(min(forces))]
    rows = []
    for factor in (1.0, 5.0, 20.0):
        counts = zero.counts + factor * (top.counts - zero.counts)
        interval = made.interval(counts, zero.counts)
        rows.append(
            [
                f"{from_newtons(interval.load_n, unit):.1f}",
                f"{from_newtons(interval.high_n - interval.load_n, unit):.2f}",
                f"{100 * (interval.high_n - interval.load_n) / interval.load_n:.2f} %",
                "" if factor == 1.0 else f"extrapolated x {factor:.0f}",
            ]
        )
    out.table("How sure (95 %)", [f"load, {unit}", f"+-, {unit}", "+-", ""], rows)
    for sentence in made.sentences:
        out.say(sentence)


def _gravity(latitude: float | None, height: float | None, stated: float | None) -> "Gravity | None":
    from breakyard.calibration import gravity_at, stated_gravity

    if stated is not None:
        if latitude is not None:
            raise UsageError("give either --gravity or --latitude, not both")
        return stated_gravity(stated)
    if latitude is not None:
        return gravity_at(latitude, height or 0.0)
    if height is not None:
        raise UsageError("--height alone does not give gravity; add --latitude")
    return None


def _plate(
    capacity: str | None, rated_output: float | None, nonlinearity: float | None, hysteresis: float | None
) -> Any:
    from breakyard.calibration import Plate
    from breakyard.units import parse_force

    if capacity is None:
        if any(value is not None for value in (rated_output, nonlinearity, hysteresis)):
            raise UsageError("the cell's ratings are fractions of its capacity; add --capacity")
        return None
    return Plate(
        capacity_n=parse_force(capacity),
        rated_output_mv_v=rated_output,
        nonlinearity=None if nonlinearity is None else nonlinearity / 100,
        hysteresis=None if hysteresis is None else hysteresis / 100,
    )
