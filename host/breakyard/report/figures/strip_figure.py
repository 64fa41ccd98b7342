"""What each specimen bears, group by group: a sign with its interval, and an arrow where it is "at least" that much."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from breakyard.comparison import Comparison
from breakyard.comparison.groups import Group
from breakyard.errors import UsageError
from breakyard.pull.results import Summary
from breakyard.report.figures.style import (
    FigurePicture,
    Form,
    Legend,
    Mode,
    arrow,
    draw_key,
    make_look,
    new_figure,
    plain,
    set_title,
)
from breakyard.report.words.group_words import interval_line, middle_n
from breakyard.report.words.values import load_text, strength_text
from breakyard.report.words.wording import is_doubtful
from breakyard.units import FORCE_UNITS, force_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKERS: Final = ("o", "s", "^", "D", "X", "v")
"""Signs of the groups, so that colour is never the only difference."""

MOST_ROWS: Final = 40
"""Specimens that get a row and a name each; more share the rows of their group."""
ROWS_WHEN_MANY: Final = 5
ROW_IN: Final = 0.25
LONGEST_NAME: Final = 16
FROM_ZERO_BELOW: Final = 0.6
"""The axis begins at zero unless the lowest load is above this share of the highest."""
ARROW: Final = 0.065
"""Share of the axis's length that the arrow of an "at least" is long."""


@dataclass(frozen=True, slots=True)
class Strip:
    """One pull of a strip plot; `label` is how people call the specimen."""

    summary: Summary
    label: str
    group: str = ""


def strip_figure(
    strips: Sequence[Strip],
    *,
    unit: str = "N",
    comparison: Comparison | None = None,
    title: str = "",
    mode: Mode = "light",
    form: Form = "wide",
) -> FigurePicture:
    """Draw strengths by group; `comparison` adds each group's interval of the mean (the median, with "at least").

    Raises: UsageError (no pulls, mode, form), UnitError.
    """
    if not strips:
        raise UsageError("there is no strength to draw")
    unit = force_unit(unit)
    look = make_look(mode, form)
    groups = list(dict.fromkeys(strip.group for strip in strips))
    many = len(strips) > MOST_ROWS
    known = {group.name: group for group in comparison.groups} if comparison is not None else {}
    rows, heads, height = _rows(strips, groups, many)
    figure, (axes,) = new_figure(look, ((height * ROW_IN + 0.5) / look.axes_height_in,))
    key = Legend(look)
    axes.set_xlim(*_limits(strips, unit))
    axes.set_ylim(height - 0.4, -0.6)
    for at, group in enumerate(groups):
        style: dict[str, Any] = {
            "color": look.theme.groups[at % len(look.theme.groups)],
            "marker": MARKERS[at % len(MARKERS)],
            "markersize": 7.0,
            "linestyle": "none",
        }
        members = [(strip, row) for strip, row in zip(strips, rows, strict=True) if strip.group == group]
        _draw_members(axes, members, unit, style)
        text = f"{group or 'pulls'}: {len(members)}"
        if (one := known.get(group)) is not None:
            last = max(row for _, row in members)
            text += _draw_group(axes, one, heads[at], last, unit, str(style["color"]))
        key.line(text, **style)
    _finish(axes, key, strips, rows, heads, groups, many)
    axes.set_xlabel(f"Strength [{unit}]")
    second = "" if axes.get_xlim()[0] <= 0.0 else "the axis does not begin at zero"
    set_title(axes, look, title or f"{len(strips)} specimens by group", second)
    draw_key(figure, key)
    return FigurePicture(figure, describe_strips(strips, unit=unit, comparison=comparison), look.dpi)


def describe_strips(strips: Sequence[Strip], *, unit: str = "N", comparison: Comparison | None = None) -> str:
    """The words for a picture of strengths by group. Raises: UnitError."""
    known = {group.name: group for group in comparison.groups} if comparison is not None else {}
    sentences = [f"Strengths of {len(strips)} specimens by group, in {unit}."]
    for name in dict.fromkeys(strip.group for strip in strips):
        members = [strip for strip in strips if strip.group == name]
        if len(members) <= MOST_ROWS:
            told = "; ".join(f"{strip.label} {strength_text(strip.summary, unit)}" for strip in members)
        else:
            values = [strip.summary.strength.value_n for strip in members]
            told = f"{len(members)} from {load_text(min(values), unit)} to {load_text(max(values), unit)}"
        told = f"{name or 'No group'}: {told}."
        if name in known and (line := interval_line(known[name], unit)):
            told += f" {line[0].upper()}{line[1:]}."
        sentences.append(told)
    return " ".join(sentences)


def _rows(
    strips: Sequence[Strip], groups: Sequence[str], many: bool
) -> tuple[list[float], list[float], float]:
    """Each pull's row, each group's own row, and how many rows there are."""
    rows, heads, next_row = [0.0] * len(strips), [], 0.0
    for group in groups:
        heads.append(next_row)
        members = [at for at, strip in enumerate(strips) if strip.group == group]
        for place, at in enumerate(members, start=1):
            rows[at] = next_row + (1.0 + (place - 1) % ROWS_WHEN_MANY if many else float(place))
        next_row = max(rows[at] for at in members) + 1.4
    return rows, heads, next_row


