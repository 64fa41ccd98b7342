"""All pulls over one another, and each by itself, as charts of the page."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from breakyard.report.figures.overlay_figure import DrawnPull, describe_overlay
from breakyard.report.figures.pull_figure import describe_pull
from breakyard.report.page.chart import (
    SHAPES,
    Frame,
    budget_of_points,
    curve_path,
    draw_axes,
    number,
    picture,
    sign,
    use_curves,
)
from breakyard.report.page.content import Entry
from breakyard.report.page.markup import Markup, element, tag
from breakyard.report.trace import Trace, limits, make_trace
from breakyard.units import FORCE_UNITS, force_unit

COLOURS: Final = 7
"""Colours of groups; the eighth group has the first one's again, with another sign."""

MOST_IN_WORDS: Final = 30
"""Pulls that are told one by one in the words for the picture."""


@dataclass(frozen=True, slots=True)
class ChartCurves:
    """The curves of a report, ready to be drawn. All times count from each pull's onset."""

    unit: str
    entries: tuple[Entry, ...]
    traces: tuple[Trace, ...]
    groups: tuple[str, ...]
    top: float
    """The highest load, in the unit."""
    doubts: Mapping[str, int]
    """Numbers of the doubtful pulls by their recordings' names, as in the charts and the list of doubts."""

    def group_number(self, entry: Entry) -> int:
        """Which colour and sign a pull has."""
        return self.groups.index(entry.group)

    def peak(self, entry: Entry) -> float:
        """Height of a pull's peak in the unit; of its bound where it is one."""
        peak = entry.summary.peak
        return (peak.low_n if peak.high_n is None else peak.estimate_n) / FORCE_UNITS[self.unit]


def make_curves(entries: Sequence[Entry], unit: str) -> ChartCurves:
    """Prepare pulls for the page's charts. Raises: UnitError."""
    unit = force_unit(unit)
    traces = tuple(make_trace(entry.curve, entry.summary, unit) for entry in entries)
    highest = [entry.summary.peak.high_n or entry.summary.peak.estimate_n for entry in entries]
    top = max(max(highest, default=1.0) / FORCE_UNITS[unit], 1e-9)
    groups = tuple(dict.fromkeys(entry.group for entry in entries))
    doubtful = [entry.name for entry in entries if entry.doubtful]
    doubts = {name: at for at, name in enumerate(doubtful, start=1)}
    return ChartCurves(unit, tuple(entries), traces, groups, top, doubts)


def shape_of(group_number: int) -> str:
    """The sign of a group."""
    return SHAPES[group_number % len(SHAPES)]


def store_curves(curves: ChartCurves) -> Markup:
    """The curves themselves, out of sight; the charts refer to them by number."""
    points = budget_of_points(len(curves.entries))
    paths = [
        curve_path(f"curve-{at}", trace, entry.summary.onset_s, curves.top, points)
        for at, (entry, trace) in enumerate(zip(curves.entries, curves.traces, strict=True))
    ]
    hidden = {"class": "store", "width": "0", "height": "0", "aria-hidden": "true", "focusable": "false"}
    return element("svg", hidden, tag("defs", *paths))


def overlay_charts(curves: ChartCurves) -> tuple[Markup, Markup]:
    """All pulls in one chart, for wide screens and paper, and for a phone."""
    return _overlay(curves, narrow=False), _overlay(curves, narrow=True)


def _overlay(curves: ChartCurves, *, narrow: bool) -> Markup:
    times = [
        (trace.start_s - entry.summary.onset_s, trace.end_s - entry.summary.onset_s)
        for entry, trace in zip(curves.entries, curves.traces, strict=True)
    ]
    right = max(end for _, end in times)
    size = (344.0, 330.0, 44.0, 8.0, 24.0, 42.0) if narrow else (720.0, 400.0, 52.0, 12.0, 24.0, 42.0)
    # One long quiet lead must not push all pulls aside.
    frame = Frame(*size, x=(-0.03 * right, right), y=limits(0.0, curves.top))
    uses, signs = [], []
    for at, entry in enumerate(curves.entries):
        group = curves.group_number(entry)
        kind = f"g{group % COLOURS} group-{group}" + (" doubtful" if entry.doubtful else "")
        uses.append(
            element(
                "use",
                {
                    "href": f"#curve-{at}",
                    "class": kind,
                    "data-label": f"{entry.label}, {entry.group}" if entry.group else entry.label,
                },
            )
        )
        x = frame.x_at(entry.summary.peak.time_s - entry.summary.onset_s)
        y = frame.y_at(curves.peak(entry))
        mark = [sign(shape_of(group), x, y, f"sign g{group % COLOURS}", 4.0 if narrow else 5.0)]
        if entry.doubtful:
            number_of = curves.doubts[entry.name]
            mark.append(tag("text", number_of, class_="mark", x=number(x + 7), y=number(y - 7)))
        signs.append(tag("g", *mark, class_=f"group-{group}"))
    axes = draw_axes(frame, "Time from the onset [s]", f"Load [{curves.unit}]", narrow=narrow)
    words = (
        f"Load over time of {len(curves.entries)} pulls in one picture; the table of pulls has their numbers."
    )
    if len(curves.entries) <= MOST_IN_WORDS:
        words = describe_overlay([_pull(entry) for entry in curves.entries], curves.unit)
    made = picture(
        frame,
        words,
        f"overlay {'narrow' if narrow else 'roomy'}",
        axes,
        use_curves(frame, curves.top, uses),
        *signs,
    )
    # What a step of the stored curves means, for the read-out.
    scale = f' data-unit="{curves.unit}" data-top="{curves.top:.9g}"'
    return Markup(made.replace("<svg ", f"<svg{scale} ", 1))


