"""The pictures for the time before the pull: what is in them, in words and to scale."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from breakyard.calibration.plate import Plate
from breakyard.errors import UsageError
from breakyard.plan.energy import LineStretch
from breakyard.plan.ranges import RangePlan, RangeQuestion, plan_range
from breakyard.plan.rig import Rig, RigCheck, check_rig
from breakyard.report.figures.plan_figures import range_figure, rig_figure

KGF = 9.80665


def plan(capacity: float = 1000.0) -> RangePlan:
    return plan_range(RangeQuestion(300.0 * KGF, 500.0 * KGF, Plate(capacity * KGF, 2.0)), unit="kgf")


def rig(length: float = 20.0) -> RigCheck:
    return check_rig(Rig(3000.0, 5000.0, lines=(LineStretch(length, "hmpe"),)))


def test_the_bar_shows_every_limit_where_it_is() -> None:
    """Edges of the bars are the limits in the unit asked for; the axis reaches the cell's ultimate."""
    picture = range_figure(plan(), unit="kgf")
    axes = picture.figure.axes[0]
    edges = {round(bar.get_x() + bar.get_width()) for bar in axes.patches}

    assert {1000, 1500, 3000, 1953, 500} <= edges
    assert axes.get_xlim()[0] == 0.0
    assert axes.get_xlim()[1] >= 3000.0
    for words in ("300 to 500 kgf", "1000 kgf", "1500 kgf", "3000 kgf", "1953 kgf"):
        assert words in picture.alt


@pytest.mark.parametrize("capacity", [50.0, 400.0, 100_000.0])
def test_the_expected_load_is_in_the_picture_however_wrong_the_cell(capacity: float) -> None:
    """Far too small, too small and far too big."""
    axes = range_figure(plan(capacity), unit="kgf").figure.axes[0]

    assert axes.get_xlim()[1] >= 500.0


def test_the_sketch_is_to_scale() -> None:
    """Both axes have one scale; the outlines lie 1.5 and 2 line lengths from the line."""
    axes = rig_figure(rig()).figure.axes[0]
    outlines = [patch.get_xy() for patch in axes.patches[:2]]

    assert axes.get_aspect() == 1.0
    assert [float(np.abs(outline[:, 1]).max()) for outline in outlines] == pytest.approx(
        [40.0, 30.0], rel=1e-3
    )
    assert [float(outline[:, 0].max()) for outline in outlines] == pytest.approx([60.0, 50.0], rel=1e-3)


def test_people_are_drawn_outside_and_never_in_line() -> None:
    """Each triangle is beyond the distance for everyone, level with the middle of the line."""
    axes = rig_figure(rig()).figure.axes[0]
    people = [line for line in axes.lines if line.get_marker() == "^"]

    assert len(people) == 2
    for person in people:
        assert abs(person.get_ydata()[0]) > 40.0
        assert person.get_xdata()[0] == pytest.approx(10.0)


def test_the_words_of_the_sketch_say_the_distances() -> None:
    """Alt text: both distances, the line of fire, fragments."""
    alt = rig_figure(rig()).alt

    for words in ("30 m", "40 m", "in line with it", "Fragments"):
        assert words in alt


def test_a_rig_without_a_line_cannot_be_drawn() -> None:
    """One line that says what to write."""
    with pytest.raises(UsageError, match="length_m"):
        rig_figure(check_rig(Rig(1.0, 2.0)))


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("form", ["wide", "phone"])
def test_pictures_are_the_same_each_time_and_nothing_is_cut_off(mode: str, form: str) -> None:
    """SVG bytes are equal; every text lies within the picture."""
    for make in (
        lambda: range_figure(plan(), unit="kgf", mode=mode, form=form),
        lambda: rig_figure(rig(), mode=mode, form=form),
    ):  # type: ignore[arg-type]
        picture = make()
        first = picture.svg()
        assert first == make().svg()
        assert ET.fromstring(first).get("aria-label") == picture.alt

        picture.figure.canvas.draw()
        frame = picture.figure.bbox
        for text in (
            *picture.figure.axes[0].texts,
            picture.figure.axes[0].title,
            *picture.figure.legends[0].get_texts(),
        ):
            box = text.get_window_extent()
            assert frame.x0 - 1.0 <= box.x0
            assert box.x1 <= frame.x1 + 1.0
            assert frame.y0 - 1.0 <= box.y0
            assert box.y1 <= frame.y1 + 1.0
