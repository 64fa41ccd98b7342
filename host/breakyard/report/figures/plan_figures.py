"""Pictures for the time before the pull: the range bar, and the rig from above with its distances."""

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import UsageError
from breakyard.plan.quantities import show_force, show_number, show_percent, show_range
from breakyard.plan.ranges import RangePlan
from breakyard.plan.rig import RigCheck
from breakyard.plan.rules import BYSTANDER_LENGTHS, MINIMUM_LENGTHS
from breakyard.report.figures.style import (
    GREEN,
    ORANGE,
    SKY,
    VERMILLION,
    FigurePicture,
    Form,
    Legend,
    Look,
    Mode,
    draw_key,
    make_look,
    new_figure,
    set_title,
)
from breakyard.units import force_unit, from_newtons

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FIRE_DEG: Final = 15.0
"""Half the angle of the line of fire as drawn: an illustration, no source gives an angle."""

_ROWS: Final = {"load": 2.0, "cell": 1.0, "converter": 0.0}
_THICK: Final = 0.62


def range_figure(
    plan: RangePlan, *, unit: str = "N", mode: Mode = "light", form: Form = "wide"
) -> FigurePicture:
    """Draw the range plan: the expected load over the cell's bar, from zero to its ultimate, and the converter's.

    Raises: UnitError, UsageError (mode, form).
    """
    from matplotlib.ticker import MaxNLocator

    unit = force_unit(unit)
    look = make_look(mode, form)
    figure, (axes,) = new_figure(look, (0.52,))
    key = Legend(look)
    capacity_n, safe_n, ultimate_n, clip_n = (
        plan.limit(name).load_n for name in ("capacity", "safe overload", "ultimate", "clip")
    )
    beyond_n = min(max(clip_n, plan.at_surprise.load_n), 1.5 * ultimate_n)
    end_n = 1.04 * max(ultimate_n, plan.at_expected.load_n, beyond_n)

    _bar(
        axes,
        key,
        "cell",
        (0.0, capacity_n),
        unit,
        f"within the cell's capacity, to {show_force(capacity_n, unit)}",
        color=GREEN,
    )
    _bar(
        axes,
        key,
        "cell",
        (capacity_n, safe_n),
        unit,
        f"its safe overload, to {show_force(safe_n, unit)}",
        color=ORANGE,
        hatch="//",
    )
    _bar(
        axes,
        key,
        "cell",
        (safe_n, ultimate_n),
        unit,
        f"damage to the cell; it may part from {show_force(ultimate_n, unit)} on",
        color=VERMILLION,
        hatch="xx",
    )
    _bar(
        axes,
        key,
        "converter",
        (0.0, min(clip_n, end_n)),
        unit,
        f"converter on scale at gain {plan.question.gain}, to {show_force(clip_n, unit)} "
        f"({show_force(plan.limit('clip').low_n, unit)} if the plate is out by 10 %)",
        color=SKY,
    )
    if clip_n < end_n:
        _bar(
            axes,
            key,
            "converter",
            (clip_n, end_n),
            unit,
            "clipped: the load goes on, the recording does not",
            color=look.theme.paper,
            hatch="....",
        )
    _draw_loads(axes, key, plan, look, unit)

    axes.set_xlim(0.0, from_newtons(end_n, unit))
    axes.xaxis.set_major_locator(MaxNLocator(6 if form == "wide" else 4))
    axes.set_ylim(-0.5, 2.5)
    axes.set_yticks(list(_ROWS.values()), list(_ROWS))
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(f"Load on the specimen [{unit}]")
    set_title(axes, look, *_range_title(plan, unit))
    draw_key(figure, key)
    return FigurePicture(figure, describe_range(plan, unit=unit), look.dpi)


def describe_range(plan: RangePlan, *, unit: str = "N") -> str:
    """The words for a picture of the range. Raises: UnitError."""
    limits = ", ".join(f"{limit.name} at {show_force(limit.load_n, unit)}" for limit in plan.limits)
    expected = show_range(plan.question.expected_low_n, plan.question.expected_high_n, unit)
    return (
        f"A bar of the cell's range with the expected load on it, {expected}, and "
        f"{show_number(plan.question.surprise)} times its upper end, "
        f"{show_force(plan.at_surprise.load_n, unit)}. In rising order: {limits}. At the upper "
        f"expected load the cell is at {show_percent(plan.at_expected.of_capacity)} of its capacity and the converter "
        f"at {show_percent(plan.at_expected.of_converter)} of its range."
    )


