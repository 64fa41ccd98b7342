"""breakyard compare: what the groups carry, and what their differences really say."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
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
from breakyard.cli.output import STATUS_NO, JsonOption, Output, UnitOption, fail
from breakyard.document import to_plain
from breakyard.errors import DataError, UsageError
from breakyard.units import FORCE_UNITS, force_unit

if TYPE_CHECKING:
    from breakyard.comparison import Comparison, Quantity
    from breakyard.comparison.factors import FactorComparison
    from breakyard.comparison.minimum import AgainstMinimum, AgainstReference
    from breakyard.session.reading import PullResult


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
    by: Annotated[
        str | None,
        typer.Option(
            help='Columns of specimens.csv that are factors, as "material,orientation"; also group and session.'
        ),
    ] = None,
    block: Annotated[
        str | None,
        typer.Option(help='With --by: column, or "session", whose shifts are taken out, as those of days.'),
    ] = None,
    adjust: Annotated[
        str | None,
        typer.Option(
            help='With --by: numbers whose effect is taken out, as "rate,temperature" (columns, or the loading rate).'
        ),
    ] = None,
    minimum: Annotated[
        str | None,
        typer.Option(
            "--at-least",
            help='Does each bear this: "500 kgf", a column of loads to be borne, or with --reference a share, as 80%.',
        ),
    ] = None,
    reference: Annotated[
        str | None, typer.Option(help="Compare the other groups (or levels) with this one only.")
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
        typer.Option(
            "--picture", "-p", help="Draw the share of specimens that bears each load (.png or .svg)."
        ),
    ] = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare groups of specimens, with a verdict for each pair.

    It says what each group carries, what the next specimens may bear, and what each difference is worth.

    Pulls that did not break or went off scale count as "at least". Outliers and doubtful pulls are named, never
    dropped. With too few specimens it says what would have to be true, instead of ranking.

    Examples: breakyard compare 2026-05-03-slipway --unit kgf

    breakyard compare 2026-05-03-slipway --per mass --reference bonded

    breakyard compare day1 day2 day3 --by material,orientation --block session --adjust temperature
    """
    from breakyard.cli.options import option
    from breakyard.session.comparing import compare_results
    from breakyard.session.factors import grouped_by
    from breakyard.session.finding import find_pulls, shown_unit
    from breakyard.session.options import ReadOptions
    from breakyard.session.reading import not_kept, read_pulls
    from breakyard.units import parse_share

    worth = option("--matters", parse_share, matters)
    if by is None and (block is not None or adjust is not None):
        raise UsageError(
            '--block and --adjust need factors: name them with --by, as --by "material,orientation"'
        )
    if minimum is not None and by is not None:
        raise UsageError("--at-least holds groups against a load: use it without --by")
    pulls = find_pulls(sessions)
    shown = shown_unit(unit, pulls)
    out = Output(as_json)
    options = ReadOptions(calibration, accuracy, coverage, misalignment, temperature, response)
    with out.progress("reading pulls", len(pulls)) as step:
        results = read_pulls(pulls, options, step, processes=None)
    refused = not_kept(results)
    for reason in refused:
        out.warn(f"read, but not kept: {reason}")
    if by is not None and (len(_listed(by)) > 1 or block is not None or adjust is not None):
        _by_factors(
            out, results, shown, by, block, adjust, _QUANTITY[of], per, reference, worth, coverage, picture
        )
        return
    asked = None if minimum is None else _Asked.read(minimum, per, reference)
    comparison = compare_results(
        results if by is None else grouped_by(results, by.strip()),
        of=_QUANTITY[of],
        per=asked.column if asked is not None and asked.column else per,
        reference=reference,
        matters=worth,
        coverage=coverage,
        # Said once: what takes no summaries takes no comparison either.
        not_kept=lambda reason: None if refused else out.warn(f"compared, but not kept: {reason}"),
    )
    against = None if asked is None else asked.against(comparison)
    undrawn = "" if picture is None else _draw(comparison, shown, picture)
    document = comparison.to_json() | ({"picture": str(picture)} if picture and not undrawn else {})
    out.document(document | ({} if against is None else {"at_least": to_plain(against)}))
    if not as_json:
        if asked is not None and against is not None:
            asked.show(out, against, shown, comparison)
        show(out, comparison, shown)
    if len(sessions) == 1 and sessions[0].is_dir():
        out.say(f"next: breakyard report {sessions[0]}")
    if undrawn:
        fail(undrawn)
    if picture is not None:
        out.say(f"written: {picture}")
    if against is not None and any(one.outcome != "shown" for one in against):
        raise SystemExit(STATUS_NO)


