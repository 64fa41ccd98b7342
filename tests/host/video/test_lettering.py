"""Letters as masks."""

import numpy as np
import pytest
from fontTools.ttLib import TTFont
from matplotlib import get_data_path

from breakyard.video.lettering import CAPITAL, ELLIPSIS, fitting, letters, tail_of, width_of


@pytest.mark.parametrize("name", ["DejaVuSans.ttf", "DejaVuSans-Bold.ttf"])
def test_the_height_of_capitals_is_the_fonts_own(name: str) -> None:
    """That of its H, read by fontTools."""
    face = TTFont(f"{get_data_path()}/fonts/ttf/{name}")

    assert pytest.approx(face["glyf"]["H"].yMax / face["head"].unitsPerEm, abs=5e-4) == CAPITAL


@pytest.mark.parametrize("height", [12, 27, 60])
def test_figures_are_as_high_as_asked_and_stand_on_their_line(height: int) -> None:
    """To a pixel, with nothing below the line; a comma and a g hang below it."""
    mask = letters("H1", height)
    rows = np.flatnonzero(mask.max(axis=1) > 127)
    line = mask.shape[0] - tail_of(height)

    assert len(rows) == pytest.approx(height, abs=1)
    assert rows[-1] == line - 1
    assert letters("g", height)[line:].max() > 127


@pytest.mark.parametrize("bold", [False, True])
def test_all_figures_are_of_one_width(bold: bool) -> None:
    """So that a running number does not jump."""
    assert len({width_of(figure * 4, 30.0, bold=bold) for figure in "0123456789"}) == 1


def test_what_does_not_fit_is_cut_off() -> None:
    """With an ellipsis, and never wider than there is room."""
    name = "B3, bonded on bare wood, the second of its board"
    room = width_of(name, 20.0) // 2

    cut = fitting(name, room, 20.0)

    assert cut.endswith(ELLIPSIS)
    assert name.startswith(cut[:-1].rstrip())
    assert width_of(cut, 20.0) <= room
    assert fitting(name, width_of(name, 20.0), 20.0) == name


def test_dollars_are_letters() -> None:
    """Nothing of a name is a formula."""
    assert width_of("$x$", 20.0) > width_of("x", 20.0)
