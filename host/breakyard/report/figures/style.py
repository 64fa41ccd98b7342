"""How pictures look: colours, sizes, the key below, and saving. Matplotlib is loaded only here and when used.

Nothing is written over the data: whatever needs words gets a sign in the picture and a line in the key
below it. Colours are those of Okabe and Ito (Color Universal Design, 2008), told apart by people with any
kind of colour vision; shape or line style always tells the same again.
"""

import io
import textwrap
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from html import escape
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import UsageError
from breakyard.report.page.markup import clean
from breakyard.shown import Form as Form
from breakyard.shown import Mode as Mode

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ORANGE: Final = "#E69F00"
SKY: Final = "#56B4E9"
GREEN: Final = "#009E73"
YELLOW: Final = "#F0E442"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"
PURPLE: Final = "#CC79A7"


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours of one mode."""

    paper: str
    ink: str
    faint: str
    curve: str
    groups: tuple[str, ...]


THEMES: Final[Mapping[str, Theme]] = {
    "light": Theme(
        "#FFFFFF", "#1A1A1A", "#8A8A8A", BLUE, (BLUE, VERMILLION, GREEN, PURPLE, ORANGE, SKY, "#1A1A1A")
    ),
    "dark": Theme(
        "#14181D", "#ECECEC", "#8C939B", SKY, (SKY, ORANGE, GREEN, PURPLE, YELLOW, VERMILLION, "#ECECEC")
    ),
}


@dataclass(frozen=True, slots=True)
class Look:
    """Everything about the look of one picture."""

    theme: Theme
    width_in: float
    axes_height_in: float
    font_pt: float
    dpi: int
    key_columns: int
    key_width: int
    """Characters in a line of the key."""


def make_look(mode: Mode, form: Form) -> Look:
    """Put a look together. Raises: UsageError."""
    if mode not in THEMES:
        raise UsageError(f'a picture is "light" or "dark", not "{mode}"')
    if form == "wide":
        return Look(THEMES[mode], 8.6, 4.2, 11.0, 150, 2, 54)
    if form == "phone":
        return Look(THEMES[mode], 4.3, 4.0, 11.0, 220, 1, 50)
    raise UsageError(f'the form of a picture is "wide" or "phone", not "{form}"')


@dataclass(frozen=True, slots=True, repr=False)
class FigurePicture:
    """A finished picture, with a text that says what it shows to those who cannot see it."""

    figure: "Figure"
    alt: str
    dpi: int

    def __repr__(self) -> str:
        return f"Picture: {self.alt if len(self.alt) < 150 else self.alt[:147] + '...'}"

    def _repr_png_(self) -> bytes:
        return self.png()

    def save(self, path: "str | PathLike[str]") -> Path:
        """Write the picture to a file, .png or .svg as its name ends; returns the path.

        Raises: UsageError (another ending), OSError.
        """
        path = Path(path)
        if path.suffix.lower() not in (".png", ".svg"):
            raise UsageError(f"{path}: a picture is written as .png or .svg")
        path.write_bytes(self.svg() if path.suffix.lower() == ".svg" else self.png())
        return path

    def png(self) -> bytes:
        """The picture as PNG; the text is in its description."""
        out = io.BytesIO()
        with _any_letters():
            self.figure.savefig(
                out, format="png", dpi=self.dpi, metadata={"Software": None, "Description": clean(self.alt)}
            )
        return out.getvalue()

    def svg(self, *, with_text: bool = False) -> bytes:
        """The picture as SVG, the same bytes each time; the text is its label and description.

        with_text: letters stay letters, in the reader's font, instead of becoming outlines.
        """
        from matplotlib import rc_context
        from matplotlib.backends.backend_svg import FigureCanvasSVG

        out, canvas, dpi = io.StringIO(), self.figure.canvas, self.figure.dpi
        drawing: Any = FigureCanvasSVG(self.figure)  # its methods have no types
        letters = "none" if with_text else "path"
        about = {"Date": None, "Creator": None, "Description": clean(self.alt)}
        # By the canvas itself: savefig draws everything once more before, and drawing is what takes the time.
        try:
            with rc_context({"svg.hashsalt": "breakyard", "svg.fonttype": letters}), _any_letters():
                drawing.print_svg(out, metadata=about)
        finally:
            self.figure.set_canvas(canvas)
            self.figure.dpi = dpi
        label = escape(clean(self.alt), quote=True)
        return out.getvalue().replace("<svg ", f'<svg role="img" aria-label="{label}" ', 1).encode()


def arrow(way: Literal["up", "right"]) -> dict[str, Any]:
    """The sign of an "at least" in the key, like the arrows in the picture; a letter between dollar signs is slower."""
    from matplotlib.path import Path as Outline

    along, across = np.array([-1.0, 1.0, 0.4, 1.0, 0.4]), np.array([0.0, 0.0, 0.5, 0.0, -0.5])
    corners = np.column_stack([along, across] if way == "right" else [across, along])
    codes = [Outline.MOVETO, Outline.LINETO, Outline.MOVETO, Outline.LINETO, Outline.LINETO]
    return {
        "marker": Outline(corners, codes),
        "markersize": 11,
        "markerfacecolor": "none",
        "markeredgewidth": 1.8,
    }


def plain(text: str) -> str:
    """Text that is drawn as it stands: no formulas between dollar signs, nothing that cannot be shown."""
    shown = "".join(
        sign if sign.isprintable() or sign in "\n\N{NO-BREAK SPACE}" else "\N{REPLACEMENT CHARACTER}"
        for sign in text
    )
    return shown.replace("$", r"\$")


@contextmanager
def _any_letters() -> Iterator[None]:
    """A name may hold letters that the font lacks; they are drawn as boxes, and that is no reason to warn."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield


