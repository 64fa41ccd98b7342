"""One picture to pass on: the figure with its interval first, the curve, the specimen, "measured, not a rating".

1080 x 1350 for a feed on a phone, 1200 x 630 for links. Sizes are pixels; no letters are smaller than what reads on a
phone of 65 mm at 0.35 m: capitals of 16 minutes of arc (ISO 9241), a fortieth of the width.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from breakyard.comparison import Comparison
from breakyard.comparison.groups import Group
from breakyard.curve import LoadCurve
from breakyard.errors import UsageError
from breakyard.pull.results import Summary
from breakyard.report.figures.style import (
    ORANGE,
    THEMES,
    VERMILLION,
    FigurePicture,
    Form,
    Mode,
    Theme,
    plain,
    thinned,
)
from breakyard.report.trace import limits, make_trace
from breakyard.report.words.group_words import group_cells, middle_n
from breakyard.report.words.values import strength_text
from breakyard.report.words.wording import is_doubtful, manner_text, short_doubts
from breakyard.units import FORCE_UNITS, force_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SIZES: Final = {"phone": (1080, 1350), "wide": (1200, 630)}
DPI: Final = 100
NOT_A_RATING: Final = "measured, not a rating"
CAPITAL: Final = 0.729
"""Height of DejaVu Sans' capitals in parts of its size."""
MOST_GROUPS: Final = {"phone": 6, "wide": 4}


@dataclass(frozen=True, slots=True)
class _Card:
    """A picture whose places are pixels from its upper left corner."""

    figure: "Figure"
    theme: Theme
    width: int
    height: int

    @property
    def text_px(self) -> float:
        """Height of the capitals of ordinary words."""
        return self.width / 37.0

    def write(self, x: float, base: float, text: str, capital_px: float, room: float, **style: Any) -> None:
        """Write a text whose letters stand on a row: smaller if it is too wide, then cut off."""
        style = {"color": self.theme.ink} | style
        shown = self.figure.text(
            x / self.width, 1.0 - base / self.height, plain(text), fontsize=_points(capital_px), **style
        )
        wide = shown.get_window_extent().width
        smallest = self.width / 40.0
        if wide > room:
            capital_px = max(smallest, capital_px * room / wide)
            shown.set_fontsize(_points(capital_px))
        while shown.get_window_extent().width > room * 1.01 and len(text) > 4:
            text = text[:-2].rstrip() + "\N{HORIZONTAL ELLIPSIS}"
            shown.set_text(plain(text))

    def axes(self, left: float, top: float, right: float, bottom: float) -> "Axes":
        """Axes in a rectangle."""
        return self.figure.add_axes(
            (
                left / self.width,
                1.0 - bottom / self.height,
                (right - left) / self.width,
                (bottom - top) / self.height,
            )
        )

    def picture(self, alt: str) -> FigurePicture:
        """The finished picture."""
        return FigurePicture(self.figure, alt, DPI)


def _points(capital_px: float) -> float:
    return capital_px / CAPITAL * 72.0 / DPI


def _card(mode: Mode, form: Form) -> _Card:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    if mode not in THEMES:
        raise UsageError(f'a picture is "light" or "dark", not "{mode}"')
    if form not in SIZES:
        raise UsageError(f'the form of a picture is "wide" or "phone", not "{form}"')
    width, height = SIZES[form]
    theme = THEMES[mode]
    figure = Figure(figsize=(width / DPI, height / DPI), dpi=DPI, facecolor=theme.paper)
    FigureCanvasAgg(figure)
    return _Card(figure, theme, width, height)


