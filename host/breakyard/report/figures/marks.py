"""The signs in the picture of a pull, each with its line in the key."""

from typing import TYPE_CHECKING, Any

import numpy as np

from breakyard.pull.results import Summary
from breakyard.report.figures.style import GREEN, ORANGE, PURPLE, VERMILLION, Legend, Look, arrow
from breakyard.report.trace import Trace, limits
from breakyard.report.words.values import load_text, peak_text, standard_n
from breakyard.report.words.wording import manner_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def set_heights(axes: "Axes", trace: Trace, summary: Summary, start: float, end: float) -> None:
    """Set the axis of loads so that line, peak and interval fit, whatever was left out."""
    inside = trace.load[(trace.time_s >= start) & (trace.time_s <= end)]
    inside = inside[np.isfinite(inside)]
    low = min(0.0, float(inside.min())) if inside.size else 0.0
    high = max(0.0, float(inside.max())) if inside.size else 1.0
    if start <= summary.peak.time_s <= end:
        high = max(high, (summary.peak.high_n or summary.peak.estimate_n) / trace.factor)
        if summary.peak.high_n is None:
            # Room for the arrow that says "or more".
            high += 0.08 * (high - low)
    axes.set_ylim(*limits(low, high))


def draw_zero(axes: "Axes", key: Legend, look: Look) -> None:
    """Draw the pull's zero."""
    line = axes.axhline(0.0, color=look.theme.faint, linewidth=1.2, linestyle="--", zorder=1)
    key.add(line, "zero of this pull")


def draw_missing(axes: "Axes", key: Legend, trace: Trace, look: Look, start: float, end: float) -> None:
    """Draw gaps, clipped samples and samples that were left out."""
    band = None
    for gap_start, gap_end in trace.gaps:
        if gap_end >= start and gap_start <= end:
            band = axes.axvspan(
                gap_start, gap_end, color=look.theme.faint, alpha=0.35, linewidth=0.0, zorder=1
            )
    if band is not None:
        key.add(band, "samples missing")
    inside = (trace.clipped_s >= start) & (trace.clipped_s <= end)
    if inside.any():
        (dots,) = axes.plot(
            trace.clipped_s[inside], trace.clipped[inside], "s", color=VERMILLION, markersize=4.5, zorder=5
        )
        key.add(dots, "off the converter's scale")
    inside = (trace.left_out_s >= start) & (trace.left_out_s <= end)
    if inside.any():
        low, high = axes.get_ylim()
        heights = np.clip(trace.left_out[inside], low, high)
        style: dict[str, Any] = {
            "linestyle": "none",
            "marker": "x",
            "color": look.theme.faint,
            "markersize": 6,
        }
        axes.plot(trace.left_out_s[inside], heights, zorder=4, clip_on=False, **style)
        key.line("sample left out (at the edge: beyond it)", **style)


def draw_onset(axes: "Axes", key: Legend, summary: Summary, look: Look) -> None:
    """Mark where the loading began."""
    style: dict[str, Any] = {
        "color": look.theme.ink,
        "marker": "|",
        "markersize": 14,
        "markeredgewidth": 2.0,
        "linestyle": "none",
    }
    axes.plot([summary.onset_s], [0.0], zorder=5, **style)
    key.line(f"onset, {summary.onset_s:.2f} s", **style)


