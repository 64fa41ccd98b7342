"""Load over extension: from lengths that were recorded with the load, or taken beside it."""

from typing import Any

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.errors import UsageError
from breakyard.pull.extension import STIFF_FROM, STIFF_TO
from breakyard.pull.results import Summary
from breakyard.report.figures.style import (
    GREEN,
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
from breakyard.report.words.extension_words import IN_ONE, length_text
from breakyard.report.words.values import peak_text
from breakyard.units import FORCE_UNITS, force_unit

OFTEN = 200
"""More points than this are a line; fewer are drawn one by one."""


def extension_figure(
    curve: LoadCurve,
    summary: Summary,
    *,
    unit: str = "N",
    title: str = "",
    mode: Mode = "light",
    form: Form = "wide",
) -> FigurePicture:
    """Draw the load over the extension, with the line of the stiffness and the first movement.

    Raises: UsageError (no lengths are known, mode, form), UnitError.
    """
    found = summary.extension
    if found is None:
        raise UsageError(
            f"{summary.run.name}: no lengths are known; attach them (breakyard attach), or record the extension"
        )
    unit = force_unit(unit)
    look = make_look(mode, form)
    figure, (axes,) = new_figure(look)
    key = Legend(look)
    length, load = _points(curve, summary)
    length, load = length / IN_ONE[found.unit], load / FORCE_UNITS[unit]
    style: dict[str, Any] = {"color": look.theme.curve, "linewidth": 1.6}
    if len(length) <= OFTEN:
        style |= {"marker": "o", "markersize": 4.5, "linewidth": 1.0}
        axes.plot(length, load, zorder=3, **style)
    else:
        axes.plot(*thinned(length, load), zorder=3, **style)
    key.line(f"{len(length)} lengths" if len(length) <= OFTEN else "load over extension", **style)
    peak = summary.peak.estimate_n / FORCE_UNITS[unit]
    if found.stiffness is not None:
        slope = found.stiffness.value * IN_ONE[found.unit] / FORCE_UNITS[unit]
        within = (load >= STIFF_FROM * peak) & (load <= STIFF_TO * peak)
        if within.any() and slope > 0.0:
            ends = np.array([STIFF_FROM, STIFF_TO]) * peak
            x = length[within].mean() + (ends - load[within].mean()) / slope
            drawn: dict[str, Any] = {"color": VERMILLION, "linewidth": 2.0, "linestyle": (0, (5, 3))}
            axes.plot(x, ends, zorder=4, **drawn)
            key.line("stiffness, 10 to 40 % of the peak", **drawn)
    if found.first_movement_n is not None:
        level = found.first_movement_n / FORCE_UNITS[unit]
        line: dict[str, Any] = {"color": GREEN, "linewidth": 1.4, "linestyle": (0, (1, 2))}
        axes.axhline(level, zorder=2, **line)
        key.line("first movement", **line)
    axes.set_xlabel(f"Extension [{found.unit}]")
    axes.set_ylabel(f"Load [{unit}]")
    set_title(axes, look, title or summary.run.name, f"{peak_text(summary, unit)} {unit}")
    draw_key(figure, key)
    at = "" if found.at_peak_m is None else f", {length_text(found.at_peak_m, found.unit)} at the peak"
    alt = f"{title or summary.run.name}: load over extension, {len(length)} lengths{at}."
    return FigurePicture(figure, alt, look.dpi)


def _points(curve: LoadCurve, summary: Summary) -> tuple[Any, Any]:
    """Extensions from the length before the pull, and loads above zero, of the loading that was read."""
    usable = np.flatnonzero(curve.usable)
    time = curve.time_s[usable]
    load = curve.load_n[usable] - summary.zero.load_n
    if curve.extension_m is not None:
        at, length = time, curve.extension_m[usable]
    else:
        at, length = np.array(curve.series).reshape(-1, 2).T
    begin = summary.cycles[-2].top_s if len(summary.cycles) > 1 else -np.inf
    kept = at >= begin
    at, length = at[kept], length[kept]
    before = length[at <= summary.onset_s]
    origin = float(np.median(before)) if len(before) else float(length[0]) if len(length) else 0.0
    return length - origin, np.interp(at, time, load)
