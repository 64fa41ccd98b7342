"""A calibration for people: its points, how sure a load is, its quality, and what looks wrong."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from breakyard.cli.output import Output

if TYPE_CHECKING:
    from breakyard.calibration import Calibration, CalibrationFinding, CalibrationPlateaus, Drawn, KnownLoad

DOUBTFUL: Final = "Doubtful when it was made: "
"""Begins a sentence that a serious finding leaves in the calibration."""

LIMIT: Final = 3.0**0.5
"""Half-width of a rectangle per standard uncertainty (JCGM 100, 4.3.7)."""

FAR: Final = 20.0
"""Beyond this many times the highest known load an interval is indicative only."""


def drawn_intervals(made: "Calibration", draws: int) -> "dict[float, Drawn]":
    """The intervals of the table by drawing (JCGM 101), by their load. Raises: UsageError for too few draws."""
    from breakyard.calibration import monte_carlo

    zero = made.zero_counts
    return {load: monte_carlo(made, made.counts_at(load, zero), zero, draws=draws) for load in _loads(made)}


def understood(loads: "Sequence[KnownLoad]") -> list[str]:
    """Each load as it was read, before anything is made of it."""
    return ["Understood:", *(f"  {at}. {load_line(load)}" for at, load in enumerate(loads, start=1)), ""]


def load_line(load: "KnownLoad") -> str:
    """What hung, in kilograms, and how far off it may be."""
    if load.nothing:
        return "nothing: the empty hook"
    if load.reference_n:
        return load.text
    limit = sum(piece.standard_kg * (LIMIT if piece.limited else 2.0) for piece in load.pieces)
    assumed = ", assumed" if any(piece.assumed for piece in load.pieces) else ""
    lever = f", times {load.ratio:g} by its lever" if load.ratio != 1.0 else ""
    share = 100.0 * limit / load.kilograms
    return f"{load.text} = {load.kilograms:.3f} kg +- {limit:.2g} kg ({share:.2g} %{assumed}){lever}"


def show(
    out: Output,
    made: "Calibration",
    plateaus: "CalibrationPlateaus | None",
    unit: str,
    drawn: "Mapping[float, Drawn]",
) -> None:
    """Print a calibration: points with what is off, intervals up to the capacity, quality, what to mind."""
    if out.as_json:
        return
    _show_points(out, made, plateaus, unit)
    _show_intervals(out, made, unit, drawn)
    for sentence in made.sentences:
        if not sentence.startswith(DOUBTFUL):
            out.say(sentence)
    out.say("")
    for sentence in made.quality().sentences:
        out.say(sentence)


def show_findings(out: Output, findings: "Sequence[CalibrationFinding]", *, suspects: bool = False) -> None:
    """Print what looks wrong, the serious first, or that nothing does; `suspects`: a point was named already."""
    if not findings:
        out.say(f"\nNo {'other ' if suspects else ''}usual mistake was found.")
        return
    out.say("")
    for finding in sorted(findings, key=lambda finding: not finding.serious):
        out.say(f"{'SERIOUS' if finding.serious else 'Mind'} ({finding.code}): {finding.message}")


def _show_points(out: Output, made: "Calibration", plateaus: "CalibrationPlateaus | None", unit: str) -> None:
    from breakyard.units import from_newtons

    forces = [point.load.force(made.gravity, made.air).newtons for point in made.points]
    suspect = {index for one in made.suspects[:1] for index in one.points}
    rows = []
    for number, (point, force, residual) in enumerate(
        zip(made.points, forces, made.residuals_n, strict=True)
    ):
        when = (
            ""
            if point.start_s is None or point.end_s is None
            else f"{point.start_s:.1f} to {point.end_s:.1f}"
        )
        rows.append(
            [
                f"{number + 1}  {point.load.text or '0'}",
                when,
                f"{from_newtons(force, unit):.3f}",
                f"{point.counts:.0f}",
                f"{from_newtons(residual, unit):+.4f}",
                "does not fit the others" if number in suspect else "",
            ]
        )
    used = "" if plateaus is None else f"; {int(plateaus.used.sum())} of {plateaus.used.size} samples used"
    out.table(
        f"Calibration {made.name}, degree {made.degree}{used}",
        ["hung", "steady, s", f"load, {unit}", "counts", f"off the line, {unit}", ""],
        rows,
    )


def _loads(made: "Calibration") -> list[float]:
    """Highest known load, five and twenty times that, and the capacity; nothing beyond it, or where a curve ends."""
    known = made.highest_known_n
    capacity = made.plate.capacity_n if made.plate else None
    wanted = {known, 5.0 * known, 20.0 * known} | ({capacity} if capacity else set())
    return sorted(
        one for one in wanted if made.reaches(one) and (capacity is None or one <= max(capacity, known))
    )


def _show_intervals(out: Output, made: "Calibration", unit: str, drawn: "Mapping[float, Drawn]") -> None:
    from breakyard.report.words.values import load_text
    from breakyard.units import from_newtons, significant

    rows, zero = [], made.zero_counts
    for load in _loads(made):
        interval = made.interval(made.counts_at(load, zero), zero)
        half = interval.high_n - interval.load_n
        row = [
            load_text(interval.load_n, unit, half),
            significant(from_newtons(half, unit), 2),
            f"{significant(100.0 * half / interval.load_n, 2)} %",
        ]
        if drawn:
            row.append(significant(from_newtons((drawn[load].high_n - drawn[load].low_n) / 2.0, unit), 2))
        capacity = made.plate.capacity_n if made.plate else None
        where = _where(interval.extrapolation, load == capacity, load == made.highest_known_n)
        rows.append([*row, where])
    more = [f"+-, {unit}, drawn"] if drawn else []
    out.table("How sure a load is (95 %)", [f"load, {unit}", f"+-, {unit}", "+-", *more, ""], rows)
    out.say(
        "  The instrument alone, as it was mounted and as warm as it was. A pull adds angle, warmth, another mounting,"
    )
    out.say(
        "  creep and another day: about 0.5 % where nothing is stated of them (breakyard summarize says what is what)."
    )


def _where(extrapolation: float, at_capacity: bool, at_highest: bool) -> str:
    from breakyard.units import significant

    parts = ["the cell's capacity"] if at_capacity else []
    if at_highest:
        parts.append("highest known load")
    elif extrapolation > 1.001:
        parts.append(f"extrapolated x {significant(extrapolation, 3)}")
    if extrapolation > FAR * 1.001:
        parts.append("indicative only")
    return ", ".join(parts)
