"""The share of each group's specimens that still holds at a load: Kaplan-Meier steps, losses marked."""

from typing import Any

from breakyard.comparison import Comparison
from breakyard.comparison.groups import Group
from breakyard.errors import UsageError
from breakyard.report.figures.strip_figure import MARKERS
from breakyard.report.figures.style import (
    FigurePicture,
    Form,
    Legend,
    Mode,
    draw_key,
    make_look,
    new_figure,
    plain,
    set_title,
)
from breakyard.report.words.values import load_text
from breakyard.units import FORCE_UNITS, force_unit


def survival_figure(
    comparison: Comparison, *, unit: str = "N", mode: Mode = "light", form: Form = "wide"
) -> FigurePicture:
    """Draw one step curve a group. A sign on it is a specimen known to hold that much and no further
    (Kaplan and Meier 1958, J. Am. Stat. Assoc. 53, 457: it leaves the count there without a fall of the curve).

    Raises: UsageError if there is no group, or of mode and form; UnitError.
    """
    if not comparison.groups:
        raise UsageError("there is no group to draw")
    factor = FORCE_UNITS[force_unit(unit)]
    look = make_look(mode, form)
    figure, (axes,) = new_figure(look)
    key = Legend(look)
    furthest = max(pull.value_n for group in comparison.groups for pull in group.pulls) / factor
    for at, group in enumerate(comparison.groups):
        style: dict[str, Any] = {"color": look.theme.groups[at % len(look.theme.groups)]}
        loads, shares = _steps(group, factor, furthest)
        axes.plot(loads, shares, drawstyle="steps-post", linewidth=2.0, **style)
        lost = [pull.value_n / factor for pull in group.pulls if pull.at_least]
        marker = MARKERS[at % len(MARKERS)]
        axes.plot(
            lost, [_share_at(group, load * factor) for load in lost], marker=marker, linestyle="none", **style
        )
        key.line(
            plain(f"{group.name}: {len(group.pulls)} specimens, {len(lost)} of them at least"),
            marker=marker,
            **style,
        )
    axes.set_xlim(0.0, 1.05 * furthest)
    axes.set_ylim(-0.03, 1.05)
    axes.set_xlabel(f"Load [{unit}{comparison.quantity.unit.removeprefix('N')}]")
    axes.set_ylabel("Share that still holds")
    set_title(axes, look, "Share that holds each load", "marked: held at least this load and did not break")
    draw_key(figure, key)
    return FigurePicture(figure, describe_survival(comparison, unit=unit), look.dpi)


def describe_survival(comparison: Comparison, *, unit: str = "N") -> str:
    """The words for the picture. Raises: UnitError."""
    unit = force_unit(unit)
    told = []
    for group in comparison.groups:
        steps = ", ".join(
            f"{step.share:.0%} beyond {load_text(step.load_n, unit)}" for step in group.survival
        )
        told.append(f"{group.name}: {steps or 'nothing broke'}.")
    return f"Share of specimens that still hold, by load in {unit}. " + " ".join(told)


def _steps(group: Group, factor: float, furthest: float) -> tuple[list[float], list[float]]:
    """Corners of the curve; it ends at the group's last load, or at the axis where it has reached zero."""
    loads = [0.0, *(step.load_n / factor for step in group.survival)]
    shares = [1.0, *(step.share for step in group.survival)]
    end = furthest if shares[-1] == 0.0 else max(pull.value_n for pull in group.pulls) / factor
    return [*loads, max(end, loads[-1])], [*shares, shares[-1]]


def _share_at(group: Group, load_n: float) -> float:
    """The curve's height at a load."""
    return next((step.share for step in reversed(group.survival) if step.load_n <= load_n), 1.0)
