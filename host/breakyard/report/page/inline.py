"""Pictures inside the page: the same drawings as in files, in the reader's colours and font, for two widths."""

import re
from collections.abc import Callable
from typing import Final

from breakyard.report.figures.style import (
    BLUE,
    GREEN,
    ORANGE,
    PURPLE,
    SKY,
    THEMES,
    VERMILLION,
    YELLOW,
    FigurePicture,
    Form,
    Mode,
)
from breakyard.report.page.markup import Markup, tag

COLOUR_NAMES: Final = {
    THEMES["light"].paper.lower(): "paper",
    THEMES["light"].ink.lower(): "ink",
    THEMES["light"].faint.lower(): "faint",
    BLUE.lower(): "g0",
    VERMILLION.lower(): "g1",
    GREEN.lower(): "g2",
    PURPLE.lower(): "g3",
    ORANGE.lower(): "g4",
    SKY.lower(): "g5",
    YELLOW.lower(): "yellow",
}
"""The drawing's colours and the page's names for them (templates/page.css has both shades of each)."""

Draw = Callable[[Mode, Form], FigurePicture]


def inline_picture(picture: FigurePicture, name: str, class_: str) -> Markup:
    """A picture as an element of a page: no names of its own that could meet others, no addresses, no fixed size."""
    made = picture.svg(with_text=True).decode()
    made = made[made.index("<svg ") :].strip()
    made = re.sub(r"<metadata>.*?</metadata>\s*", "", made, count=1, flags=re.DOTALL)
    made = re.sub(r"<style[^>]*>.*?</style>\s*|<!--.*?-->\s*", "", made, flags=re.DOTALL)
    start, rest = made.split(">", 1)
    start = re.sub(r'\s(?:xmlns(?::\w+)?|width|height|version)="[^"]*"', "", start)
    start = start.replace("<svg ", f'<svg class="chart {class_}" ', 1)
    # Only inside of elements: a specimen may be called #0072b2.
    rest = re.sub(r"<[^>]*>", lambda found: _adapted(found[0], name), rest)
    return Markup(f"{start}>{rest}")


def _adapted(opening: str, name: str) -> str:
    opening = re.sub(r'\bid="([^"]*)"', rf'id="{name}-\1"', opening)
    opening = re.sub(r'\b(?:xlink:)?href="#([^"]*)"', rf'href="#{name}-\1"', opening)
    opening = opening.replace("url(#", f"url(#{name}-")
    opening = re.sub(r"#[0-9a-f]{6}\b", lambda found: _shade(found[0]), opening)
    return re.sub(r"'DejaVu Sans'[^;\"]*", "var(--letters)", opening)


def _shade(colour: str) -> str:
    return f"var(--{COLOUR_NAMES[colour]})" if colour in COLOUR_NAMES else colour


def both_widths(draw: Draw, name: str) -> tuple[Markup, Markup]:
    """A picture for wide screens and paper, and for a phone. The page shows one of them."""
    wide = inline_picture(draw("light", "wide"), f"{name}-wide", "roomy")
    return wide, inline_picture(draw("light", "phone"), f"{name}-phone", "narrow")


def figure(pictures: tuple[Markup, ...], caption: str, *more: Markup | None) -> Markup:
    """Pictures with their caption."""
    return tag("figure", *pictures, *more, tag("figcaption", caption))