@dataclass(frozen=True, slots=True)
class _Asked:
    """What --at-least asks for: a load, each specimen's own (a column), or a share of the reference group's."""

    minimum_n: float = 1.0
    column: str = ""
    share: float | None = None

    @classmethod
    def read(cls, text: str, per: str | None, reference: str | None) -> "_Asked":
        """Raises: UsageError, UnitError."""
        from breakyard.cli.options import option
        from breakyard.errors import UnitError
        from breakyard.units import parse_force, parse_share

        if text.strip().endswith("%"):
            if reference is None:
                raise UsageError("--at-least with a share is of another group: name it with --reference")
            return cls(share=option("--at-least", parse_share, text))
        if any(letter.isdigit() for letter in text.strip()[:1]):
            if per is not None:
                raise UsageError("--at-least takes loads as they are: use it without --per")
            return cls(minimum_n=option("--at-least", parse_force, text))
        if per is not None:
            raise UsageError("--at-least with a column divides by it already: use it without --per")
        try:
            unit = force_unit(text.strip().split("_")[-1])
        except UnitError:
            raise UsageError(
                f'--at-least: "{text}" is neither a load, as "500 kgf", nor a column that ends in a unit of force, as '
                "required_kgf"
            ) from None
        return cls(minimum_n=FORCE_UNITS[unit], column=text.strip())

    def against(
        self, comparison: "Comparison"
    ) -> "tuple[AgainstMinimum, ...] | tuple[AgainstReference, ...]":
        from breakyard.comparison.minimum import against_minimum, against_reference

        if self.share is not None:
            return against_reference(comparison, self.share)
        return against_minimum(comparison, self.minimum_n)

    def show(
        self,
        out: Output,
        found: "tuple[AgainstMinimum, ...] | tuple[AgainstReference, ...]",
        unit: str,
        comparison: "Comparison",
    ) -> None:
        from breakyard.comparison.minimum import AgainstMinimum
        from breakyard.report.words import minimum_words as words

        for one in found:
            if isinstance(one, AgainstMinimum):
                out.say(f"* {words.minimum_sentence(one, unit, of_own=self.column)}")
            else:
                out.say(f"* {words.reference_sentence(one, comparison.coverage)}")
        out.say(f"  {words.DEFERRAL}")


def _draw(comparison: "Comparison", unit: str, path: Path) -> str:
    """Write the picture; returns why that was not possible: what was compared is shown all the same."""
    from breakyard.report.figures.ranking_figure import ranking_figure
    from breakyard.report.figures.survival_figure import survival_figure
    from breakyard.report.words.ranking import MANY, ranked_groups
    from breakyard.session.files.pictures import save_picture

    many = len(comparison.groups) > MANY
    try:
        save_picture(
            ranking_figure(ranked_groups(comparison), unit=unit)
            if many
            else survival_figure(comparison, unit=unit),
            path,
        )
    except DataError as error:
        return str(error)
    return ""


def _by_factors(
    out: Output,
    results: "Sequence[PullResult]",
    unit: str,
    by: str,
    block: str | None,
    adjust: str | None,
    of: "Quantity",
    per: str | None,
    reference: str | None,
    matters: float,
    coverage: float,
    picture: Path | None,
) -> None:
    """Compare by columns of specimens.csv."""
    from breakyard.session.factors import compare_by_factors

    found = compare_by_factors(
        results,
        by=_listed(by),
        block=block,
        adjust=_listed(adjust or ""),
        of=of,
        per=per,
        reference=reference,
        matters=matters,
        coverage=coverage,
    )
    if picture is not None:
        from breakyard.report.figures.ranking_figure import ranking_figure
        from breakyard.report.words.ranking import ranked_combinations
        from breakyard.session.files.pictures import save_picture

        save_picture(ranking_figure(ranked_combinations(found), unit=unit), picture)
    out.document(found.to_json() | ({"picture": str(picture)} if picture else {}))
    if not out.as_json:
        _show_factors(out, found, unit)
    if picture is not None:
        out.say(f"written: {picture}")


def _listed(text: str) -> list[str]:
    return [name.strip() for name in text.split(",") if name.strip()]


def _show_factors(out: Output, found: "FactorComparison", unit: str) -> None:
    """The ranking, then each factor's ratios, then what was taken out and what these data cannot show."""
    from breakyard.comparison.factors import words
    from breakyard.report.words.ranking import ranked_combinations, ranking_lines
    from breakyard.session.factors import RATE
    from breakyard.units import from_newtons

    shown = unit + found.quantity.unit.removeprefix("N")
    level = f"{100 * found.coverage:.6g} %"
    out.say(
        f"{found.quantity.name.replace('_', ' ')} in {shown}, half of such specimens bear it; line: {level} sure"
    )
    for line in ranking_lines(ranked_combinations(found), unit):
        out.say(f"  {line}")
    for one in found.together:
        out.say(f"* {one.sentence}")
    for ratio in found.ratios:
        out.say(f"* {ratio.sentence}")
    for slope in found.slopes:
        told, unit_of = slope, ""
        if slope.condition == RATE:
            ends = (from_newtons(slope.from_value, unit), from_newtons(slope.to_value, unit))
            told = replace(slope, condition="loading rate", from_value=ends[0], to_value=ends[1])
            unit_of = f"{unit}/s"
        out.say(f"* {words.slope_sentence(told, found.coverage, unit_of)}")
    for shift in found.shifts:
        out.say(f"  {words.shift_sentence(shift)}")
    _show_remarks(out, found.cannot_tell, found.notes, found.left_out)


def _show_remarks(out: Output, doubts: Sequence[str], notes: Sequence[str], left_out: Sequence[str]) -> None:
    """What stands below every comparison."""
    for line in doubts:
        out.say(f"! {line}")
    for line in notes:
        out.say(f"  {line}")
    for line in left_out:
        out.say(f"! left out: {line}")


SIDE_BY_SIDE: Final = 4
"""Groups in one table; more do not fit a usual window."""


def show(out: Output, comparison: "Comparison", unit: str) -> None:
    """Print verdicts, groups and claims."""
    from breakyard.report.words import group_words as words
    from breakyard.report.words.ranking import MANY, ranked_groups, ranking_lines

    # What people ask first, and then what it rests on.
    if len(comparison.groups) > MANY:
        out.say(f"{comparison.quantity.name.replace('_', ' ')} in {unit}, the strongest first")
        for line in ranking_lines(ranked_groups(comparison), unit):
            out.say(f"  {line}")
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
    _show_remarks(out, words.doubt_lines(comparison), comparison.notes, comparison.left_out)
