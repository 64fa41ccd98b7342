"""breakyard weigh: what hung on the cell, with swing, slings, local gravity and air allowed for."""

from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.options import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    TemperatureOption,
    option,
)
from breakyard.cli.output import JsonOption, Output


def command(
    recording: Annotated[
        Path, typer.Argument(help="Run or recording: hook and slings first, then what is weighed.")
    ],
    tare: Annotated[
        str, typer.Option(help='What to take off: "first" (what hung before), "none", or a mass as "3.2 kg".')
    ] = "first",
    time: Annotated[
        str | None, typer.Option("--for", help="How long to average the swing; default: 10 s.")
    ] = None,
    density: Annotated[
        float | None,
        typer.Option(help="Density of what is weighed in kg/m3; default: anything from 700 to 8000."),
    ] = None,
    latitude: Annotated[
        float | None, typer.Option(help="Where it is weighed; default: the session's.")
    ] = None,
    height: Annotated[float | None, typer.Option(help="Height above the sea in metres.")] = None,
    calibration: CalibrationOption = None,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = None,
    temperature: TemperatureOption = None,
    mass_unit: Annotated[str, typer.Option("--mass-unit", help="kg, g, t or lb.")] = "kg",
    as_json: JsonOption = False,
) -> None:
    """Weigh what hung on the cell, swinging or not.

    The swing is averaged out and counts by its scatter; what hung before (hook, slings) is taken off. Mass follows by
    local gravity and the air's buoyancy. In a session the recording is then no pull.

    Example: breakyard weigh slipway/runs/engine.run --tare first --for "20 s"
    """
    from breakyard.cli.calibration_options import gravity_from
    from breakyard.session.finding import find_pulls
    from breakyard.session.options import ReadOptions
    from breakyard.session.proving import parse_duration
    from breakyard.session.weighing import WEIGHED_S, note_weighing, weigh_recording
    from breakyard.units import MASS_UNITS, parse_mass, significant
    from breakyard.units import mass_unit as named

    shown = option("--mass-unit", named, mass_unit)
    for_s = WEIGHED_S if time is None else option("--for", parse_duration, time)
    word = tare.strip().lower()
    tare_kg = None if word == "first" else 0.0 if word == "none" else option("--tare", parse_mass, tare)
    (pull,) = find_pulls([recording])[:1]
    out = Output(as_json)
    options = ReadOptions(calibration, accuracy, misalignment_deg=misalignment, temperature_c=temperature)
    found = weigh_recording(
        pull,
        options,
        for_s=for_s,
        tare_kg=tare_kg,
        gravity=gravity_from(latitude, height, None),
        density=None if density is None else (density, density),
    )
    note_weighing(pull)
    from breakyard.document import to_plain

    out.document({"schema": "breakyard.weigh/1", "recording": pull.name} | to_plain(found))
    one = MASS_UNITS[shown]
    from breakyard.report.words.values import decimals_for, fixed

    places = decimals_for((found.high_kg - found.low_kg) / 2.0 / one)
    low, high, mass = (fixed(value / one, places) for value in (found.low_kg, found.high_kg, found.mass_kg))
    out.say(f"{pull.name}: {mass} {shown} ({low} to {high}, {100 * found.coverage:g} %)")
    if tare_kg is None or found.tare_kg:
        what = "hook and slings" if tare_kg is None else "tare"
        out.say(f"  taken off: {fixed(found.tare_kg / one, places)} {shown} ({what})")
    swing = found.hung.swing_n / found.gravity.value / one
    out.say(
        f"  averaged from {found.hung.start_s:.1f} to {found.hung.end_s:.1f} s; it swung by {significant(swing, 2)} "
        f"{shown} (standard deviation)"
    )
    out.say(f"  {found.gravity.sentence}")
    rows = [(source, significant(kg / one, 2)) for source, kg in found.budget]
    out.table("Where the doubt comes from (standard uncertainties)", ("source", f"[{shown}]"), rows)
