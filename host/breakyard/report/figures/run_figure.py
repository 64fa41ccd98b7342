"""A run as it was recorded: counts over time, before any calibration."""

import numpy as np

from breakyard.report.figures.style import (
    VERMILLION,
    FigurePicture,
    Form,
    Legend,
    Mode,
    draw_key,
    make_look,
    new_figure,
    set_title,
    thinned,
)
from breakyard.report.trace import limits
from breakyard.run import Run


def run_figure(run: Run, *, title: str = "", mode: Mode = "light", form: Form = "wide") -> FigurePicture:
    """Draw the counts, with what is missing and what was on a rail. Raises: UsageError (mode, form)."""
    look = make_look(mode, form)
    figure, (axes,) = new_figure(look)
    key = Legend(look)
    time, counts = thinned(run.time_s, np.where(run.usable, run.counts, np.nan).astype(np.float64))
    axes.plot(time, counts, color=look.theme.curve, linewidth=1.4, zorder=2)
    key.line("counts", color=look.theme.curve, linewidth=1.4)
    clipped = run.clipped
    if clipped.any():
        shown_s, shown = thinned(run.time_s[clipped], run.counts[clipped].astype(np.float64), 200)
        axes.plot(shown_s, shown, linestyle="none", marker="^", markersize=5, color=VERMILLION, zorder=3)
        key.line("on a rail: the load was larger", linestyle="none", marker="^", color=VERMILLION)
    for gap in run.gaps:
        axes.axvspan(gap.start_s, gap.end_s, color=look.theme.faint, alpha=0.3, linewidth=0.0, zorder=1)
    if run.gaps:
        key.line(
            f"missing: {sum(gap.missing for gap in run.gaps)} samples", color=look.theme.faint, linewidth=6
        )
    if run.time_s.size:
        axes.set_xlim(*limits(float(run.time_s[0]), float(run.time_s[-1])))
    axes.set_xlabel("Time [s]")
    axes.set_ylabel("Counts of the converter")
    set_title(axes, look, title or run.name)
    draw_key(figure, key)
    most = f", {int(run.counts.min())} to {int(run.counts.max())}" if run.counts.size else ""
    alt = (
        f"Counts over time of {run.name}: {run.counts.size} samples{most}; "
        f"{int(clipped.sum())} on a rail, {len(run.gaps)} gaps."
    )
    return FigurePicture(figure, alt, look.dpi)
