"""The curve of one pull with everything that was read from it, and the moment of its break in detail."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.report.style import (
    GREEN,
    ORANGE,
    PURPLE,
    VERMILLION,
    Key,
    Look,
    Mode,
    Picture,
    Shape,
    draw_key,
    make_look,
    new_figure,
    set_title,
    thinned,
)
from breakyard.report.trace import Trace, limits, make_trace
from breakyard.report.values import load_text, peak_text, standard_n
from breakyard.report.wording import SERIOUS, manner_text, short_doubts, short_words
from breakyard.results import Summary

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ZOOM_S: Final = 0.3
"""Length of the stretch around the break that is shown in detail."""
FEWEST_IN_ZOOM: Final = 12


def pull_figure(
    curve: LoadCurve,
    summary: Summary,
    *,
    unit: str = "N",
    title: str = "",
    mode: Mode = "light",
    shape: Shape = "wide",
) -> Picture:
    """Draw one pull: its curve, zero, onset, first peak, peak and interval, settled load, drops and break.

    Raises: UnitError, UsageError (mode, shape).
    """
    look = make_look(mode, shape)
    trace = make_trace(curve, summary, unit)
    figure, (axes,) = new_figure(look)
    key = Key(look)
    inside = (trace.time_s >= trace.start_s) & (trace.time_s <= trace.end_s)
    axes.plot(
        *thinned(trace.time_s[inside], trace.load[inside]), color=look.theme.curve, linewidth=1.6, zorder=3
    )
    axes.set_xlim(trace.start_s, trace.end_s)
    _set_heights(axes, trace, summary, trace.start_s, trace.end_s)
    _draw_zero(axes, key, look)
    _draw_missing(axes, key, trace, look, trace.start_s, trace.end_s)
    _draw_onset(axes, key, summary, look)
    _draw_peak(axes, key, trace, summary, look)
    _draw_story(axes, key, trace, summary, look)
    for flag in dict.fromkeys(summary.flags):
        key.words(f"{'Doubt' if flag in SERIOUS else 'Note'}: {short_words(flag)}")
    axes.set_xlabel("Time [s]")
    axes.set_ylabel(f"Load [{trace.unit}]")
    set_title(axes, look, title or summary.run.name, f"{peak_text(summary, unit)} {trace.unit}")
    draw_key(figure, key)
    return Picture(figure, describe_pull(summary, unit=unit, title=title), look.dpi)


def break_figure(
    curve: LoadCurve,
    summary: Summary,
    *,
    unit: str = "N",
    title: str = "",
    mode: Mode = "light",
    shape: Shape = "wide",
    recovered: tuple[Any, Any] | None = None,
) -> Picture:
    """Draw the 300 ms around the break (the peak, if it did not break) with each sample.

    recovered: times (s) and loads (N above zero) of the force as it was recovered, if that was done.
    Raises: UnitError, UsageError (mode, shape).
    """
    look = make_look(mode, shape)
    trace = make_trace(curve, summary, unit)
    moment = summary.failure.time_s if summary.failure.time_s is not None else summary.peak.time_s
    what = "break" if summary.failure.time_s is not None else "peak"
    # A slow instrument has too few samples in 300 ms to show anything.
    half = max(ZOOM_S / 2.0, 0.5 * FEWEST_IN_ZOOM * curve.period_s)
    start, end = moment - half, moment + half
    figure, (axes,) = new_figure(look)
    key = Key(look)
    near = (trace.time_s >= start - half) & (trace.time_s <= end + half)
    style: dict[str, Any] = {"color": look.theme.curve, "zorder": 3}
    (samples,) = axes.plot(
        trace.time_s[near] - moment, trace.load[near], marker="o", markersize=4.5, linewidth=0.8, **style
    )
    key.add(samples, "samples, joined for the eye only")
    if recovered is not None:
        times, loads = np.asarray(recovered[0]), np.asarray(recovered[1]) / trace.factor
        (line,) = axes.plot(
            times - moment, loads, color=PURPLE, linewidth=2.0, linestyle=(0, (5, 2)), zorder=4
        )
        key.add(line, "load as recovered through the converter's filter")
    axes.set_xlim(start - moment, end - moment)
    _set_heights(axes, trace, summary, start, end)
    _draw_zero(axes, key, look)
    shifted = _shifted(trace, moment)
    _draw_missing(axes, key, shifted, look, start - moment, end - moment)
    if start <= summary.peak.time_s <= end:
        _draw_peak(axes, key, shifted, summary, look, moment)
    if what == "break":
        line = axes.axvline(0.0, color=look.theme.ink, linewidth=1.2, linestyle=":", zorder=2)
        key.add(line, f"break, {summary.failure.time_s:.3f} s from the first sample")
    axes.set_xlabel(f"Time from the {what} [s]")
    axes.set_ylabel(f"Load [{trace.unit}]")
    set_title(
        axes,
        look,
        f"{title or summary.run.name}: the {what} in detail",
        f"{peak_text(summary, unit)} {trace.unit}",
    )
    draw_key(figure, key)
    alt = (
        f"{2000.0 * half:.0f} ms around the {what} of {title or summary.run.name}, one dot per sample, "
        f"{summary.run.rate_hz:.0f} a second. Peak {peak_text(summary, unit)} {trace.unit}."
    )
    return Picture(figure, alt, look.dpi)


def describe_pull(summary: Summary, *, unit: str = "N", title: str = "") -> str:
    """The words for a picture of a pull. Raises: UnitError."""
    peak = summary.peak
    name = title or summary.run.name
    first = (
        f"Load over time of {name}: the load rises from {summary.onset_s:.1f} s on to its peak, "
        f"{peak_text(summary, unit)} {unit}, at {peak.time_s:.2f} s."
    )
    sentences = [first]
    if summary.settled is not None:
        sentences.append(
            f"It then held {load_text(summary.settled.load_n, unit, standard_n(summary))} {unit}."
        )
    if summary.drops:
        sentences.append(f"Partial drops: {len(summary.drops)}.")
    manner = manner_text(summary)
    at = f", at {summary.failure.time_s:.2f} s" if summary.failure.time_s is not None else ""
    sentences.append(f"{manner[0].upper()}{manner[1:]}{at}.")
    if doubts := short_doubts(summary):
        sentences.append(f"Notes and doubts: {', '.join(doubts)}.")
    return " ".join(sentences)


def _shifted(trace: Trace, moment: float) -> Trace:
    return replace(
        trace,
        clipped_s=trace.clipped_s - moment,
        left_out_s=trace.left_out_s - moment,
        gaps=tuple((start - moment, end - moment) for start, end in trace.gaps),
    )


def _set_heights(axes: "Axes", trace: Trace, summary: Summary, start: float, end: float) -> None:
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


def _draw_zero(axes: "Axes", key: Key, look: Look) -> None:
    line = axes.axhline(0.0, color=look.theme.faint, linewidth=1.2, linestyle="--", zorder=1)
    key.add(line, "zero of this pull")


def _draw_missing(axes: "Axes", key: Key, trace: Trace, look: Look, start: float, end: float) -> None:
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


def _draw_onset(axes: "Axes", key: Key, summary: Summary, look: Look) -> None:
    style: dict[str, Any] = {
        "color": look.theme.ink,
        "marker": "|",
        "markersize": 14,
        "markeredgewidth": 2.0,
        "linestyle": "none",
    }
    axes.plot([summary.onset_s], [0.0], zorder=5, **style)
    key.line(f"onset, {summary.onset_s:.2f} s", **style)


def _draw_peak(
    axes: "Axes", key: Key, trace: Trace, summary: Summary, look: Look, moment: float = 0.0
) -> None:
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
        key.line(f"{text} (arrow: or more)", **(style | {"marker": r"$\uparrow$", "markersize": 11}))
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


def _draw_story(axes: "Axes", key: Key, trace: Trace, summary: Summary, look: Look) -> None:
    factor, unit, theme = trace.factor, trace.unit, look.theme
    deviation = standard_n(summary)
    first, peak, failure = summary.first_peak, summary.peak, summary.failure
    if abs(first.time_s - peak.time_s) > 2.0 / summary.run.rate_hz:
        style: dict[str, Any] = {
            "marker": "D",
            "color": ORANGE,
            "markeredgecolor": theme.ink,
            "markersize": 7,
            "linestyle": "none",
        }
        axes.plot([first.time_s], [first.load_n / factor], zorder=5, **style)
        key.line(f"first peak, {load_text(first.load_n, unit, deviation)} {unit}", **style)
    if summary.plateaus:
        for plateau in summary.plateaus:
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
