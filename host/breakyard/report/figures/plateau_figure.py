"""The recording of a calibration: what was hung when, and which samples were used."""

import numpy as np

from breakyard.calibration import Calibration, CalibrationPlateaus
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
from breakyard.report.trace import Floats, limits
from breakyard.run import Run
from breakyard.units import FORCE_UNITS, force_unit

BLOCK_S = 0.5
"""The lower picture shows means over this time: single samples would hide what swings under their noise."""


def plateau_figure(
    run: Run,
    plateaus: CalibrationPlateaus,
    calibration: Calibration,
    *,
    unit: str = "N",
    mode: Mode = "light",
    form: Form = "wide",
) -> FigurePicture:
    """Draw the recording with the used samples marked, and below how still each load hung.

    `calibration` is the one made from these plateaus, in their order. Raises: UnitError, UsageError (mode, form).
    """
    unit = force_unit(unit)
    factor = FORCE_UNITS[unit]
    look = make_look(mode, form)
    theme = look.theme
    load = calibration.load_n(run.counts, calibration.zero_counts) / factor
    suspect = {index for one in calibration.suspects[:1] for index in one.points}
    figure, (upper, lower) = new_figure(look, (0.9, 0.55))
    key = Legend(look)

    time, line = thinned(run.time_s, np.where(run.usable, load, np.nan))
    upper.plot(time, line, color=theme.faint, linewidth=1.0, zorder=2)
    key.line("recording", color=theme.faint, linewidth=1.0)
    top = float(np.nanmax(np.where(run.usable, load, np.nan)))
    low = float(np.nanmin(np.where(run.usable, load, np.nan)))
    upper.set_ylim(low - 0.08 * (top - low), top + 0.18 * (top - low))
    for number, plateau in enumerate(plateaus.found):
        used = plateaus.used & (run.time_s >= plateau.start_s) & (run.time_s <= plateau.end_s)
        colour = VERMILLION if number in suspect else theme.curve
        shown_s, shown = thinned(run.time_s[used], load[used], 60)
        upper.plot(shown_s, shown, color=colour, linewidth=3.5, zorder=3)
        middle = 0.5 * (plateau.start_s + plateau.end_s)
        for axes in (upper, lower):
            axes.axvspan(plateau.start_s, plateau.end_s, color=GREEN, alpha=0.16, linewidth=0.0, zorder=1)
        upper.text(
            middle,
            top + 0.09 * (top - low),
            str(number + 1),
            ha="center",
            va="center",
            color=theme.ink,
            fontsize=look.font_pt,
        )
        slope = float(calibration.slope_n_per_count(plateau.counts)) / factor
        block_s, block = _blocks(
            run.time_s[used], np.asarray((run.counts[used] - plateau.counts) * slope, np.float64)
        )
        lower.plot(block_s, block, color=colour, linewidth=1.4, marker=".", markersize=4, zorder=3)
    key.line("samples used", color=theme.curve, linewidth=3.5)
    if suspect:
        key.line("does not fit the others: check what hung there", color=VERMILLION, linewidth=3.5)
    key.words(", ".join(f"{n}: {_hung(point.load.text)}" for n, point in enumerate(calibration.points, 1)))
    for axes in (upper, lower):
        axes.set_xlim(*limits(float(run.time_s[0]), float(run.time_s[-1])))
    upper.set_ylabel(f"Load [{unit}]")
    lower.axhline(0.0, color=theme.faint, linewidth=1.0, zorder=1)
    lower.set_ylabel(f"Off its own mean\n[{unit}]")
    lower.set_xlabel("Time [s]")
    set_title(
        upper,
        look,
        f"Recording {run.name}".strip(),
        f"{len(plateaus.found)} steady stretches, {int(plateaus.used.sum())} of {run.counts.size} samples used",
    )
    draw_key(figure, key)
    alt = (
        f"Recording {run.name} of a calibration: load over {run.time_s[-1] - run.time_s[0]:.0f} s with "
        f"{len(plateaus.found)} steady stretches ({_listed(calibration)}); swinging and handling in between were "
        f"not used. Below, how far half-second means lie off the mean of their stretch."
    )
    return FigurePicture(figure, alt, look.dpi)


def _hung(text: str) -> str:
    return text if text not in ("", "0") else "empty"


def _listed(calibration: Calibration) -> str:
    return ", ".join(_hung(point.load.text) for point in calibration.points)


def _blocks(time_s: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Means over BLOCK_S; a hole in the samples breaks the line with a nan."""
    if not time_s.size:
        return time_s, values
    number = ((time_s - time_s[0]) / BLOCK_S).astype(np.int64)
    first = np.flatnonzero(np.diff(number, prepend=-1))
    size = np.diff(np.append(first, time_s.size))
    middle = np.add.reduceat(time_s, first) / size
    mean = np.add.reduceat(values, first) / size
    holes = np.flatnonzero(np.diff(middle) > 2.0 * BLOCK_S) + 1
    return np.insert(middle, holes, np.nan), np.insert(mean, holes, np.nan)
