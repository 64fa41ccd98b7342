"""All pulls of a session in one picture, coloured by group, aligned where their loading began or at their peaks."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.errors import UsageError
from breakyard.pull.results import Summary
from breakyard.report.figures.style import (
    Form,
    Key,
    Mode,
    Picture,
    draw_key,
    make_look,
    new_figure,
    set_title,
    thinned,
)
from breakyard.report.trace import Trace, limits, make_trace
from breakyard.report.words.values import peak_text, strength_text
from breakyard.report.words.wording import is_doubtful, shared_flags, short_doubts, short_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Align = Literal["onset", "peak"]
DASHES: Final = (0, (4, 2))
_SIGN_IN: Final = 0.28
"""Smallest distance between two signs at the edge of the axes, in inches."""


@dataclass(frozen=True, slots=True)
class DrawnPull:
    """One pull of an overlay; `label` is how people call the specimen."""

    curve: LoadCurve
    summary: Summary
    label: str
    group: str = ""


def overlay_figure(
    pulls: Sequence[DrawnPull],
    *,
    unit: str = "N",
    align: Align = "onset",
    title: str = "",
    mode: Mode = "light",
    form: Form = "wide",
) -> Picture:
    """Draw pulls over each other; doubtful ones are dashed and numbered, and the key says why.

    Raises: UsageError (no pulls, align, mode, form), UnitError.
    """
    if not pulls:
        raise UsageError("there is no pull to draw")
    if align not in ("onset", "peak"):
        raise UsageError(f'pulls are aligned at "onset" or "peak", not "{align}"')
    look = make_look(mode, form)
    traces = [make_trace(pull.curve, pull.summary, unit) for pull in pulls]
    groups = list(dict.fromkeys(pull.group for pull in pulls))
    colours = {group: look.theme.groups[at % len(look.theme.groups)] for at, group in enumerate(groups)}
    figure, (axes,) = new_figure(look)
    key = Key(look)
    for group in groups:
        members = [pull for pull in pulls if pull.group == group]
        count = f"{len(members)} pull" + ("" if len(members) == 1 else "s")
        key.line(f"{group or 'pulls'} ({count})", color=colours[group], linewidth=2.2)
    shared = shared_flags([pull.summary for pull in pulls])
    starts = [_zero_time(pull.summary, align) for pull in pulls]
    for pull, trace, start in zip(pulls, traces, starts, strict=True):
        inside = (trace.time_s >= trace.start_s) & (trace.time_s <= trace.end_s)
        axes.plot(
            *thinned(trace.time_s[inside] - start, trace.load[inside]),
            color=colours[pull.group],
            linewidth=1.5,
            linestyle=DASHES if is_doubtful(pull.summary) else "-",
            alpha=0.95,
            zorder=3,
        )
    axes.axhline(0.0, color=look.theme.faint, linewidth=1.0, linestyle="--", zorder=1)
    _set_limits(axes, traces, pulls, starts, align)
    doubtful = [
        _signed(pull, trace, start, colours[pull.group])
        for pull, trace, start in zip(pulls, traces, starts, strict=True)
        if is_doubtful(pull.summary)
    ]
    _sign_doubtful(figure, axes, key, doubtful, align, shared)
    axes.set_xlabel("Time from the onset [s]" if align == "onset" else "Time from the peak [s]")
    axes.set_ylabel(f"Load [{traces[0].unit}]")
    second = "dashed: see the notes below" if doubtful else ""
    # The signs stand between the axes and the title.
    pad = 24.0 if doubtful and align == "onset" else 8.0
    set_title(axes, look, title or f"{len(pulls)} pulls", second, pad)
    for flag in shared:
        key.words(f"All pulls: {short_words(flag)}")
    draw_key(figure, key)
    return Picture(figure, describe_overlay(pulls, unit), look.dpi)


def _zero_time(summary: Summary, align: Align) -> float:
    return summary.onset_s if align == "onset" else summary.peak.time_s


def _set_limits(
    axes: "Axes", traces: Sequence[Trace], pulls: Sequence[DrawnPull], starts: Sequence[float], align: Align
) -> None:
    low = min(min(0.0, float(np.nanmin(trace.load))) for trace in traces)
    high = max(
        max(
            float(np.nanmax(trace.load)),
            (pull.summary.peak.high_n or pull.summary.peak.estimate_n) / trace.factor,
        )
        for trace, pull in zip(traces, pulls, strict=True)
    )
    axes.set_ylim(*limits(low, high))
    left = min(trace.start_s - start for trace, start in zip(traces, starts, strict=True))
    right = max(trace.end_s - start for trace, start in zip(traces, starts, strict=True))
    if align == "onset":
        # One long pull must not push the others aside with its quiet lead.
        left = -0.03 * right
    axes.set_xlim(left, right)


def _sign_doubtful(
    figure: "Figure",
    axes: "Axes",
    key: Key,
    doubtful: Sequence["_Signed"],
    align: Align,
    shared: Sequence[str],
) -> None:
    """Number doubtful pulls at the edge of the axes, each with a thin line to its peak.

    The edge is the upper one, or the right one where all peaks stand above each other.
    """
    sideways = align == "peak"
    start, end = axes.get_ylim() if sideways else axes.get_xlim()
    edge = axes.get_xlim()[1] if sideways else axes.get_ylim()[1]
    transform = axes.get_yaxis_transform() if sideways else axes.get_xaxis_transform()
    ordered = sorted(doubtful, key=lambda one: one.height if sideways else one.time_s)
    step = _SIGN_IN / (axes.get_position().height if sideways else axes.get_position().width)
    step /= figure.get_size_inches()[1 if sideways else 0]
    next_free = 0.0
    for number, one in enumerate(ordered, start=1):
        at = one.height if sideways else one.time_s
        place = max((at - start) / (end - start), next_free)
        next_free = place + step
        sign = start + place * (end - start)
        thin: dict[str, Any] = {"color": key.look.theme.faint, "linewidth": 0.8}
        style: dict[str, Any] = {
            "color": one.colour,
            "marker": f"${number}$",
            "markersize": 9,
            "linestyle": "none",
        }
        if sideways:
            axes.plot([one.time_s, edge], [at, at], linestyle=":", zorder=2, **thin)
            axes.plot([1.0, 1.02], [at, sign], transform=transform, clip_on=False, **thin)
            axes.plot([1.045], [sign], transform=transform, clip_on=False, zorder=6, **style)
        else:
            axes.plot([at, at], [one.height, edge], linestyle=":", zorder=2, **thin)
            axes.plot([at, sign], [1.0, 1.035], transform=transform, clip_on=False, **thin)
            axes.plot([sign], [1.065], transform=transform, clip_on=False, zorder=6, **style)
        pull = one.pull
        words = "; ".join(short_doubts(pull.summary, shared)) or "see its table row"
        group = f" ({pull.group})" if pull.group else ""
        key.line(f"{pull.label}{group}: {strength_text(pull.summary, one.unit)} {one.unit}; {words}", **style)


@dataclass(frozen=True, slots=True)
class _Signed:
    """A doubtful pull with the place of its peak in the axes."""

    pull: DrawnPull
    time_s: float
    height: float
    colour: str
    unit: str


def _signed(pull: DrawnPull, trace: Trace, start_s: float, colour: str) -> _Signed:
    peak = pull.summary.peak
    height = (peak.low_n if peak.high_n is None else peak.estimate_n) / trace.factor
    return _Signed(pull, peak.time_s - start_s, height, colour, trace.unit)


def describe_overlay(pulls: Sequence[DrawnPull], unit: str) -> str:
    """The words for a picture of several pulls. Raises: UnitError."""
    groups = list(dict.fromkeys(pull.group for pull in pulls))
    shared = shared_flags([pull.summary for pull in pulls])
    sentences = [f"Load over time of {len(pulls)} pulls in one picture."]
    for group in groups:
        peaks = [f"{pull.label} {peak_text(pull.summary, unit)}" for pull in pulls if pull.group == group]
        sentences.append(f"Peaks of {group or 'the pulls'} in {unit}: {'; '.join(peaks)}.")
    doubts = [
        f"{pull.label} ({', '.join(short_doubts(pull.summary, shared))})"
        for pull in pulls
        if is_doubtful(pull.summary)
    ]
    if doubts:
        sentences.append(f"Doubtful, drawn dashed: {'; '.join(doubts)}.")
    if shared:
        sentences.append(f"All: {', '.join(map(short_words, shared))}.")
    return " ".join(sentences)