@dataclass(slots=True)
class Legend:
    """The lines below a picture, in order of entry."""

    look: Look
    handles: list[Any] = field(default_factory=list)
    labels: list[str] = field(default_factory=list)

    def add(self, handle: Any, label: str) -> None:
        """Add a sign of the picture and what it means."""
        self.handles.append(handle)
        self.labels.append(plain(textwrap.fill(label, self.look.key_width)))

    def line(self, label: str, **style: Any) -> None:
        """Add a sign made for the key alone."""
        from matplotlib.lines import Line2D

        self.add(Line2D([], [], **style), label)

    def words(self, label: str) -> None:
        """Add words without a sign."""
        self.line(label, linestyle="none", marker="none")


def new_figure(
    look: Look, heights: tuple[float, ...] = (1.0,), key_lines: int = 0
) -> "tuple[Figure, list[Axes]]":
    """A figure with its axes one below the other, each `heights` times as high as usual, and room for a key."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    line_in = 1.45 * look.font_pt / 72.0
    height = look.axes_height_in * sum(heights) + line_in * key_lines + 0.2
    figure = Figure(figsize=(look.width_in, height), facecolor=look.theme.paper, layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.subplots(len(heights), 1, squeeze=False, gridspec_kw={"height_ratios": heights})
    axes = list(grid[:, 0])
    for one in axes:
        _dress(one, look)
    return figure, axes


def _dress(axes: "Axes", look: Look) -> None:
    from matplotlib.ticker import MaxNLocator

    theme = look.theme
    axes.set_facecolor(theme.paper)
    axes.grid(visible=True, color=theme.faint, alpha=0.25, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=5 if look.width_in < 6.0 else 9, steps=[1, 2, 2.5, 5, 10]))
    axes.tick_params(colors=theme.ink, labelsize=look.font_pt)
    for side, spine in axes.spines.items():
        spine.set_color(theme.faint)
        spine.set_visible(side in {"left", "bottom"})
    axes.xaxis.label.set(color=theme.ink, fontsize=look.font_pt)
    axes.yaxis.label.set(color=theme.ink, fontsize=look.font_pt)


def set_title(axes: "Axes", look: Look, first: str, second: str = "", pad: float = 8.0) -> None:
    """Write a title of one or two short lines above the axes."""
    # Characters that fit beside the axis labels, at about 0.1 inch each.
    width = int((look.width_in - 0.8) * 10.0)
    lines = textwrap.wrap(first, width) + (textwrap.wrap(second, width) if second else [])
    axes.set_title(
        plain("\n".join(lines)), loc="left", color=look.theme.ink, fontsize=look.font_pt + 1.0, pad=pad
    )


def draw_key(figure: "Figure", key: Legend) -> None:
    """Put the key below the axes, and make the figure as high as it needs."""
    look = key.look
    if not key.labels:
        return
    columns = look.key_columns if len(key.labels) > 2 else 1
    legend = figure.legend(
        key.handles,
        key.labels,
        loc="outside lower left",
        ncols=columns,
        frameon=False,
        fontsize=look.font_pt - 1.0,
        labelcolor=look.theme.ink,
        handlelength=1.8,
        handletextpad=0.7,
        columnspacing=1.5,
        labelspacing=0.45,
        numpoints=1,
        alignment="left",
    )
    width, height = figure.get_size_inches()
    with _any_letters():
        needed = legend.get_window_extent().height / figure.dpi
    figure.set_size_inches(width, height + needed)


def thinned(
    time_s: NDArray[np.float64], load: NDArray[np.float64], bins: int = 1500
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The same line with fewer points: first, lowest, highest and last of each of `bins` stretches."""
    if time_s.size <= 4 * bins:
        return time_s, load
    edges = np.searchsorted(time_s, np.linspace(time_s[0], time_s[-1], bins + 1)[1:-1])
    keep: list[int] = []
    for part in np.split(np.arange(time_s.size), edges):
        if part.size:
            values = load[part]
            if np.isfinite(values).any():
                keep += [part[0], part[int(np.nanargmin(values))], part[int(np.nanargmax(values))], part[-1]]
            else:
                keep.append(part[0])
    index = np.unique(np.array(keep))
    return time_s[index], load[index]
