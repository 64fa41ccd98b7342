"""How values show themselves in a notebook: tables as HTML, pictures as PNG.

The one place through which values of the line reach upwards, to be drawn; it is imported when a value is asked to show
itself, and the import contract names those asking.
"""

from collections.abc import Iterable, Sequence
from html import escape

from breakyard.calibration import Calibration
from breakyard.comparison import Comparison
from breakyard.curve import LoadCurve
from breakyard.errors import NoPull, UsageError
from breakyard.plan.quantities import Finding
from breakyard.plan.ranges import RangePlan
from breakyard.plan.rig import RigCheck
from breakyard.pull.results import Summary
from breakyard.pull.summarize import summarize
from breakyard.report.figures.style import FigurePicture, Form, Mode
from breakyard.report.words import group_words
from breakyard.report.words.account import account
from breakyard.report.words.values import load_text
from breakyard.run import Run
from breakyard.shown import View
from breakyard.units import force_unit


def curve_picture(
    curve: LoadCurve, *, unit: str, title: str, mode: Mode, form: Form, view: View = "pull"
) -> FigurePicture:
    """A pull with what is read of it. Raises: NoPull, UnitError."""
    return summary_picture(summarize(curve), curve, unit=unit, title=title, mode=mode, form=form, view=view)


def summary_picture(
    summary: Summary,
    curve: LoadCurve | None,
    *,
    unit: str,
    title: str,
    mode: Mode,
    form: Form,
    view: View = "pull",
) -> FigurePicture:
    """A pull, or the moment of its break. Raises: UsageError (no curve, another view), UnitError."""
    from breakyard.report.figures.pull_figure import break_figure, pull_figure

    if curve is None:
        raise UsageError(
            f"{summary.run.name}: this summary was read from a file and has no curve; give it: plot(curve), or draw "
            f'the pull from its session: session.plot("{summary.run.name}")'
        )
    if view not in ("pull", "break"):
        raise UsageError(f'a view is "pull" or "break", not "{view}"')
    draw = break_figure if view == "break" else pull_figure
    return draw(curve, summary, unit=force_unit(unit), title=title or summary.run.name, mode=mode, form=form)


def run_picture(run: Run, *, title: str, mode: Mode, form: Form) -> FigurePicture:
    """Counts over time."""
    from breakyard.report.figures.run_figure import run_figure

    return run_figure(run, title=title, mode=mode, form=form)


def range_picture(plan: RangePlan, *, unit: str, mode: Mode, form: Form) -> FigurePicture:
    """The expected load over what cell and converter take. Raises: UnitError."""
    from breakyard.report.figures.plan_figures import range_figure

    return range_figure(plan, unit=unit, mode=mode, form=form)


def rig_picture(check: RigCheck, *, mode: Mode, form: Form) -> FigurePicture:
    """The rig from above."""
    from breakyard.report.figures.plan_figures import rig_figure

    return rig_figure(check, mode=mode, form=form)


def calibration_picture(calibration: Calibration, *, unit: str, mode: Mode, form: Form) -> FigurePicture:
    """Line, interval and residuals. Raises: UnitError."""
    from breakyard.report.figures.calibration_figure import calibration_figure

    return calibration_figure(calibration, unit=force_unit(unit), mode=mode, form=form)


def comparison_picture(comparison: Comparison, *, unit: str, mode: Mode) -> FigurePicture:
    """Which share of each group holds how much. Raises: UnitError."""
    from breakyard.report.figures.survival_figure import survival_figure

    return survival_figure(comparison, unit=force_unit(unit), mode=mode)


def curve_png(curve: LoadCurve) -> bytes | None:
    """The picture of a pull for a notebook; None where nothing can be read of it."""
    try:
        return curve_picture(curve, unit="N", title="", mode="light", form="wide").png()
    except NoPull:
        return None


def summary_html(summary: Summary, unit: str = "N") -> str:
    """One pull, line by line."""
    return table_html((), account(summary, unit), title=summary.run.name)


def comparison_html(comparison: Comparison) -> str:
    """The groups, and what is said of each pair."""
    unit = "N"
    rows = [group_words.group_cells(group, unit) for group in comparison.groups]
    pairs = "".join(f"<li>{escape(pair.sentence)}</li>" for pair in comparison.pairs)
    title = f"{comparison!r}, in {comparison.quantity.unit}"
    table = table_html(group_words.group_headings(comparison), rows, title=title)
    return table + (f"<ul>{pairs}</ul>" if pairs else "")


def findings_html(title: str, findings: Sequence[Finding]) -> str:
    """What a check found, the worst first."""
    return table_html((), [(finding.level, finding.text) for finding in findings], title=title)


def calibration_html(calibration: Calibration) -> str:
    """The points with what is off."""
    rows = [
        (point.load.text, f"{point.counts:.1f}", load_text(residual, "N", max(abs(residual), 1e-3)))
        for point, residual in zip(calibration.points, calibration.residuals_n, strict=True)
    ]
    return table_html(("known load", "counts", "off [N]"), rows, title=calibration.name)


def table_html(headings: Sequence[str], rows: Iterable[Sequence[str]], *, title: str = "") -> str:
    """A plain table; every text is escaped."""
    caption = f"<caption>{escape(title)}</caption>" if title else ""
    head = "".join(f"<th>{escape(heading)}</th>" for heading in headings)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f"<table>{caption}{f'<thead><tr>{head}</tr></thead>' if head else ''}<tbody>{body}</tbody></table>"