def pull_card(
    curve: LoadCurve,
    summary: Summary,
    *,
    unit: str = "N",
    title: str = "",
    date: str = "",
    mode: Mode = "light",
    form: Form = "phone",
) -> FigurePicture:
    """A pull: what it bears with its interval, large; its curve; how it broke. Raises: UnitError, UsageError."""
    unit = force_unit(unit)
    card = _card(mode, form)
    accent = ORANGE if mode == "dark" else VERMILLION
    name = title or summary.run.name
    value, interval = _split(strength_text(summary, unit))
    doubts = short_doubts(summary) if is_doubtful(summary) else ()
    manner = "did not break" if summary.failure.manner == "none" else f"{summary.failure.manner} break"
    if not summary.failure.sure and summary.failure.manner != "none":
        manner = f"probably {manner}"
    said = f"{100 * summary.peak.coverage:g} % sure: {interval}" if interval else manner
    lines = [] if said == manner else [manner]
    lines += [f"in doubt: {doubt}" for doubt in doubts if doubt != manner][:1]
    edge, text = 0.06 * card.width, card.text_px
    room = card.width - 2 * edge
    if form == "phone":
        card.write(edge, 120, name, 44, room - 330 if date else room, weight="bold")
        if date:
            card.write(card.width - edge, 120, date, text, 320, ha="right")
        card.write(edge, 330, f"{value} {unit}", 130, room, weight="bold", color=accent)
        card.write(edge, 420, said, 44, room)
        axes = card.axes(edge + 90, 490, card.width - edge, 1090)
        for base, line in zip((1310, 1255, 1200), [NOT_A_RATING, *reversed(lines)], strict=False):
            card.write(edge, base, line, text, room)
    else:
        half = 0.5 * card.width
        card.write(edge, 95, name, 38, half - edge, weight="bold")
        card.write(edge, 260, f"{value} {unit}", 92, half - edge, weight="bold", color=accent)
        card.write(edge, 335, said, 34, half - edge)
        rows = [*lines, *([date] if date else []), NOT_A_RATING]
        for base, line in zip((590, 535, 480, 425), reversed(rows), strict=False):
            card.write(edge, base, line, text, half - edge)
        axes = card.axes(half + 110, 65, card.width - 40, 545)
    _draw_curve(axes, card, curve, summary, unit, accent)
    alt = (
        f"{name}: {strength_text(summary, unit)} {unit}, {manner_text(summary)}. {NOT_A_RATING.capitalize()}."
    )
    return card.picture(alt)


def _split(text: str) -> tuple[str, str]:
    """ "447.3 (445.1 to 449.5)" as its value and its interval; what is only a bound has none."""
    value, _, rest = text.partition(" (")
    return value, rest.rstrip(")")


def _draw_curve(
    axes: "Axes", card: _Card, curve: LoadCurve, summary: Summary, unit: str, accent: str
) -> None:
    trace, theme = make_trace(curve, summary, unit), card.theme
    inside = (trace.time_s >= trace.start_s) & (trace.time_s <= trace.end_s)
    time, load = thinned(trace.time_s[inside] - summary.onset_s, trace.load[inside])
    axes.set_facecolor(theme.paper)
    axes.plot(time, load, color=theme.curve, linewidth=4.0)
    known = load[np.isfinite(load)]
    top = summary.peak.high_n or summary.peak.estimate_n
    axes.set_ylim(*limits(min(0.0, float(known.min())), max(float(known.max()), top / trace.factor)))
    axes.set_xlim(trace.start_s - summary.onset_s, trace.end_s - summary.onset_s)
    if summary.peak.high_n is not None:
        axes.axhspan(
            summary.peak.low_n / trace.factor, top / trace.factor, color=accent, alpha=0.35, linewidth=0
        )
    _dress(axes, card)
    size = _points(card.width / 40.0)
    label = f"{unit}, over seconds"
    axes.text(0.02, 1.0, label, transform=axes.transAxes, va="bottom", fontsize=size, color=theme.ink)


def _dress(axes: "Axes", card: _Card) -> None:
    from matplotlib.ticker import MaxNLocator

    size = _points(card.width / 40.0)
    axes.tick_params(colors=card.theme.ink, labelsize=size, width=2, length=8)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=4, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(nbins=4, steps=[1, 2, 2.5, 5, 10]))
    for side, spine in axes.spines.items():
        spine.set_visible(side in {"left", "bottom"})
        spine.set(color=card.theme.faint, linewidth=2)


