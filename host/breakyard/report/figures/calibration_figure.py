"""A calibration: known loads and line, how sure a load is over the whole range, and what the line leaves over."""

from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration import Calibration, coverage_factor
from breakyard.calibration.degree import rising
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
)
from breakyard.report.trace import Floats, limits
from breakyard.report.words.values import load_text
from breakyard.units import FORCE_UNITS, force_unit, from_newtons, significant

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STEPS: Final = 60
BEYOND: Final = 4.0
"""The picture goes to the cell's capacity, or to this many times the highest known load where none is known."""


def calibration_figure(
    calibration: Calibration,
    *,
    unit: str = "N",
    up_to_n: float | None = None,
    coverage: float = 0.95,
    mode: Mode = "light",
    form: Form = "wide",
) -> FigurePicture:
    """Draw a calibration in three parts: the line, the interval of a load anywhere, the residuals.

    up_to_n: where the range ends. Raises: UnitError, UsageError (mode, form).
    """
    unit = force_unit(unit)
    factor = FORCE_UNITS[unit]
    look = make_look(mode, form)
    theme = look.theme
    known_n = calibration.highest_known_n
    capacity_n = calibration.plate.capacity_n if calibration.plate is not None else BEYOND * known_n
    end_n = max(up_to_n or capacity_n, 1.05 * known_n)
    counts = np.array([point.counts for point in calibration.points])
    zero, loads_n, at_loads, half_n = _over_the_range(calibration, end_n, coverage)
    points_n = calibration.load_n(counts, zero) + np.array(calibration.residuals_n)
    figure, (line_axes, interval_axes, residual_axes) = new_figure(look, (0.75, 0.6, 0.6))
    key = Legend(look)

    band = None
    for axes in (line_axes, interval_axes):
        band = axes.axvspan(0.0, known_n / factor, color=GREEN, alpha=0.18, linewidth=0.0, zorder=1)
        axes.set_xlim(*limits(0.0, end_n / factor))
    up = rising(_known_n(calibration))
    ways = {True: ("^", "known loads, rising"), False: ("v", "known loads, falling")}
    for way, (marker, label) in ways.items():
        here = up == way
        if not here.any():
            continue
        style: dict[str, Any] = {
            "linestyle": "none",
            "marker": marker,
            "color": VERMILLION,
            "markersize": 6.0,
        }
        line_axes.plot(points_n[here] / factor, (counts[here] - zero) / 1000.0, zorder=4, **style)
        key.line(label, **style)
    key.add(band, f"calibrated range, to {load_text(known_n, unit)} {unit}")
    inside = loads_n <= known_n * 1.001
    first = np.concatenate([[0.0], loads_n[inside], [known_n]]) / factor
    first_counts = np.concatenate(
        [[0.0], at_loads[inside] - zero, [calibration.counts_at(known_n, zero) - zero]]
    )
    line_axes.plot(first, first_counts / 1000.0, color=theme.curve, linewidth=1.8, zorder=3)
    line_axes.plot(
        loads_n / factor,
        (at_loads - zero) / 1000.0,
        color=theme.curve,
        linewidth=1.5,
        linestyle=(0, (4, 2)),
        zorder=2,
    )
    key.line("calibration", color=theme.curve, linewidth=1.8)
    key.line("carried on beyond the known loads", color=theme.curve, linewidth=1.5, linestyle=(0, (4, 2)))
    line_axes.set_ylabel("Counts above zero\n[thousands]")

    percent = 100.0 * half_n / loads_n
    interval_axes.plot(loads_n / factor, percent, color=theme.curve, linewidth=1.8, zorder=3)
    # Near zero any relative interval grows without end; the picture is about the loads that matter.
    interval_axes.set_ylim(0.0, 1.25 * float(np.max(percent[loads_n >= min(0.1 * end_n, known_n)])))
    interval_axes.set_ylabel(f"{100 * coverage:g} % interval\n[± % of the load]")
    interval_axes.set_xlabel(f"Load [{unit}]")

    _draw_residuals(residual_axes, key, calibration, points_n, up, factor, coverage)
    residual_axes.set_xlim(*limits(0.0, known_n / factor))
    residual_axes.set_ylabel(f"Known less line\n[{unit}]")
    residual_axes.set_xlabel(f"Known load [{unit}]")
    at_known = float(np.interp(known_n, loads_n, percent))
    half_at_end = significant(from_newtons(float(half_n[-1]), unit), 2)
    key.words(
        f"± {significant(at_known, 2)} % at the highest known load, ± {significant(float(percent[-1]), 2)} % at "
        f"{load_text(float(loads_n[-1]), unit)} {unit} (± {half_at_end} {unit}), "
        f"{significant(float(loads_n[-1]) / known_n, 3)} times as high"
    )

    set_title(line_axes, look, f"Calibration {calibration.name}".strip(), f"{len(counts)} points")
    draw_key(figure, key)
    at_end = f"{significant(float(percent[-1]), 2)} % at {load_text(float(loads_n[-1]), unit)} {unit}"
    alt = (
        f"Calibration {calibration.name}: {len(counts)} points with known loads up to "
        f"{load_text(known_n, unit)} {unit} and the line through them. A load's interval is about plus or minus "
        f"{significant(at_known, 2)} % at the highest known load and {at_end}."
    )
    return FigurePicture(figure, alt, look.dpi)


