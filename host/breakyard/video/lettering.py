"""Letters as masks, drawn once for each text. The font comes with matplotlib, so that every machine has it."""

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from breakyard.report.figures.style import plain

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

Mask = NDArray[np.uint8]

CAPITAL: Final = 0.729
"""Height of capitals and figures in DejaVu Sans, in parts of the size (1493 of 2048 units: the top of its H)."""
ELLIPSIS: Final = "\N{HORIZONTAL ELLIPSIS}"


def font(capital_px: float, *, bold: bool = False) -> "FreeTypeFont":
    """The font whose figures are this many pixels high. Its figures are all of one width."""
    return _font(max(6, round(capital_px / CAPITAL)), bold)


@lru_cache(maxsize=64)
def _font(size: int, bold: bool) -> "FreeTypeFont":
    from matplotlib import get_data_path
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    path = Path(get_data_path()) / "fonts" / "ttf" / name
    return ImageFont.truetype(str(path), size, layout_engine=ImageFont.Layout.BASIC)


def width_of(text: str, capital_px: float, *, bold: bool = False) -> int:
    """How wide a text is, in pixels."""
    return round(font(capital_px, bold=bold).getlength(_shown(text)))


def fitting(text: str, width_px: float, capital_px: float, *, bold: bool = False) -> str:
    """The text, cut off with an ellipsis where it is wider than there is room."""
    if width_of(text, capital_px, bold=bold) <= width_px:
        return text
    while text and width_of(text + ELLIPSIS, capital_px, bold=bold) > width_px:
        text = text[:-1]
    return text.rstrip() + ELLIPSIS


@lru_cache(maxsize=512)
def letters(text: str, capital_px: float, *, bold: bool = False) -> Mask:
    """A mask (height, width), 0 to 255; its last row is the line on which the letters stand, plus their tails.

    The figures' feet are `tail` pixels above the lower edge: see `tail_of`.
    """
    from PIL import Image, ImageDraw

    shown, face = _shown(text), font(capital_px, bold=bold)
    above, below = round(capital_px * 1.25), tail_of(capital_px)
    image = Image.new("L", (max(1, round(face.getlength(shown)) + 2), above + below))
    ImageDraw.Draw(image).text((0, above), shown, fill=255, font=face, anchor="ls")
    mask = np.array(image)
    mask.flags.writeable = False
    return mask


def tail_of(capital_px: float) -> int:
    """How far tails of letters reach below the line, in pixels."""
    return round(capital_px * 0.36)


def _shown(text: str) -> str:
    # What `plain` makes safe for matplotlib's formulas needs no such care here.
    return plain(text).replace(r"\$", "$").replace("\n", " ")
