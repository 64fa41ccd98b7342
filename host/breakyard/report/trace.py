"""What the pictures of a pull have in common: the curve above its own zero, in the unit, and what is not in it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.curve import LoadCurve
from breakyard.pull.results import Summary
from breakyard.units import FORCE_UNITS, force_unit

Floats = NDArray[np.float64]

SEEN: Final = 0.02
"""Of the peak: what is smaller cannot be told from zero in a picture of the whole pull."""
WELL_UP: Final = 0.25
"""Of the peak: once here, the load is rising; a touch before it, from which it fell back to zero, is no part of it."""


@dataclass(frozen=True, slots=True)
class Trace:
    """A pull ready to be drawn. Loads are above zero and in `unit`; all arrays belong to their times."""

    unit: str
    factor: float
    """Newtons in the unit."""
    time_s: Floats
    load: Floats
    """Line: samples that count; nan breaks it where samples are missing."""
    clipped_s: Floats
    clipped: Floats
    left_out_s: Floats
    left_out: Floats
    gaps: tuple[tuple[float, float], ...]
    start_s: float
    end_s: float
    """Bounds of the pull with some room around it."""
    rise_s: float
    """Where the load is seen to rise; times in reports and charts count from here."""


def make_trace(curve: LoadCurve, summary: Summary, unit: str) -> Trace:
    """Prepare a pull for drawing. Raises: UnitError."""
    unit = force_unit(unit)
    factor = FORCE_UNITS[unit]
    load = (curve.load_n - summary.zero.load_n) / factor
    glitch_times = np.array([glitch.time_s for glitch in summary.glitches])
    glitch = _near(curve.time_s, glitch_times, 0.25 * curve.period_s)
    shown = (curve.usable | curve.clipped) & ~glitch
    left_out = ~shown
    time, line = curve.time_s[shown], load[shown]
    gaps = tuple((gap.start_s, gap.end_s) for gap in curve.gaps)
    if gaps and time.size:
        at = np.unique(np.searchsorted(time, [0.5 * (start + end) for start, end in gaps]))
        inner = at[(at > 0) & (at < time.size)]
        middles = 0.5 * (time[inner - 1] + time[inner])
        time, line = np.insert(time, inner, middles), np.insert(line, inner, np.nan)
    start_s, end_s = _bounds(curve, summary, load, shown)
    rise_s = visible_rise(curve, summary)
    clipped = curve.clipped & shown
    return Trace(
        unit,
        factor,
        time,
        line,
        curve.time_s[clipped],
        load[clipped],
        curve.time_s[left_out],
        load[left_out],
        gaps,
        min(start_s, rise_s),
        end_s,
        rise_s,
    )


def visible_rise(curve: LoadCurve, summary: Summary) -> float:
    """The moment at which a picture shows the load to rise: the last one below SEEN of the peak before it is well up.

    The onset of a summary is where the first trace of a load may have begun, which is earlier where the line was
    tightened slowly. A recording that begins under load has its onset here.
    """
    use = curve.usable & (curve.time_s <= summary.peak.time_s)
    time, load = curve.time_s[use], curve.load_n[use] - summary.zero.load_n
    peak = summary.peak.largest_sample_n
    up = np.flatnonzero(load >= WELL_UP * peak)
    if not up.size:
        return summary.onset_s
    low = np.flatnonzero(load[: up[0]] < SEEN * peak)
    return float(time[low[-1]]) if low.size else summary.onset_s


def _near(time_s: Floats, wanted_s: Floats, tolerance_s: float) -> NDArray[np.bool_]:
    found = np.zeros(time_s.size, dtype=np.bool_)
    if wanted_s.size and time_s.size:
        at = np.clip(np.searchsorted(time_s, wanted_s - tolerance_s), 0, time_s.size - 1)
        found[at[np.abs(time_s[at] - wanted_s) <= tolerance_s]] = True
    return found


def _bounds(
    curve: LoadCurve, summary: Summary, load: Floats, shown: NDArray[np.bool_]
) -> tuple[float, float]:
    """From a little before the onset to a little after the load is gone."""
    first, last = float(curve.time_s[0]), float(curve.time_s[-1])
    highest = float(np.max(load[shown])) if shown.any() else 0.0
    loaded = curve.time_s[shown & (load > 0.05 * highest)]
    end = max(
        float(loaded[-1]) if loaded.size else last, summary.peak.time_s, summary.failure.time_s or first
    )
    length = max(end - summary.onset_s, 20.0 * curve.period_s)
    return max(first, summary.onset_s - 0.12 * length), min(last, end + 0.2 * length)


def limits(low: float, high: float) -> tuple[float, float]:
    """Limits of an axis with some room."""
    room = 0.05 * (high - low) or 1.0
    return low - room, high + room
