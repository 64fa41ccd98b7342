"""breakyard compare: what the groups carry, and what their differences really say."""

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from breakyard.cli.inputs import AccuracyOption, CalibrationOption
from breakyard.cli.output import JsonOption, Output, UnitOption

if TYPE_CHECKING:
    from breakyard.compare import Comparison, Quantity
    from breakyard.compare.groups import Group


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
    with out.progress("reading pulls", len(pulls)) as step:
        reads = read_pulls(pulls, Wanted(calibration, accuracy, coverage), step)
    comparison = compare_reads(
        reads,
        of=_QUANTITY[of],
        per=per,
        reference=reference,
        matters=worth,
        coverage=coverage,
    )
    out.document(comparison.to_json())
    show(out, comparison, shown)


def show(out: Output, comparison: "Comparison", unit: str) -> None:
    """Print groups, claims and verdicts."""
    shown = unit + comparison.quantity.unit.removeprefix("N")
    level = f"{100 * comparison.coverage:.6g} %"
    out.table(
        f"{comparison.quantity.name.replace('_', ' ')} by group, {shown}",
        (
            "group",
            "n",
            "at least",
            "mean",
            f"{level} interval",
            "SD",
            "scatter",
            "median",
            "lowest",
            "highest",
        ),
        [_loads(group, unit) for group in comparison.groups],
    )
    out.table(
        f"what such parts bear, {shown}",
        (
            "group",
            *(_claim(bound.name, bound.content, bound.confidence) for bound in comparison.groups[0].bounds),
            "Weibull shape",
            "Weibull scale",
        ),
        [_claims(group, unit) for group in comparison.groups],
    )
    for pair in comparison.pairs:
        out.say(f"* {pair.sentence}")
        if pair.beats is not None:
            out.say(
                f"  {_beats(pair.first, pair.second, pair.beats.probability, pair.beats.low, pair.beats.high)}"
            )
    if comparison.all_equal is not None:
        out.say(
            f"  All groups alike? Welch's F = {comparison.all_equal.f:.2f}, p = {comparison.all_equal.p:.2g}."
        )
    for group in comparison.groups:
        for line in _remarks(group, unit):
            out.say(f"  {group.name}: {line}")
    for line in comparison.notes:
        out.say(f"  {line}")
    for line in comparison.left_out:
        out.say(f"! left out: {line}")


def _loads(group: "Group", unit: str) -> tuple[str, ...]:
    interval = group.interval
    high = None if interval is None else interval.high_n
    spread = group.sd_n or max(group.own_n, 0.01 * group.max_n)

    def load(value: float | None, way: int = 0) -> str:
        return _load(value, unit, spread, way)

    return (
        group.name,
        str(group.n),
        str(group.at_least),
        load(group.mean_n),
        "-" if interval is None else f"{load(interval.low_n, -1)} to {load(high, 1)}",
        load(group.sd_n),
        "-" if group.cv is None else f"{100 * group.cv:.1f} %",
        load(
            group.median_n if group.median_n is not None or group.weibull is None else group.weibull.median_n
        ),
        load(group.min_n),
        load(group.max_n),
    )


def _claims(group: "Group", unit: str) -> tuple[str, ...]:
    spread = group.sd_n or 0.01 * group.max_n
    curve = group.weibull
    shape = (
        "-" if curve is None else f"{curve.shape:.3g} ({_open(curve.shape_low)} to {_open(curve.shape_high)})"
    )
    scale = (
        "-"
        if curve is None
        else f"{_load(curve.scale_n, unit, spread)} ({_load(curve.scale_low_n, unit, spread)} to "
        f"{_load(curve.scale_high_n, unit, spread)})"
    )
    return (group.name, *(_load(bound.value_n, unit, spread, -1) for bound in group.bounds), shape, scale)


def _claim(name: str, content: float, confidence: float) -> str:
    return f"{name}: {100 * content:.0f} % bear it, {100 * confidence:.0f} % sure"


def _open(value: float | None) -> str:
    return "?" if value is None else f"{value:.3g}"


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


def _beats(first: str, second: str, chance: float, low: float | None, high: float | None) -> str:
    text = f"Next {first} bears more than next {second}: {100 * chance:.0f} % likely"
    return f"{text}." if low is None or high is None else f"{text} ({100 * low:.0f} to {100 * high:.0f} %)."


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
    lines += [f"! {doubt.specimen}: {', '.join(doubt.flags)}" for doubt in group.doubts]
    return lines