@lru_cache(maxsize=2)
def _over_the_range(
    calibration: Calibration, end_n: float, coverage: float
) -> tuple[float, Floats, Floats, Floats]:
    """Counts of the empty cell; loads up to an end, their counts, half their intervals: the same in both forms."""
    # The empty cell is where the fitted force is zero.
    zero = calibration.counts_at(-calibration.coefficients[0], calibration.centre)
    loads_n = np.linspace(0.0, end_n, STEPS + 1)[1:]
    at_loads = np.array([calibration.counts_at(float(load), zero) for load in loads_n])
    finite = np.isfinite(at_loads)
    loads_n, at_loads = loads_n[finite], at_loads[finite]
    found = [calibration.interval(float(counts), zero, coverage=coverage) for counts in at_loads]
    return zero, loads_n, at_loads, np.array([0.5 * (one.high_n - one.low_n) for one in found])


def _known_n(calibration: Calibration) -> Floats:
    return np.array(
        [point.load.force(calibration.gravity, calibration.air).newtons for point in calibration.points]
    )


def _draw_residuals(
    axes: "Axes",
    key: Legend,
    calibration: Calibration,
    points_n: Floats,
    up: NDArray[np.bool_],
    factor: float,
    coverage: float,
) -> None:
    """What the line leaves over, with the limits within which such readings scatter, and suspects ringed."""
    theme = key.look.theme
    residuals = np.array(calibration.residuals_n) / factor
    bars = np.array([2.0 * (point.counts_standard or 0.0) for point in calibration.points])
    bars = (
        bars * np.abs(calibration.slope_n_per_count([point.counts for point in calibration.points])) / factor
    )
    for way, marker in ((True, "^"), (False, "v")):
        here = up == way
        axes.errorbar(
            points_n[here] / factor,
            residuals[here],
            yerr=bars[here],
            fmt=marker,
            color=VERMILLION,
            markersize=6.0,
            capsize=4,
            linewidth=1.2,
            zorder=4,
        )
    axes.axhline(0.0, color=theme.curve, linewidth=1.5, zorder=2)
    if np.any(bars > 0.0):
        key.words("bars: twice the uncertainty of the counts")
    if calibration.degrees_of_freedom:
        spread = float(np.sqrt(np.mean(calibration.variances_n2)))
        limit = coverage_factor(calibration.degrees_of_freedom, coverage) * spread / factor
        for sign in (-1.0, 1.0):
            axes.axhline(sign * limit, color=theme.faint, linewidth=1.2, linestyle=(0, (6, 3)), zorder=2)
        key.line(
            f"limits for {100 * coverage:g} % of such readings",
            color=theme.faint,
            linewidth=1.2,
            linestyle=(0, (6, 3)),
        )
    for suspect in calibration.suspects[:1]:
        at = list(suspect.points)
        ring: dict[str, Any] = {
            "linestyle": "none",
            "marker": "o",
            "markerfacecolor": "none",
            "markeredgecolor": theme.ink,
            "markeredgewidth": 1.5,
            "markersize": 13.0,
        }
        axes.plot(points_n[at] / factor, residuals[at], zorder=5, **ring)
        key.line("does not fit the others: check what hung there", **ring)