def draw_peak(
    axes: "Axes", key: Legend, trace: Trace, summary: Summary, look: Look, moment: float = 0.0
) -> None:
    """Draw the peak with its interval, or with an arrow where it is a bound. `moment` is the axis' zero in s."""
    peak, factor, theme = summary.peak, trace.factor, look.theme
    text = f"peak, {peak_text(summary, trace.unit)} {trace.unit}"
    time = peak.time_s - moment
    if peak.high_n is None:
        bottom = peak.low_n / factor
        _, top = axes.get_ylim()
        axes.annotate(
            "",
            xy=(time, bottom + 0.9 * (top - bottom)),
            xytext=(time, bottom),
            arrowprops={
                "arrowstyle": "-|>",
                "color": VERMILLION,
                "linewidth": 1.8,
                "shrinkA": 0,
                "shrinkB": 0,
            },
            zorder=6,
        )
        style: dict[str, Any] = {
            "marker": "_",
            "color": VERMILLION,
            "markersize": 16,
            "markeredgewidth": 2.4,
            "linestyle": "none",
        }
        axes.plot([time], [bottom], zorder=6, **style)
        key.line(f"{text} (arrow: or more)", **(style | arrow("up")))
        return
    value, low, high = peak.estimate_n / factor, peak.low_n / factor, peak.high_n / factor
    axes.axhspan(low, high, color=VERMILLION, alpha=0.22, linewidth=0.0, zorder=1)
    marks = axes.errorbar(
        [time],
        [value],
        yerr=[[max(value - low, 0.0)], [max(high - value, 0.0)]],
        fmt="o",
        color=VERMILLION,
        markerfacecolor=theme.paper,
        markeredgewidth=1.8,
        markersize=8,
        capsize=6,
        linewidth=1.6,
        zorder=6,
    )
    key.add(marks, f"{text} (band: {100 * peak.coverage:g} % interval)")


def draw_story(axes: "Axes", key: Legend, trace: Trace, summary: Summary, look: Look) -> None:
    """Draw first peak, plateaus, settled load, partial drops and break."""
    factor, unit, theme = trace.factor, trace.unit, look.theme
    deviation = standard_n(summary)
    first, peak, failure = summary.first_peak, summary.peak, summary.failure
    if first is not None and abs(first.time_s - peak.time_s) > 2.0 / summary.run.rate_hz:
        style: dict[str, Any] = {
            "marker": "D",
            "color": ORANGE,
            "markeredgecolor": theme.ink,
            "markersize": 7,
            "linestyle": "none",
        }
        axes.plot([first.time_s], [first.load_n / factor], zorder=5, **style)
        key.line(f"first peak, {load_text(first.load_n, unit, deviation)} {unit}", **style)
    # The settled load is a plateau too; it has a sign of its own.
    ended = None if summary.settled is None else summary.settled.end_s
    if others := [plateau for plateau in summary.plateaus if plateau.end_s != ended]:
        for plateau in others:
            ends = [plateau.start_s, plateau.end_s]
            (line,) = axes.plot(
                ends, [plateau.load_n / factor] * 2, color=PURPLE, linewidth=5, alpha=0.55, zorder=2
            )
        key.add(line, "plateau: yielding, or held")
    if (settled := summary.settled) is not None:
        height = settled.load_n / factor
        (line,) = axes.plot(
            [settled.start_s, settled.end_s], [height] * 2, color=GREEN, linewidth=5, alpha=0.8, zorder=2
        )
        key.add(line, f"settled load, {load_text(settled.load_n, unit, deviation)} {unit}")
    if summary.drops:
        style = {
            "marker": "v",
            "color": theme.paper,
            "markeredgecolor": theme.ink,
            "markersize": 7,
            "linestyle": "none",
        }
        axes.plot(
            [drop.time_s for drop in summary.drops],
            [drop.to_n / factor for drop in summary.drops],
            zorder=5,
            **style,
        )
        key.line(
            "partial drop" if len(summary.drops) == 1 else f"{len(summary.drops)} partial drops", **style
        )
    if failure.time_s is not None and failure.load_n is not None:
        line = axes.axvline(failure.time_s, color=theme.ink, linewidth=1.0, linestyle=":", zorder=2)
        text = f"break, {failure.time_s:.2f} s; {manner_text(summary)}"
        if failure.residual_n is not None and failure.residual_n > 0.02 * peak.estimate_n:
            text += f"; {load_text(failure.residual_n, unit)} {unit} left"
        key.add(line, text)
