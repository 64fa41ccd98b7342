"""All pulls over one another, and each by itself, as charts of the page."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from breakyard.report.figures.pull_figure import describe_pull
from breakyard.report.overlay import DrawnPull, Overlay, describe_overlay, make_overlay
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
from breakyard.report.trace import limits

COLOURS: Final = 7
"""Colours of groups; the eighth group has the first one's again, with another sign."""

Box = tuple[float, float, float, float]
"""Left, top, width and height."""

MOST_NAMES: Final = 24
"""Curves that carry their names; of more, a touch tells."""
LONGEST_NAME: Final = 16
LETTER: Final = 7.2
"""Width of a letter of the charts (13 pixels), on the wide side."""

MOST_IN_WORDS: Final = 30
"""Pulls that are listed one by one in the words for the picture."""


@dataclass(frozen=True, slots=True)
class ChartCurves:
    """The curves of a report, ready to be drawn. All times count from each pull's visible rise."""

    entries: tuple[Entry, ...]
    overlay: Overlay
    """The same pulls, in the same order."""
    doubts: Mapping[str, int]
    """Numbers of the doubtful pulls by their recordings' names, as in the charts and the list of doubts."""

    @property
    def groups(self) -> tuple[str, ...]:
        """Names of the groups in the order of their colours and signs."""
        return self.overlay.groups

    def group_number(self, entry: Entry) -> int:
        """Which colour and sign a pull has."""
        return self.groups.index(entry.group)


def make_curves(entries: Sequence[Entry], unit: str) -> ChartCurves:
    """Prepare pulls for the page's charts. Raises: UsageError (no pulls), UnitError."""
    pulls = [DrawnPull(entry.curve, entry.summary, entry.label, entry.group) for entry in entries]
    overlay = make_overlay(pulls, unit)
    doubts = {entries[at].name: number for number, at in enumerate(overlay.doubtful, start=1)}
    return ChartCurves(tuple(entries), overlay, doubts)


def shape_of(group_number: int) -> str:
    """The sign of a group."""
    return SHAPES[group_number % len(SHAPES)]


def store_curves(curves: ChartCurves) -> Markup:
    """The curves themselves, out of sight; the charts refer to them by number."""
    points = budget_of_points(len(curves.entries))
    paths = [
        curve_path(f"curve-{at}", trace, trace.rise_s, curves.overlay.top, points)
        for at, (entry, trace) in enumerate(zip(curves.entries, curves.overlay.traces, strict=True))
    ]
    hidden = {"class": "store", "width": "0", "height": "0", "aria-hidden": "true", "focusable": "false"}
    return element("svg", hidden, tag("defs", *paths))


def overlay_charts(curves: ChartCurves) -> tuple[Markup, Markup]:
    """All pulls in one chart, for wide screens and paper, and for a phone."""
    return _overlay(curves, narrow=False), _overlay(curves, narrow=True)


def _overlay(curves: ChartCurves, *, narrow: bool) -> Markup:
    size = (344.0, 330.0, 44.0, 8.0, 24.0, 42.0) if narrow else (720.0, 400.0, 52.0, 12.0, 24.0, 42.0)
    frame = Frame(*size, x=curves.overlay.span_s, y=limits(0.0, curves.overlay.top))
    uses, signs = [], []
    taken = [
        (frame.x_at(time_s) - 6.0, frame.y_at(height) - 6.0, 12.0, 12.0)
        for time_s, height in map(curves.overlay.peak, range(len(curves.entries)))
    ]
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
        time_s, height = curves.overlay.peak(at)
        x, y = frame.x_at(time_s), frame.y_at(height)
        mark = [sign(shape_of(group), x, y, f"sign g{group % COLOURS}", 4.0 if narrow else 5.0)]
        name = entry.label if len(curves.entries) <= MOST_NAMES and len(entry.label) <= LONGEST_NAME else ""
        if entry.doubtful:
            name += f" ({curves.doubts[entry.name]})" if name else f"{curves.doubts[entry.name]}"
        if name and (place := _free_place(frame, x, y, name, taken)):
            mark.append(tag("text", name, class_="mark", x=number(place[0]), y=number(place[1])))
        signs.append(tag("g", *mark, class_=f"group-{group}"))
    axes = draw_axes(frame, "Time from the rise [s]", f"Load [{curves.overlay.unit}]", narrow=narrow)
    words = (
        f"Load over time of {len(curves.entries)} pulls in one picture; the table of pulls has their numbers."
    )
    if len(curves.entries) <= MOST_IN_WORDS:
        words = describe_overlay(curves.overlay)
    made = picture(
        frame,
        words,
        f"overlay {'narrow' if narrow else 'roomy'}",
        axes,
        use_curves(frame, curves.overlay.top, uses),
        *signs,
    )
    # What a step of the stored curves means, for the read-out.
    scale = f' data-unit="{curves.overlay.unit}" data-top="{curves.overlay.top:.9g}"'
    return Markup(made.replace("<svg ", f"<svg{scale} ", 1))


