"""Contrast by the formula of WCAG 2, and groups that can be told apart without colour."""

import re
from importlib.resources import files
from itertools import pairwise

import pytest

from breakyard.report.figures.strip_figure import MARKERS
from breakyard.report.figures.style import THEMES
from breakyard.report.page.chart import SHAPES, ticks
from breakyard.report.page.inline import COLOUR_NAMES

TEXT, SIGN = 4.5, 3.0
"""Least contrast of text (WCAG 2.2, 1.4.3 AA) and of what is needed to understand a picture (1.4.11)."""


def contrast(one: str, other: str) -> float:
    """(L1 + 0.05) / (L2 + 0.05) of relative luminances (WCAG 2.2, definitions)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    first, second = sorted((luminance(one), luminance(other)), reverse=True)
    return (first + 0.05) / (second + 0.05)


def shades() -> dict[str, dict[str, str]]:
    """The page's colours by mode and name."""
    style = (files("breakyard.report.page") / "templates" / "page.css").read_text(encoding="utf-8")
    light, dark = re.findall(r":root \{(.*?)\}", style, flags=re.DOTALL)
    return {
        mode: dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", part))
        for mode, part in (("light", light), ("dark", dark))
    }


def test_the_formula_gives_published_ratios() -> None:
    """Black on white is 21:1 (WCAG 2.2); #767676 is the lightest grey that passes on white, at 4.54 (from memory)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_text_and_signs_stand_out(mode: str) -> None:
    """In both modes: all text 4.5 to 1 on whatever it stands on, all lines and signs of groups 3 to 1."""
    colours = shades()[mode]
    texts = [("ink", "paper"), ("soft", "paper"), ("link", "paper"), ("ink", "panel"), ("soft", "panel")]
    texts += [("warn", "warn-panel"), ("ink", "warn-panel"), ("soft", "warn-panel"), ("link", "warn-panel")]
    signs = [(f"g{at}", "paper") for at in range(7)] + [("faint", "paper"), ("yellow", "paper")]

    for one, other in texts:
        assert contrast(colours[one], colours[other]) >= TEXT, (one, other)
    for one, other in signs:
        assert contrast(colours[one], colours[other]) >= SIGN, (one, other)


def test_both_modes_name_the_same_colours_and_pictures_use_them_all() -> None:
    """A colour missing in the dark would be that of the light; a picture's colour without a name would not follow."""
    light, dark = shades()["light"], shades()["dark"]

    assert light.keys() == dark.keys()
    assert set(COLOUR_NAMES.values()) <= light.keys()
    assert {colour.lower() for colour in THEMES["light"].groups} <= COLOUR_NAMES.keys()


def test_groups_differ_by_more_than_colour() -> None:
    """Six signs before one comes again, in the page's charts and in the pictures."""
    assert len(set(SHAPES)) == len(SHAPES) == len(set(MARKERS)) == 6


@pytest.mark.parametrize(
    ("low", "high"), [(0.0, 1.0), (-0.7, 21.3), (0.0, 13_250.0), (3.1e-4, 9.7e-4), (-5.0, 5.0)]
)
def test_ticks_are_round_and_inside(low: float, high: float) -> None:
    """At least three, at most as many as asked for, evenly apart, none outside."""
    for most in (5, 8, 11):
        found = ticks(low, high, most)
        steps = [after - before for before, after in pairwise(found)]

        assert 3 <= len(found) <= most
        assert low - 1e-12 <= found[0]
        assert found[-1] <= high + 1e-12
        assert max(steps) == pytest.approx(min(steps))
