"""All pulls of a session in one picture, coloured by group, aligned where their loading began or at their peaks."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from breakyard.report.figures.style import (
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
from breakyard.report.overlay import Align, DrawnPull, describe_overlay, make_overlay
from breakyard.report.trace import limits
from breakyard.report.words.values import strength_text
from breakyard.report.words.wording import short_doubts, short_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DASHES: Final = (0, (4, 2))
_SIGN_IN: Final = 0.28
"""Smallest distance between two signs at the edge of the axes, in inches."""


def overlay_figure(
    pulls: Sequence[DrawnPull],
    *,
    unit: str = "N",
    align: Align = "rise",
    title: str = "",
    mode: Mode = "light",
    form: Form = "wide",
) -> FigurePicture:
    """Draw pulls over each other; doubtful ones are dashed and numbered, and the key says why.

    Raises: UsageError (no pulls, align, mode, form), UnitError.
    """
    overlay = make_overlay(pulls, unit, align)
    look = make_look(mode, form)
    colours = {
        group: look.theme.groups[at % len(look.theme.groups)] for at, group in enumerate(overlay.groups)
    }
    figure, (axes,) = new_figure(look)
    key = Legend(look)
    for group in overlay.groups:
        members = [pull for pull in pulls if pull.group == group]
        count = f"{len(members)} pull" + ("" if len(members) == 1 else "s")
        key.line(f"{group or 'pulls'} ({count})", color=colours[group], linewidth=2.2)
    for pull, trace, start in zip(pulls, overlay.traces, overlay.starts_s, strict=True):
        inside = (trace.time_s >= trace.start_s) & (trace.time_s <= trace.end_s)
        axes.plot(
            *thinned(trace.time_s[inside] - start, trace.load[inside]),
            color=colours[pull.group],
            linewidth=1.5,
            linestyle=DASHES if pull.doubtful else "-",
            alpha=0.95,
            zorder=3,
        )
    axes.axhline(0.0, color=look.theme.faint, linewidth=1.0, linestyle="--", zorder=1)
    lowest = min(float(np.nanmin(trace.load)) for trace in overlay.traces)
    axes.set_ylim(*limits(min(0.0, lowest), overlay.top))
    axes.set_xlim(*overlay.span_s)
    doubtful = [
        _Signed(pulls[at], *overlay.peak(at), colours[pulls[at].group], overlay.unit)
        for at in overlay.doubtful
    ]
    _sign_doubtful(figure, axes, key, doubtful, align, overlay.shared)
    axes.set_xlabel("Time from the rise [s]" if align == "rise" else "Time from the peak [s]")
    axes.set_ylabel(f"Load [{overlay.unit}]")
    second = "dashed: see the notes below" if doubtful else ""
    # The signs stand between the axes and the title.
    pad = 24.0 if doubtful and align == "rise" else 8.0
    set_title(axes, look, title or f"{len(pulls)} pulls", second, pad)
    for flag in overlay.shared:
        key.words(f"All pulls: {short_words(flag)}")
    draw_key(figure, key)
    return FigurePicture(figure, describe_overlay(overlay), look.dpi)


def _sign_doubtful(
    figure: "Figure",
    axes: "Axes",
    key: Legend,
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
