"""breakyard compare: what the groups carry, and what their differences really say."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from breakyard.cli.options import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    ResponseOption,
    TemperatureOption,
)
from breakyard.cli.output import JsonOption, Output, UnitOption

if TYPE_CHECKING:
    from breakyard.comparison import Comparison, Quantity


class Of(StrEnum):
    """What is compared."""

    STRENGTH = "strength"
    FIRST_PEAK = "first-peak"
    SETTLED = "settled"


_QUANTITY: "Final[dict[Of, Quantity]]" = {
    Of.STRENGTH: "strength",
    Of.FIRST_PEAK: "first_peak",
    Of.SETTLED: "settled",
}


def command(
    sessions: Annotated[list[Path], typer.Argument(help="Session folders (or runs in them).")],
    of: Annotated[
        Of, typer.Option("--of", help="Load to compare; first-peak is the load at first yield.")
    ] = Of.STRENGTH,
    per: Annotated[
        str | None,
        typer.Option(
            help='Divide by "mass" (per gram), or by a column of specimens.csv, as price_EUR or area_mm2.'
        ),
    ] = None,
    reference: Annotated[
        str | None, typer.Option(help="Compare the other groups with this one only.")
    ] = None,
    matters: Annotated[str, typer.Option(help="Relative difference worth knowing about.")] = "10%",
    coverage: Annotated[float, typer.Option(min=0.5, max=0.999, help="Coverage of the intervals.")] = 0.95,
    calibration: CalibrationOption = None,
    accuracy: AccuracyOption = None,
    misalignment: MisalignmentOption = None,
    temperature: TemperatureOption = None,
    response: ResponseOption = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", "-p", help="Draw which share holds how much (.png or .svg)."),
    ] = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare groups of specimens, with a verdict for each pair.

    Told are what each carries, what the next ones may bear, and what each difference really says.

    Pulls that did not break or went off scale count as "at least". Outliers and doubtful pulls are named, never
    dropped. With too few specimens it says what would have to be true, instead of ranking.

    Examples: breakyard compare 2026-05-03-slipway --unit kgf

    breakyard compare 2026-05-03-slipway --per mass --reference bonded
    """
    from breakyard.cli.options import option
    from breakyard.session.comparing import compare_results
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import read_pulls
    from breakyard.units import parse_share

    worth = option("--matters", parse_share, matters)
    pulls = find_pulls(sessions)
    shown = shown_unit(unit, pulls)
    out = Output(as_json)
    options = ReadOptions(calibration, accuracy, coverage, misalignment, temperature, response)
    with out.progress("reading pulls", len(pulls)) as step:
        results = read_pulls(pulls, options, step, processes=None)
    comparison = compare_results(
        results,
        of=_QUANTITY[of],
        per=per,
        reference=reference,
        matters=worth,
        coverage=coverage,
    )
    if picture is not None:
        from breakyard.report.figures.survival_figure import survival_figure
        from breakyard.session.files.pictures import save_picture

        save_picture(survival_figure(comparison, unit=shown), picture)
    out.document(comparison.to_json() | ({"picture": str(picture)} if picture else {}))
    if not as_json:
        show(out, comparison, shown)
    if picture is not None:
        out.say(f"written: {picture}")


SIDE_BY_SIDE: Final = 4
"""Groups in one table; more do not fit a usual window."""


def show(out: Output, comparison: "Comparison", unit: str) -> None:
    """Print verdicts, groups and claims."""
    from breakyard.report.words import group_words as words

    # What people ask first, and then what it rests on.
    for pair in comparison.pairs:
        out.say(f"* {pair.sentence}")
        if pair.beats is not None:
            out.say(f"  {words.chance_text(pair.first, pair.second, pair.beats)}")
    shown = unit + comparison.quantity.unit.removeprefix("N")
    names = (*words.group_headings(comparison)[1:], *words.claim_headings(comparison)[1:])
    level = f"{100 * comparison.coverage:.6g} %"
    for first in range(0, len(comparison.groups), SIDE_BY_SIDE):
        groups = comparison.groups[first : first + SIDE_BY_SIDE]
        columns = [(*words.group_cells(one, unit)[1:], *words.claim_cells(one, unit)[1:]) for one in groups]
        rows = [(name, *cells) for name, *cells in zip(names, *columns, strict=True)]
        spreads = (words.spread_cell(one, unit) for one in groups)
        rows.append((f"{level} of such parts, {level} sure", *spreads))
        title = f"{comparison.quantity.name.replace('_', ' ')} in {shown}"
        out.table(title, ("", *(group.name for group in groups)), rows)
    out.say(words.INTERVAL_NOTE)
    out.say(words.CLAIMS_NOTE)
    if comparison.all_equal is not None:
        out.say(
            f"  All groups alike? Welch's F = {comparison.all_equal.f:.2f}, p = {comparison.all_equal.p:.2g}."
        )
    for group in comparison.groups:
        for line in words.group_remarks(group, unit):
            out.say(f"  {group.name}: {line}")
    for line in words.doubt_lines(comparison):
        out.say(f"! {line}")
    for line in comparison.notes:
        out.say(f"  {line}")
    for line in comparison.left_out:
        out.say(f"! left out: {line}")