def comparison_card(
    comparison: Comparison,
    *,
    unit: str = "N",
    title: str = "",
    date: str = "",
    mode: Mode = "light",
    form: Form = "phone",
) -> FigurePicture:
    """Groups compared: each group's mean (median, with bounds) with its interval, and what differs most.

    Raises: UnitError, UsageError (too many groups for the picture).
    """
    unit = force_unit(unit)
    card = _card(mode, form)
    groups = comparison.groups
    if len(groups) > MOST_GROUPS[form]:
        raise UsageError(
            f"a card has room for {MOST_GROUPS[form]} groups, and there are {len(groups)}: take --form phone, or plot "
            "the session without --card"
        )
    edge, text = 0.06 * card.width, card.text_px
    room = card.width - 2 * edge
    tall = form == "phone"
    top, bottom = (180.0, 1120.0) if tall else (110.0, 440.0)
    head = 110.0 if tall else 80.0
    dated = card.text_px * 9 if date else 0.0
    card.write(edge, head, title or f"{comparison.quantity.name} by group", 40, room - dated, weight="bold")
    if date:
        card.write(card.width - edge, head, date, text, dated, ha="right")
    low, high = _span(groups, unit)
    step = (bottom - top) / len(groups)
    # On a wide card words and signs stand side by side, on a tall one below each other.
    left = edge if tall else edge + 0.55 * room
    axes = card.axes(left, top, card.width - edge, bottom + 4)
    axes.set_facecolor("none")
    _dress(axes, card)
    axes.set_xlim(low, high)
    axes.set_ylim(len(groups), 0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    for at, group in enumerate(groups):
        shade = card.theme.groups[at % len(card.theme.groups)]
        base = top + at * step + (1.7 * text if tall else 1.25 * text)
        words = _words(group, unit)
        count = f"{group.name}, {group.n}"
        if tall:
            card.write(edge, base, count, text * 1.1, 0.42 * room, weight="bold", color=shade)
            card.write(card.width - edge, base, words, text * 1.2, 0.55 * room, weight="bold", ha="right")
        else:
            card.write(edge, base, count, text, 0.52 * room, weight="bold", color=shade)
            card.write(edge, base + 1.35 * text, words, text, 0.52 * room, weight="bold")
        _draw_group(axes, group, at + (3.0 * text / step if tall else 0.5), unit, shade)
    foot = card.height - (40.0 if form == "wide" else 45.0)
    told = _told(comparison)
    card.write(edge, foot - 1.9 * text, told, text, room)
    card.write(edge, foot, f"{NOT_A_RATING}; {100 * comparison.coverage:g} % intervals, {unit}", text, room)
    lines = "; ".join(" ".join(group_cells(group, unit)[:4]) for group in groups)
    return card.picture(f"{title}: {lines}. {told}. {NOT_A_RATING.capitalize()}.")


def _words(group: Group, unit: str) -> str:
    """A group's mean (median, where some loads are bounds) with its interval; what is known, where there is none."""
    cells = group_cells(group, unit)
    if group.interval is None:
        return cells[7]
    return f"{cells[2] if group.mean_n is not None and not group.at_least else cells[6]} ({cells[3]})"


def _span(groups: Sequence[Group], unit: str) -> tuple[float, float]:
    factor = FORCE_UNITS[unit]
    values = [pull.value_n / factor for group in groups for pull in group.pulls]
    ends = [
        end / factor
        for group in groups
        if group.interval is not None
        for end in (group.interval.low_n, group.interval.high_n)
        if end is not None and end < 3.0 * max(values) * factor
    ]
    most = max([*values, *ends])
    return 0.0, 1.06 * most


def _draw_group(axes: "Axes", group: Group, row: float, unit: str, shade: str) -> None:
    factor, (low, high) = FORCE_UNITS[unit], axes.get_xlim()
    interval, middle = group.interval, middle_n(group)
    if interval is not None:
        end = high if interval.high_n is None else min(interval.high_n / factor, high)
        axes.plot([max(interval.low_n / factor, low), end], [row, row], color=shade, linewidth=14, alpha=0.4)
    if middle is not None:
        axes.plot([middle / factor], [row], marker="|", markersize=34, markeredgewidth=6, color=shade)
    for pull in group.pulls:
        marker = ">" if pull.at_least else "o"
        axes.plot(
            [pull.value_n / factor], [row], marker=marker, markersize=13, color=shade, markeredgecolor="none"
        )


def _told(comparison: Comparison) -> str:
    """The clearest difference, in a line; else that none is shown."""
    clear = [
        pair
        for pair in comparison.pairs
        if pair.verdict in ("first_more", "second_more") and pair.ratio_low is not None
    ]
    if not clear:
        return "no clear difference between groups"

    def times(pair: Any) -> tuple[float, float, str, str]:
        low, high = pair.ratio_low, pair.ratio_high
        if pair.verdict == "first_more":
            return low, high, pair.first, pair.second
        return 1.0 / high if high else 0.0, 1.0 / low, pair.second, pair.first

    low, high, more, less = max((times(pair) for pair in clear), key=lambda one: one[0])
    most = f"to {np.ceil(high * 100) / 100:.2f} " if high is not None and np.isfinite(high) else "or more "
    return f"{more}: {np.floor(low * 100) / 100:.2f} {most}times {less}"
