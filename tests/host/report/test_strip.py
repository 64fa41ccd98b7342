"""The strip plot: every specimen where it belongs, bounds as arrows, names only where they fit."""

from collections.abc import Callable
from typing import Any

import pytest

from breakyard.errors import UnitError, UsageError
from breakyard.report.figures.strip_figure import MARKERS, Strip, strip_figure
from breakyard.report.page.content import Content

MakeContent = Callable[..., Content]

BOUND: dict[str, Any] = {"strength": {"at_least": True, "high_n": None}, "flags": ("no_break",)}


def strips(content: Content) -> list[Strip]:
    """The pulls of a report as strips."""
    return [Strip(entry.summary, entry.label, entry.group) for entry in content.entries]


def strong(factor: float) -> dict[str, Any]:
    """A strength of 4000 N times a factor."""
    return {"strength": {"value_n": 4000.0 * factor, "low_n": 3978.0 * factor, "high_n": 4023.0 * factor}}


def points(axes: Any) -> list[tuple[float, float]]:
    """Where the signs of specimens are."""
    lines = [line for line in axes.lines if line.get_marker() in MARKERS]
    return [(float(x), float(y)) for line in lines for x, y in zip(*line.get_data(), strict=True)]


@pytest.mark.parametrize("form", ["wide", "phone"])
def test_each_specimen_has_its_place(make_content: MakeContent, form: Any) -> None:
    """A sign at each strength (in the unit), an arrow for each bound, a row and a name each."""
    content = make_content(("A1", "a", {}), ("A2", "a", strong(1.1)), ("B1", "b", BOUND))

    picture = strip_figure(strips(content), unit="kN", comparison=content.comparison, form=form)
    (axes,) = picture.figure.axes

    signs = sorted(points(axes))
    assert [x for x, _ in signs] == pytest.approx([3.978, 4.0, 4.4])
    assert len({y for _, y in signs}) == 3
    assert len(axes.texts) == 1  # the arrow
    assert [tick.get_text() for tick in axes.get_yticklabels()] == ["a", "A1", "A2", "b", "B1"]
    assert "B1 at least 3.97" in picture.alt
    assert "[kN]" in axes.get_xlabel()


def test_many_specimens_share_rows(make_content: MakeContent) -> None:
    """Beyond 40 the groups alone are named; every specimen is still drawn, and the picture does not grow with them."""
    small = make_content(*((f"A{k}", "a", strong(1 + 0.001 * k)) for k in range(60)), comparison=None)
    large = make_content(*((f"A{k}", "a", strong(1 + 0.001 * k)) for k in range(120)), comparison=None)

    first, second = strip_figure(strips(small)), strip_figure(strips(large))

    signs = points(second.figure.axes[0])
    assert len(signs) == 120
    assert [tick.get_text() for tick in second.figure.axes[0].get_yticklabels()] == ["a"]
    assert first.figure.get_size_inches()[1] == second.figure.get_size_inches()[1]
    assert "120 from" in second.alt


def test_the_axis_begins_at_zero_unless_loads_are_alike(make_content: MakeContent) -> None:
    """A scale that does not begin at zero makes differences look large, so it is used only within a group's scatter
    and said in the title."""
    alike = strip_figure(strips(make_content(("A", "a", {}), ("B", "a", strong(1.05)))))
    unlike = strip_figure(strips(make_content(("A", "a", {}), ("B", "a", strong(3.0)))))

    assert unlike.figure.axes[0].get_xlim()[0] == 0.0
    assert alike.figure.axes[0].get_xlim()[0] > 0.0
    assert "does not begin at zero" in alike.figure.axes[0].get_title(loc="left")


def test_wrong_use(make_content: MakeContent) -> None:
    """Nothing to draw, and a mass where a force belongs."""
    with pytest.raises(UsageError, match="no strength"):
        strip_figure([])
    with pytest.raises(UnitError, match="kgf"):
        strip_figure(strips(make_content(("A", "a", {}))), unit="kg")