def _limits(strips: Sequence[Strip], unit: str) -> tuple[float, float]:
    factor = FORCE_UNITS[unit]
    ends = [
        (s.summary.strength.low_n, s.summary.strength.high_n or s.summary.strength.value_n) for s in strips
    ]
    low = min(*(low for low, _ in ends), *(s.summary.strength.value_n for s in strips)) / factor
    high = max(high for _, high in ends) / factor
    if low < FROM_ZERO_BELOW * high or high <= 0.0:
        return min(0.0, 1.05 * low), 1.12 * max(high, 1e-9)
    room = max(0.15 * (high - low), 0.02 * high)
    return low - room, high + 1.4 * room


def _draw_members(
    axes: "Axes", members: Sequence[tuple[Strip, float]], unit: str, style: dict[str, Any]
) -> None:
    """Draw a group's pulls, all of a kind at once, because there may be hundreds."""
    factor, colour = FORCE_UNITS[unit], style["color"]
    points, kinds, bars = [], [], []
    for strip, row in members:
        strength = strip.summary.strength
        bound = strength.at_least or strength.high_n is None
        points.append(((strength.low_n if bound else strength.value_n) / factor, row))
        kinds.append(is_doubtful(strip.summary))
        if bound:
            _draw_arrow(axes, *points[-1], colour)
        elif strength.high_n is not None:
            bars.append((*points[-1], strength.low_n / factor, strength.high_n / factor))
    if bars:
        values, rows, lows, highs = (np.array(column) for column in zip(*bars, strict=True))
        around = [np.maximum(values - lows, 0.0), np.maximum(highs - values, 0.0)]
        axes.errorbar(
            values, rows, xerr=around, fmt="none", ecolor=colour, capsize=4.0, elinewidth=1.6, zorder=4
        )
    hollow = {"markerfacecolor": "none", "markeredgecolor": colour, "markeredgewidth": 1.6}
    edge = {"markeredgecolor": axes.xaxis.label.get_color(), "markeredgewidth": 0.6}
    for doubtful, look in ((False, edge), (True, hollow)):
        chosen = [point for point, kind in zip(points, kinds, strict=True) if kind is doubtful]
        if chosen:
            axes.plot([x for x, _ in chosen], [y for _, y in chosen], zorder=5, **(style | look))


def _draw_arrow(axes: "Axes", at: float, row: float, colour: str) -> None:
    low, high = axes.get_xlim()
    arrow = {"arrowstyle": "->", "color": colour, "linewidth": 1.8, "shrinkA": 4, "shrinkB": 0}
    axes.annotate("", xy=(at + ARROW * (high - low), row), xytext=(at, row), arrowprops=arrow, zorder=4)


def _draw_group(axes: "Axes", group: Group, head: float, last: float, unit: str, colour: str) -> str:
    """Draw a group's interval as a band behind its specimens; return what the key says of it."""
    line = interval_line(group, unit)
    interval, middle = group.interval, middle_n(group)
    if not line or interval is None or middle is None:
        return ""
    factor, (start, end) = FORCE_UNITS[unit], axes.get_xlim()
    low = max(interval.low_n / factor, start)
    high = end if interval.high_n is None else min(interval.high_n / factor, end)
    if math.isfinite(high) and high > low:
        axes.fill_betweenx(
            [head - 0.35, last + 0.4], low, high, color=colour, alpha=0.16, linewidth=0.0, zorder=1
        )
    if start <= middle / factor <= end:
        axes.plot([middle / factor] * 2, [head - 0.35, last + 0.4], color=colour, linewidth=1.6, zorder=2)
    return f"; {line}"


def _finish(
    axes: "Axes",
    key: Legend,
    strips: Sequence[Strip],
    rows: Sequence[float],
    heads: Sequence[float],
    groups: Sequence[str],
    many: bool,
) -> None:
    """Names on the left, and what the signs mean."""
    places = [] if many else [(row, _short(strip.label)) for strip, row in zip(strips, rows, strict=True)]
    names = [(head, _short(group or "pulls")) for head, group in zip(heads, groups, strict=True)]
    labels = sorted(places + names)
    axes.set_yticks([row for row, _ in labels], [plain(name) for _, name in labels])
    for row, tick in zip((row for row, _ in labels), axes.get_yticklabels(), strict=True):
        tick.set_fontweight("bold" if row in heads else "normal")
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)
    ink = key.look.theme.ink
    bounds = [strip for strip in strips if strip.summary.strength.at_least]
    if len(bounds) < len(strips):
        coverage = f"{100 * strips[0].summary.peak.coverage:g} %"
        key.line(f"with its {coverage} interval, often smaller than the sign", color=ink, linewidth=1.6)
    if bounds:
        key.line("arrow: bears at least this", color=ink, linestyle="none", **arrow("right"))
    if any(is_doubtful(strip.summary) for strip in strips):
        style: dict[str, Any] = {"color": ink, "linestyle": "none", "marker": "o", "markerfacecolor": "none"}
        key.line("hollow: a bound, or doubtful", markeredgewidth=1.6, markersize=7.0, **style)


def _short(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "\N{HORIZONTAL ELLIPSIS}"
