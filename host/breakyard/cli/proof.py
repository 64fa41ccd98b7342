"""breakyard proof: was a load held for a time, decided so that doubt never counts as held?"""

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
from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption


def command(
    recordings: Annotated[list[Path], typer.Argument(help="Sessions' folders, or recordings.")],
    load: Annotated[
        str | None, typer.Option("--load", help='Load to be held, as "500 kgf"; default: column proof_load.')
    ] = None,
    time: Annotated[
        str | None, typer.Option("--for", help='For how long, as "60 s" or "5 min"; default: column proof_s.')
    ] = None,
    calibration: CalibrationOption = None,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = None,
    temperature: TemperatureOption = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say whether a load was held for the stated time.

    The answer is held, not held, or not shown. Held means by more than the measurement's own doubt (a guard band, JCGM
    106); "not shown" says what to aim for. Several specimens have their own loads in the columns proof_load and
    proof_s of specimens.csv. Ends with status 1 unless all were held. A hold is no rating.

    Example: breakyard proof 2026-05-03-slipway --load "500 kgf" --for "60 s"
    """
    from breakyard.report.words.proof_words import (
        NO_RATING,
        after_sentence,
        proof_cells,
        proof_headings,
        proof_sentence,
    )
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.session.options import ReadOptions
    from breakyard.session.proving import document, parse_duration, prove_pulls
    from breakyard.session.reading import read_pulls
    from breakyard.units import parse_force

    load_n = None if load is None else option("--load", parse_force, load)
    for_s = None if time is None else option("--for", parse_duration, time)
    pulls = find_pulls(recordings)
    shown = shown_unit(unit, pulls)
    out = Output(as_json)
    options = ReadOptions(calibration, accuracy, misalignment_deg=misalignment, temperature_c=temperature)
    with out.progress("reading pulls", len(pulls)) as step:
        results = read_pulls(pulls, options, step, processes=None)
    proved = prove_pulls(results, options, load_n=load_n, for_s=for_s)
    out.document(document(proved))
    rows = [(one.result.label, *proof_cells(one.proof, shown)) for one in proved if one.proof is not None]
    out.table("", ("Specimen", *proof_headings(shown)), rows)
    for one in proved:
        if one.proof is None:
            out.say(f"! {one.result.label}: not known ({one.problem})")
            continue
        mark = " " if one.proof.verdict == "held" else "!"
        out.say(f"{mark} {one.result.label}: {proof_sentence(one.proof, shown)}")
        if after := after_sentence(one.proof, shown):
            out.say(f"    {after}")
    out.say(NO_RATING)
    if any(one.proof is None or one.proof.verdict != "held" for one in proved):
        raise typer.Exit(STATUS_NO)