def rig_figure(check: RigCheck, *, mode: Mode = "light", form: Form = "wide") -> FigurePicture:
    """Draw the rig from above, to scale, with the line of fire and the stand-off.

    Raises: UsageError (no length of line, mode, form).
    """
    distances = check.distances
    if distances is None:
        raise UsageError(
            "a sketch of the rig needs the line's length: write [[rig.line]] and length_m = 6 below it"
        )
    look = make_look(mode, form)
    length, far = distances.line_m, distances.bystanders_m
    reach = max(far, distances.overshoot_m)
    span, height = length + 2.1 * reach, 2.3 * far
    # Axes of the picture's width, less what labels take; the height follows from the scale.
    figure, (axes,) = new_figure(look, (0.84 * look.width_in * height / span / look.axes_height_in,))
    key = Legend(look)
    style: dict[str, Any] = {"linewidth": 1.4, "zorder": 2}
    (outer,) = axes.fill(
        *_around(length, far),
        facecolor=(*_rgb(ORANGE), 0.16),
        edgecolor=ORANGE,
        linestyle=(0, (5, 2)),
        **style,
    )
    key.add(outer, f"nobody else within {show_number(far)} m")
    (inner,) = axes.fill(
        *_around(length, distances.minimum_m),
        facecolor=(*_rgb(VERMILLION), 0.16),
        edgecolor=VERMILLION,
        **style,
    )
    key.add(inner, f"nobody at all within {show_number(distances.minimum_m)} m while the line is loaded")
    fire = None
    for tip, way in ((0.0, -1.0), (length, 1.0)):
        (fire,) = axes.fill(
            *_cone(tip, way, span),
            facecolor="none",
            edgecolor=look.theme.ink,
            hatch="///",
            linewidth=0.8,
            zorder=3,
        )
    key.add(fire, "line of fire: nobody, at any distance; it goes on beyond the picture")
    _draw_parts(axes, key, check, look, span)
    key.line(
        "people: to the side and outside, behind something solid",
        linestyle="none",
        marker="^",
        color=GREEN,
        markeredgecolor=look.theme.ink,
        markersize=9.0,
    )
    for y in (far * 1.07, -far * 1.07):
        axes.plot(length / 2.0, y, "^", color=GREEN, markeredgecolor=look.theme.ink, markersize=9.0, zorder=6)
    axes.set_xlim(length / 2.0 - span / 2.0, length / 2.0 + span / 2.0)
    axes.set_ylim(-height / 2.0, height / 2.0)
    axes.set_aspect("equal")
    axes.set_xlabel("Along the line [m]")
    axes.set_ylabel("To the side [m]")
    for words in _rig_words(check):
        key.words(words)
    set_title(
        axes,
        look,
        f"The rig from above: a line of {show_number(length)} m",
        "Local codes come first",
    )
    draw_key(figure, key)
    return FigurePicture(figure, describe_rig(check), look.dpi)


def describe_rig(check: RigCheck) -> str:
    """The words for a sketch of the rig."""
    distances = check.distances
    if distances is None:
        return "A rig whose line has no stated length."
    return (
        f"Sketch from above, to scale: a line of {show_number(distances.line_m)} m between what holds and what "
        f"pulls. Nobody within {show_number(distances.minimum_m)} m of it while it is loaded, nobody else within "
        f"{show_number(distances.bystanders_m)} m, and nobody in line with it beyond either end, where a parted end "
        f"may fly {show_number(distances.overshoot_m)} m. People stand to the side, outside. Fragments can fly "
        "further."
    )


def _bar(
    axes: "Axes", key: Legend, row: str, span_n: tuple[float, float], unit: str, label: str, **style: Any
) -> None:
    left, right = (from_newtons(value, unit) for value in span_n)
    bars = axes.barh(
        _ROWS[row],
        right - left,
        left=left,
        height=_THICK,
        edgecolor=key.look.theme.ink,
        linewidth=0.8,
        zorder=2,
        **style,
    )
    key.add(bars[0], label)


