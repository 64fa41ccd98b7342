"""Many groups in one picture, the strongest on top: each one's level with its interval."""

from collections.abc import Sequence
from typing import Final

from breakyard.errors import UsageError
from breakyard.report.figures.style import FigurePicture, Form, Mode, make_look, new_figure, plain, set_title
from breakyard.report.words.ranking import Ranked, level_text
from breakyard.units import FORCE_UNITS, force_unit

ROW_IN: Final = 0.28


def ranking_figure(
    ranked: Sequence[Ranked], *, unit: str = "N", title: str = "", mode: Mode = "light", form: Form = "wide"
) -> FigurePicture:
    """Draw one row a group. Raises: UsageError (no group, mode, form), UnitError."""
    if not ranked:
        raise UsageError("there is no group to draw")
    factor = FORCE_UNITS[force_unit(unit)]
    look = make_look(mode, form)
    figure, (axes,) = new_figure(look, ((len(ranked) * ROW_IN + 0.5) / look.axes_height_in,))
    colour = look.theme.groups[0]
    for row, one in enumerate(ranked):
        middle = one.middle_n / factor
        low = middle if one.low_n is None else one.low_n / factor
        high = middle if one.high_n is None else one.high_n / factor
        axes.plot([low, high], [row, row], color=colour, linewidth=2.5, solid_capstyle="butt")
        axes.plot([middle], [row], color=colour, marker="o", markersize=7.0, linestyle="none")
    axes.set_yticks(range(len(ranked)), [plain(f"{one.name}: {one.n}") for one in ranked])
    axes.set_ylim(len(ranked) - 0.4, -0.6)
    axes.set_xlabel(f"Load [{unit}]")
    set_title(
        axes, look, title or "The strongest first", "line: interval of the level; behind the name: specimens"
    )
    return FigurePicture(figure, describe_ranking(ranked, unit=unit), look.dpi)


def describe_ranking(ranked: Sequence[Ranked], *, unit: str = "N") -> str:
    """The words for the picture. Raises: UnitError."""
    told = [f"{one.name} {level_text(one, unit)}" for one in ranked]
    return f"Groups by their load in {unit}, the strongest first: {'; '.join(told)}."