def _pull(entry: Entry) -> DrawnPull:
    return DrawnPull(entry.curve, entry.summary, entry.label, entry.group)


def pull_chart(curves: ChartCurves, at: int) -> Markup:
    """One pull by itself, with its peak, its interval where that can be seen, its first peak and its break."""
    entry, trace = curves.entries[at], curves.traces[at]
    summary, factor = entry.summary, trace.factor
    start, end = trace.start_s - summary.onset_s, trace.end_s - summary.onset_s
    high = (summary.peak.high_n or summary.peak.estimate_n) / factor
    frame = Frame(344.0, 216.0, 44.0, 8.0, 24.0, 42.0, x=(start, end), y=limits(0.0, max(high, 1e-9)))
    group = curves.group_number(entry) % COLOURS
    parts = [draw_axes(frame, "Time from the onset [s]", f"Load [{curves.unit}]", narrow=True)]
    for gap_start, gap_end in trace.gaps:
        left = frame.x_at(max(gap_start - summary.onset_s, start))
        width = frame.x_at(min(gap_end - summary.onset_s, end)) - left
        if width > 0.0:
            parts.append(
                tag(
                    "rect",
                    class_="gap",
                    x=number(left),
                    y=frame.top,
                    width=number(max(width, 1.0)),
                    height=number(frame.plot_height),
                )
            )
    if summary.failure.time_s is not None:
        at_break = number(frame.x_at(summary.failure.time_s - summary.onset_s))
        bottom = frame.height - frame.bottom
        parts.append(tag("line", class_="break", x1=at_break, x2=at_break, y1=frame.top, y2=bottom))
    use = element("use", {"href": f"#curve-{at}", "class": f"g{group}"})
    parts.append(use_curves(frame, curves.top, [use]))
    if summary.first_peak is not None and summary.has_first_peak:
        x = frame.x_at(summary.first_peak.time_s - summary.onset_s)
        parts.append(sign("diamond", x, frame.y_at(summary.first_peak.load_n / factor), "sign first", 4.0))
    parts.append(_peak_sign(frame, summary.peak.time_s - summary.onset_s, entry, factor))
    return picture(frame, describe_pull(summary, unit=curves.unit, title=entry.label), "alone", *parts)


def _peak_sign(frame: Frame, time: float, entry: Entry, factor: float) -> Markup:
    """A ring with its interval, or an arrow upwards where the peak is a bound."""
    peak = entry.summary.peak
    x = frame.x_at(time)
    if peak.high_n is None:
        y = frame.y_at(peak.low_n / factor)
        top = max(y - 16.0, frame.top - 6.0)
        arrow = f"M{number(x - 6)} {number(y)}h12M{number(x)} {number(y)}V{number(top)}"
        head = (
            f"M{number(x - 4)} {number(top + 5)}L{number(x)} {number(top)}L{number(x + 4)} {number(top + 5)}"
        )
        return tag("path", class_="bound", d=arrow + head)
    low, high = frame.y_at(peak.low_n / factor), frame.y_at(peak.high_n / factor)
    ends = f"M{number(x - 6)} {number(low)}h12M{number(x - 6)} {number(high)}h12"
    bar = f"{ends}M{number(x)} {number(low)}V{number(high)}"
    ring = tag("circle", class_="peak", cx=number(x), cy=number(frame.y_at(peak.estimate_n / factor)), r=4)
    return tag("g", tag("path", class_="bar", d=bar), ring)
