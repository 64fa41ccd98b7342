"""The curve of one pull with everything that was read from it, and the moment of its break in detail."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.pull.results import Recovery, Summary
from breakyard.report.figures.marks import (
    draw_missing,
    draw_onset,
    draw_peak,
    draw_story,
    draw_zero,
    set_heights,
)
from breakyard.report.figures.style import (
    PURPLE,
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
from breakyard.report.trace import Trace, make_trace
from breakyard.report.words.values import load_text, peak_text, standard_n
from breakyard.report.words.wording import SERIOUS, manner_text, short_doubts, short_words

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
    form: Form = "wide",
) -> FigurePicture:
    """Draw one pull: its curve, zero, onset, first peak, peak and interval, settled load, drops and break.

    Raises: UnitError, UsageError (mode, form).
    """
    look = make_look(mode, form)
    trace = make_trace(curve, summary, unit)
    figure, (axes,) = new_figure(look)
    key = Legend(look)
    inside = (trace.time_s >= trace.start_s) & (trace.time_s <= trace.end_s)
    axes.plot(
        *thinned(trace.time_s[inside], trace.load[inside]), color=look.theme.curve, linewidth=1.6, zorder=3
    )
    axes.set_xlim(trace.start_s, trace.end_s)
    set_heights(axes, trace, summary, trace.start_s, trace.end_s)
    draw_zero(axes, key, look)
    draw_missing(axes, key, trace, look, trace.start_s, trace.end_s)
    draw_onset(axes, key, summary, look)
    draw_peak(axes, key, trace, summary, look)
    draw_story(axes, key, trace, summary, look)
    for flag in dict.fromkeys(summary.flags):
        key.words(f"{'Doubt' if flag in SERIOUS else 'Note'}: {short_words(flag)}")
    axes.set_xlabel("Time [s]")
    axes.set_ylabel(f"Load [{trace.unit}]")
    set_title(axes, look, title or summary.run.name, f"{peak_text(summary, unit)} {trace.unit}")
    draw_key(figure, key)
    return FigurePicture(figure, describe_pull(summary, unit=unit, title=title), look.dpi)


def break_figure(
    curve: LoadCurve,
    summary: Summary,
    *,
    unit: str = "N",
    title: str = "",
    mode: Mode = "light",
    form: Form = "wide",
) -> FigurePicture:
    """Draw the 300 ms around the break (the peak, if it did not break) with each sample, and the force as it was
    recovered, with what the converter would show of it, where that was done.

    Raises: UnitError, UsageError (mode, form).
    """
    look = make_look(mode, form)
    trace = make_trace(curve, summary, unit)
    moment = summary.failure.time_s if summary.failure.time_s is not None else summary.peak.time_s
    what = "break" if summary.failure.time_s is not None else "peak"
    # A slow instrument has too few samples in 300 ms to show anything.
    half = max(ZOOM_S / 2.0, 0.5 * FEWEST_IN_ZOOM * curve.period_s)
    start, end = moment - half, moment + half
    figure, (axes,) = new_figure(look)
    key = Legend(look)
    near = (trace.time_s >= start - half) & (trace.time_s <= end + half)
    style: dict[str, Any] = {"color": look.theme.curve, "zorder": 3}
    (samples,) = axes.plot(
        trace.time_s[near] - moment, trace.load[near], marker="o", markersize=4.5, linewidth=0.8, **style
    )
    key.add(samples, "samples, joined for the eye only")
    if summary.recovery is not None:
        _draw_recovery(axes, key, summary, summary.recovery, trace, moment)
    axes.set_xlim(start - moment, end - moment)
    set_heights(axes, trace, summary, start, end)
    draw_zero(axes, key, look)
    shifted = _shifted(trace, moment)
    draw_missing(axes, key, shifted, look, start - moment, end - moment)
    if start <= summary.peak.time_s <= end:
        draw_peak(axes, key, shifted, summary, look, moment)
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
    return FigurePicture(figure, alt, look.dpi)


def _draw_recovery(
    axes: "Axes", key: Legend, summary: Summary, recovery: Recovery, trace: Trace, moment: float
) -> None:
    """The likeliest force, and the likeliest curve behind the samples."""
    force_s, force = np.asarray(recovery.force_s), np.asarray(recovery.force_n) / trace.factor
    seen_s, seen = np.asarray(recovery.seen_s), np.asarray(recovery.seen_n) / trace.factor
    (line,) = axes.plot(force_s - moment, force, color=PURPLE, linewidth=2.0, linestyle=(0, (5, 2)), zorder=4)
    key.add(line, "load as recovered through the converter's filter")
    (line,) = axes.plot(seen_s - moment, seen, color=PURPLE, linewidth=1.0, zorder=2)
    key.add(line, f"what the filter makes of it ({_filter_words(summary, recovery)})")


def _filter_words(summary: Summary, recovery: Recovery) -> str:
    told = summary.filter
    if told is not None and told.source == "measured":
        return "no sinc filter, measured" if told.order is None else f"order {told.order}, measured"
    third = 100 * recovery.third_order
    return f"order: {third:.0f} % third, {100 - third:.0f} % fourth"


def describe_pull(summary: Summary, *, unit: str = "N", title: str = "", origin_s: float = 0.0) -> str:
    """The words for a picture of a pull, its times from `origin_s`. Raises: UnitError."""
    peak = summary.peak
    name = title or summary.run.name
    first = (
        f"Load over time of {name}: the load rises from {max(summary.onset_s - origin_s, 0.0):.1f} s on to its peak, "
        f"{peak_text(summary, unit)} {unit}, at {peak.time_s - origin_s:.2f} s."
    )
    sentences = [first]
    if summary.settled is not None:
        sentences.append(
            f"It then held {load_text(summary.settled.load_n, unit, standard_n(summary))} {unit}."
        )
    if summary.drops:
        sentences.append(f"Partial drops: {len(summary.drops)}.")
    manner = manner_text(summary)
    at = f", at {summary.failure.time_s - origin_s:.2f} s" if summary.failure.time_s is not None else ""
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