def _free_place(frame: Frame, x: float, y: float, name: str, taken: list[Box]) -> tuple[float, float] | None:
    """Where a curve's name can stand near its peak without covering another, and takes that place; None if nowhere."""
    width = LETTER * len(name)
    right, left = x + 8.0, x - 8.0 - width
    beside = [(right, y + 4.0), (right, y - 8.0), (left, y + 4.0), (left, y - 8.0), (x - width / 2, y - 10.0)]
    further = [(at, y + down) for down in (16.0, -22.0, 28.0, -34.0, 40.0) for at in (right, left)]
    for at, line in (*beside, *further):
        box = (at, line - 10.0, width, 12.0)
        inside = frame.left <= at and at + width <= frame.width - frame.right
        if inside and 10.0 < line < frame.height - frame.bottom and not any(_meet(box, one) for one in taken):
            taken.append(box)
            return at, line
    return None


def _meet(one: Box, other: Box) -> bool:
    return (
        one[0] < other[0] + other[2]
        and other[0] < one[0] + one[2]
        and one[1] < other[1] + other[3]
        and other[1] < one[1] + one[3]
    )


def pull_chart(curves: ChartCurves, at: int) -> Markup:
    """One pull by itself, with its peak, its interval where that can be seen, its first peak and its break."""
    entry, trace = curves.entries[at], curves.overlay.traces[at]
    summary, factor = entry.summary, trace.factor
    start, end = trace.start_s - trace.rise_s, trace.end_s - trace.rise_s
    high = (summary.peak.high_n or summary.peak.estimate_n) / factor
    frame = Frame(344.0, 216.0, 44.0, 8.0, 24.0, 42.0, x=(start, end), y=limits(0.0, max(high, 1e-9)))
    group = curves.group_number(entry) % COLOURS
    parts = [draw_axes(frame, "Time from the rise [s]", f"Load [{curves.overlay.unit}]", narrow=True)]
    for gap_start, gap_end in trace.gaps:
        left = frame.x_at(max(gap_start - trace.rise_s, start))
        width = frame.x_at(min(gap_end - trace.rise_s, end)) - left
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
        at_break = number(frame.x_at(summary.failure.time_s - trace.rise_s))
        bottom = frame.height - frame.bottom
        parts.append(tag("line", class_="break", x1=at_break, x2=at_break, y1=frame.top, y2=bottom))
    use = element("use", {"href": f"#curve-{at}", "class": f"g{group}"})
    parts.append(use_curves(frame, curves.overlay.top, [use]))
    if summary.first_peak is not None and summary.has_first_peak:
        x = frame.x_at(summary.first_peak.time_s - trace.rise_s)
        parts.append(sign("diamond", x, frame.y_at(summary.first_peak.load_n / factor), "sign first", 4.0))
    parts.append(_peak_sign(frame, summary.peak.time_s - trace.rise_s, entry, factor))
    return picture(
        frame,
        describe_pull(summary, unit=curves.overlay.unit, title=entry.label, origin_s=trace.rise_s),
        "alone",
        *parts,
    )


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