def _draw_loads(axes: "Axes", key: Legend, plan: RangePlan, look: Look, unit: str) -> None:
    low, high = plan.question.expected_low_n, plan.question.expected_high_n
    start, end = from_newtons(low, unit), from_newtons(high, unit)
    surprise = from_newtons(plan.at_surprise.load_n, unit)
    ink = look.theme.ink
    for x in dict.fromkeys((start, end)):
        line = axes.axvline(x, color=ink, linewidth=1.8, zorder=4)
    axes.barh(_ROWS["load"], end - start, left=start, height=_THICK, color=ink, zorder=3)
    key.add(line, f"expected load, {show_range(low, high, unit)}")
    dotted = axes.axvline(surprise, color=ink, linewidth=1.8, linestyle=":", zorder=4)
    axes.plot([end, surprise], [_ROWS["load"]] * 2, color=ink, linewidth=1.2, linestyle=":", zorder=3)
    key.add(
        dotted,
        f"surprise, {show_number(plan.question.surprise)} times as much: {show_force(plan.at_surprise.load_n, unit)}",
    )


def _range_title(plan: RangePlan, unit: str) -> tuple[str, str]:
    first = plan.first
    name = "the converter clips" if first.name == "clip" else "the cell is at its safe overload"
    expected = show_range(plan.question.expected_low_n, plan.question.expected_high_n, unit)
    return (
        f"{expected} on a cell of {show_force(plan.question.plate.capacity_n, unit)}",
        f"First limit: {name} at {show_force(first.load_n, unit)}",
    )


def _draw_parts(axes: "Axes", key: Legend, check: RigCheck, look: Look, span: float) -> None:
    assert check.distances is not None
    length, ink = check.distances.line_m, look.theme.ink
    (line,) = axes.plot([0.0, length], [0.0, 0.0], color=ink, linewidth=2.5, zorder=5)
    key.add(line, "the line, covered and as short as can be")
    names = {
        role: ", ".join(one.anchor.name for one in check.anchors if one.anchor.role == role)
        for role in ("hold", "pull")
    }
    fixed = [part.element.name for part in check.elements if part.element.kind == "anchor"]
    holds = ", ".join([name for name in (names["hold"], *fixed) if name])
    specimen = "the specimen" if check.rig.specimen == "specimen" else f"the specimen: {check.rig.specimen}"
    for x, marker, label in (
        (0.0, "s", f"what holds: {holds or 'not described'}"),
        (min(0.4 * length, 0.045 * span), "D", specimen),
        (length, "o", f"what pulls: {names['pull'] or check.rig.loading.words}"),
    ):
        sign: dict[str, Any] = {
            "linestyle": "none",
            "marker": marker,
            "color": look.theme.paper if marker != "D" else SKY,
            "markeredgecolor": ink,
            "markeredgewidth": 1.6,
            "markersize": 9.0,
        }
        (dot,) = axes.plot([x], [0.0], zorder=7, **sign)
        key.add(dot, label)


def _rig_words(check: RigCheck) -> list[str]:
    distances = check.distances
    assert distances is not None
    floor = "; never under 10 m (rule of thumb)" if distances.by_floor else ""
    source = (
        f"Distances: {MINIMUM_LENGTHS:g} x the unstretched line (fleet safety guide on recovery straps), "
        f"{BYSTANDER_LENGTHS:g} x the paid-out length (US Army FM 4-30.31){floor}"
    )
    flight = (
        f"A parted end may fly {show_number(distances.overshoot_m)} m past its end of the line; the angle drawn is an "
        "illustration. Fragments can fly further: shield the specimen."
    )
    words = [source, flight]
    if any(part.element.turn_deg for part in check.elements):
        words.append(
            "Drawn straight, though a block turns the line: keep out of the inside of the turn as well."
        )
    return words


def _rgb(color: str) -> tuple[float, float, float]:
    from matplotlib.colors import to_rgb

    red, green, blue = to_rgb(color)
    return red, green, blue


def _around(length: float, distance: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Outline of all points within a distance of a line from 0 to `length` on the x axis."""
    right = np.linspace(-np.pi / 2.0, np.pi / 2.0, 61)
    left = right + np.pi
    x = np.concatenate([length + distance * np.cos(right), distance * np.cos(left)])
    y = distance * np.sin(np.concatenate([right, left]))
    return x, y


def _cone(tip: float, way: float, reach: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    angles = np.radians(np.linspace(-FIRE_DEG, FIRE_DEG, 21))
    x = np.concatenate([[tip], tip + way * reach * np.cos(angles)])
    y = np.concatenate([[0.0], reach * np.sin(angles)])
    return x, y
