"""The page's own charts: small inline SVG whose colours follow the reader's light or dark setting.

Curves are stored once, in whole numbers, and shown by reference wherever they are needed: in the wide chart, in the
narrow one, and in the pull's own. That keeps a page of a thousand pulls light.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from breakyard.report.figures.style import thinned
from breakyard.report.page.markup import Markup, element, join, tag
from breakyard.report.trace import Trace

MOST_POINTS: Final = 500
FEWEST_POINTS: Final = 60
ALL_POINTS: Final = 60_000
"""Points of all curves together, before each gets the fewest."""
HEIGHT_STEPS: Final = 10_000
"""Steps from zero to the highest load of all curves: finer than any screen."""
TIME_STEPS_PER_S: Final = 1000

SHAPES: Final = ("circle", "square", "triangle", "diamond", "cross", "wedge")
"""Signs of the groups, so that colour is never the only difference."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A plot's place in its picture, and what its axes span: seconds and loads in the unit."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    x: tuple[float, float]
    y: tuple[float, float]

    @property
    def plot_width(self) -> float:
        """Between the axes' ends."""
        return self.width - self.left - self.right

    @property
    def plot_height(self) -> float:
        """Between the axes' ends."""
        return self.height - self.top - self.bottom

    def x_at(self, value: float) -> float:
        """Where a time is drawn."""
        low, high = self.x
        return self.left + self.plot_width * (value - low) / (high - low)

    def y_at(self, value: float) -> float:
        """Where a load is drawn."""
        low, high = self.y
        return self.top + self.plot_height * (high - value) / (high - low)


def ticks(low: float, high: float, most: int) -> tuple[float, ...]:
    """Round values between two ends, at most `most` of them, 1, 2, 2.5 or 5 times a power of ten apart."""
    span = high - low
    if not (math.isfinite(span) and span > 0.0):
        return (low,)
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(f * power for f in (1.0, 2.0, 2.5, 5.0, 10.0, 20.0) if span / (f * power) <= most - 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return tuple(round(k * step, 12) for k in range(first, last + 1))


def number(value: float) -> str:
    """A coordinate with as many digits as a screen shows."""
    return f"{value:.1f}".removesuffix(".0")


def draw_axes(frame: Frame, x_label: str, y_label: str, *, narrow: bool, loads: bool = True) -> Markup:
    """Grid, ticks, labels and the line of zero load; without the upright axis where `loads` is not wanted."""
    left, right = frame.left, frame.width - frame.right
    bottom = frame.height - frame.bottom
    parts: list[Markup] = []
    for value in ticks(*frame.y, 5 if narrow else 8) if loads else ():
        y = number(frame.y_at(value))
        parts.append(tag("line", class_="zero" if value == 0.0 else "grid", x1=left, x2=right, y1=y, y2=y))
        parts.append(tag("text", f"{value:g}", class_="end", x=left - 6, y=number(frame.y_at(value) + 4)))
    for value in ticks(*frame.x, 6 if narrow else 11):
        x = number(frame.x_at(value))
        parts.append(tag("line", class_="grid", x1=x, x2=x, y1=frame.top, y2=bottom))
        parts.append(tag("text", f"{value:g}", class_="mid", x=x, y=bottom + 17))
    parts.append(tag("text", x_label, class_="mid", x=number((left + right) / 2), y=bottom + 36))
    if loads:
        parts.append(tag("text", y_label, x=2, y=14))
    return join(*parts)


def budget_of_points(curves: int) -> int:
    """How many points each curve may have, given the number of curves."""
    return max(FEWEST_POINTS, min(MOST_POINTS, ALL_POINTS // max(curves, 1)))


def curve_path(ident: str, trace: Trace, start_s: float, top: float, points: int) -> Markup:
    """A pull's line: milliseconds from `start_s` and ten-thousandths of `top`, pieces apart where samples miss."""
    inside = (trace.time_s >= trace.start_s) & (trace.time_s <= trace.end_s)
    time, load = thinned(trace.time_s[inside] - start_s, trace.load[inside], max(points // 4, 1))
    x = np.rint(time * TIME_STEPS_PER_S)
    y = np.rint(load * (HEIGHT_STEPS / top))
    pieces, run = [], np.isfinite(y)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], run, [False]]).astype(np.int8)))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        xs, ys = x[begin:end].astype(int), y[begin:end].astype(int)
        steps = np.column_stack([np.diff(xs), np.diff(ys)]).ravel()
        pieces.append(
            f"M{xs[0]} {ys[0]}l{' '.join(map(str, steps.tolist()))}" if steps.size else f"M{xs[0]} {ys[0]}h1"
        )
    return tag("path", id=ident, class_="curve", d="".join(pieces))


def use_curves(frame: Frame, top: float, uses: list[Markup]) -> Markup:
    """Show curves by reference, moved and stretched into a frame, and cut off at its edges."""
    x_scale = frame.plot_width / (frame.x[1] - frame.x[0]) / TIME_STEPS_PER_S
    y_scale = frame.plot_height / (frame.y[1] - frame.y[0]) * top / HEIGHT_STEPS
    moved = (
        f"translate({number(frame.x_at(0.0))} {number(frame.y_at(0.0))}) scale({x_scale:.7g} {-y_scale:.7g})"
    )
    # An inner picture cuts off what lies outside it, and needs no name as a clipping path would.
    inner = {
        "x": number(frame.left),
        "y": number(frame.top),
        "width": number(frame.plot_width),
        "height": number(frame.plot_height),
        "viewBox": " ".join(map(number, (frame.left, frame.top, frame.plot_width, frame.plot_height))),
    }
    return element("svg", inner, tag("g", *uses, class_="curves", transform=moved))


def sign(kind: str, x: float, y: float, class_: str, size: float = 5.0) -> Markup:
    """A group's sign."""
    a = size
    if kind == "circle":
        return tag("circle", class_=class_, cx=number(x), cy=number(y), r=number(a))
    corners = {
        "square": [(-a, -a), (a, -a), (a, a), (-a, a)],
        "triangle": [(0, -1.2 * a), (1.1 * a, a), (-1.1 * a, a)],
        "diamond": [(0, -1.3 * a), (1.3 * a, 0), (0, 1.3 * a), (-1.3 * a, 0)],
        "wedge": [(0, 1.2 * a), (1.1 * a, -a), (-1.1 * a, -a)],
        "cross": [
            *((-a, -1.3 * a), (0, -0.5 * a), (a, -1.3 * a), (1.3 * a, -a), (0.5 * a, 0), (1.3 * a, a)),
            *((a, 1.3 * a), (0, 0.5 * a), (-a, 1.3 * a), (-1.3 * a, a), (-0.5 * a, 0), (-1.3 * a, -a)),
        ],
    }[kind]
    points = " ".join(f"{number(x + dx)},{number(y + dy)}" for dx, dy in corners)
    return tag("polygon", class_=class_, points=points)


def picture(frame: Frame, alt: str, class_: str, *children: Markup) -> Markup:
    """The outer element of a chart, with the words for those who cannot see it."""
    size = f"0 0 {number(frame.width)} {number(frame.height)}"
    attributes = {"class": f"chart {class_}", "viewBox": size, "role": "img", "aria-label": alt}
    return element("svg", attributes, *children)
