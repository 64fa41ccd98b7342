"""breakyard compare: what the groups carry, and what their differences really say."""

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from breakyard.cli.inputs import (
    AccuracyOption,
    CalibrationOption,
    MisalignmentOption,
    ResponseOption,
    TemperatureOption,
)
from breakyard.cli.output import JsonOption, Output, UnitOption

if TYPE_CHECKING:
    from breakyard.compare import Comparison, Quantity
    from breakyard.compare.groups import Group
    from breakyard.compare.pairwise import Beats


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
    misalignment: MisalignmentOption = 0.0,
    temperature: TemperatureOption = None,
    response: ResponseOption = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", "-p", help="Draw which share holds how much (.png or .svg)."),
    ] = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare groups of specimens: what each carries, what the next ones may bear, and a verdict for each pair.

    Pulls that did not break or went off scale count as "at least". Outliers and doubtful pulls are named, never
    dropped. With too few specimens it says what would have to be true, instead of ranking.

    Examples: breakyard compare 2026-05-03-slipway --unit kgf

    breakyard compare 2026-05-03-slipway --per mass --reference bonded
    """
    from breakyard.cli.comparing import compare_reads, share
    from breakyard.cli.inputs import find_pulls, shown_unit
    from breakyard.cli.planning import option
    from breakyard.cli.reading import Wanted, read_pulls

    worth = option("--matters", share, matters)
    pulls = find_pulls(sessions)
    shown = shown_unit(unit, pulls)
    out = Output(as_json)
    wanted = Wanted(calibration, accuracy, coverage, misalignment, temperature, response)
    with out.progress("reading pulls", len(pulls)) as step:
        reads = read_pulls(pulls, wanted, step)
    comparison = compare_reads(
        reads,
        of=_QUANTITY[of],
        per=per,
        reference=reference,
        matters=worth,
        coverage=coverage,
    )
    if picture is not None:
        from breakyard.cli.planning import save_picture
        from breakyard.report.survival_figure import survival_figure

        save_picture(survival_figure(comparison, unit=shown), picture)
    out.document(comparison.to_json() | ({"picture": str(picture)} if picture else {}))
    if not as_json:
        show(out, comparison, shown)
    if picture is not None:
        out.say(f"written: {picture}")


def show(out: Output, comparison: "Comparison", unit: str) -> None:
    """Print groups, claims and verdicts."""
    shown = unit + comparison.quantity.unit.removeprefix("N")
    for first in range(0, len(comparison.groups), SIDE_BY_SIDE):
        groups = comparison.groups[first : first + SIDE_BY_SIDE]
        columns = [_column(group, unit) for group in groups]
        names = _row_names(groups[0], comparison.coverage)
        out.table(
            f"{comparison.quantity.name.replace('_', ' ')} in {shown}",
            ("", *(group.name for group in groups)),
            [(name, *cells) for name, *cells in zip(names, *columns, strict=True)],
        )
    for pair in comparison.pairs:
        out.say(f"* {pair.sentence}")
        if pair.beats is not None:
            out.say(f"  {_beats(pair.first, pair.second, pair.beats)}")
    if comparison.all_equal is not None:
        out.say(
            f"  All groups alike? Welch's F = {comparison.all_equal.f:.2f}, p = {comparison.all_equal.p:.2g}."
        )
    for group in comparison.groups:
        for line in _remarks(group, unit):
            out.say(f"  {group.name}: {line}")
    for line in _doubts(comparison.groups):
        out.say(f"! {line}")
    for line in comparison.notes:
        out.say(f"  {line}")
    for line in comparison.left_out:
        out.say(f"! left out: {line}")


SIDE_BY_SIDE: Final = 4
"""Groups in one table; more do not fit a usual window."""


def _row_names(group: "Group", coverage: float) -> tuple[str, ...]:
    level = f"{100 * coverage:.6g} %"
    return (
        "specimens",
        "mean",
        f"{level} interval",
        "SD",
        "scatter (SD/mean)",
        "median",
        "lowest to highest",
        *(
            f"{bound.name}: {100 * bound.content:.0f} % bear it, {100 * bound.confidence:.0f} % sure"
            for bound in group.bounds
        ),
        f"{level} of such parts, {level} sure",
        "Weibull shape",
        "Weibull scale",
    )


def _column(group: "Group", unit: str) -> tuple[str, ...]:
    spread = group.sd_n or max(group.own_n, 0.01 * group.max_n)
    curve = group.weibull

    def load(value: float | None, way: int = 0) -> str:
        return _load(value, unit, spread, way)

    def within(low: float | None, high: float | None) -> str:
        if low is None or high is None or high > WIDEST * low:
            return "too few breaks"
        return f"{load(low, -1)} to {load(high, 1)}"

    interval, median = group.interval, group.median_n
    if median is None and curve is not None:
        median = curve.median_n
    return (
        f"{group.n}" + (f" ({group.at_least} at least)" if group.at_least else ""),
        load(group.mean_n),
        "-" if interval is None else within(interval.low_n, interval.high_n),
        load(group.sd_n),
        "-" if group.cv is None else f"{100 * group.cv:.1f} %",
        load(median),
        f"{load(group.min_n)} to {load(group.max_n)}",
        *(_claimed(load(bound.value_n, -1)) for bound in group.bounds),
        "-" if group.spread is None else f"{load(group.spread.low_n, -1)} to {load(group.spread.high_n, 1)}",
        "-"
        if curve is None
        else f"{curve.shape:.3g} ({_open(curve.shape_low)} to {_open(curve.shape_high)})",
        "-" if curve is None else f"{load(curve.scale_n)} ({within(curve.scale_low_n, curve.scale_high_n)})",
    )


WIDEST: Final = 10.0
"""An interval whose ends differ by more than this factor says "too few"; its numbers are in the JSON."""


def _claimed(text: str) -> str:
    return "-" if float(text.replace("-", "0")) == 0.0 else text


def _load(value: float | None, unit: str, spread_n: float, way: int = 0) -> str:
    """A load in the unit shown, with the decimals that a scatter of this size leaves meaning to.

    way: -1 rounds down and +1 up, so that rounding never promises more than was computed.
    """
    from breakyard.report.values import ceiled, decimals_for, fixed, floored
    from breakyard.units import from_newtons

    if value is None:
        return "-"
    decimals = decimals_for(from_newtons(spread_n, unit))
    return (fixed, ceiled, floored)[way](from_newtons(value, unit), decimals)


def _open(value: float | None) -> str:
    return "?" if value is None else f"{value:.3g}"


def _beats(first: str, second: str, chance: "Beats") -> str:
    return (
        f"Next {first} bears more than next {second}: {100 * chance.probability:.0f} % likely "
        f"({100 * chance.low:.0f} to {100 * chance.high:.0f} %)."
    )


def _remarks(group: "Group", unit: str) -> Sequence[str]:
    lines = list(group.notes)
    held = group.survived
    if held is not None:
        lines.append(
            f"nothing broke up to {_load(held.load_n, unit, 0.01 * group.max_n, -1)} {unit}: with "
            f"{100 * held.confidence:.6g} % confidence that is true of {100 * held.share:.0f} % of such parts"
        )
    lines += [
        f"no {bound.name} bound: {bound.reason}" for bound in group.bounds if bound.reason and group.n > 1
    ][:1]
    if group.outlier is not None:
        odd = group.outlier
        lines.append(
            f"{odd.specimen} lies {odd.statistic:.2f} SD from the mean, more than scatter explains "
            f"({odd.critical:.2f}): look at its curve. It is in every number here."
        )
    return lines


def _doubts(groups: "Sequence[Group]") -> Sequence[str]:
    """Which pulls carry which doubt; they are in every number."""
    pulls = sum(group.n for group in groups)
    by_flag: dict[str, list[str]] = {}
    for group in groups:
        for doubt in group.doubts:
            for flag in doubt.flags:
                by_flag.setdefault(flag, []).append(doubt.specimen)
    return [
        f"{flag.replace('_', ' ')}: {'all pulls' if len(names) == pulls else ', '.join(names)}"
        for flag, names in by_flag.items()
    ]
