"""Reads the figures of a read-out back from a decoded picture, by comparing shapes with those of the font.

Knows the font and nothing of how the product draws.
"""

from functools import lru_cache
from pathlib import Path

import numpy as np
from matplotlib import get_data_path
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

SIDE = (24, 16)
"""Rows and columns to which each sign is brought."""
SIGNS = "0123456789-."


@lru_cache(maxsize=4)
def _shapes() -> dict[str, tuple[NDArray[np.float64], float]]:
    """Each sign's shape and its width over the height of a zero."""
    face = ImageFont.truetype(str(Path(get_data_path()) / "fonts/ttf/DejaVuSans-Bold.ttf"), 96)
    found = {}
    for sign in SIGNS:
        image = Image.new("L", (120, 140))
        ImageDraw.Draw(image).text((20, 110), sign, fill=255, font=face, anchor="ls")
        found[sign] = np.array(image) > 128
    zero = np.flatnonzero(found["0"].any(axis=1))
    tall = zero[-1] - zero[0] + 1
    return {sign: (_normal(mask), _box(mask)[0].shape[0] / tall) for sign, mask in found.items()}


def _box(mask: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], int]:
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return mask[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1], int(rows[0])


def _normal(mask: NDArray[np.bool_]) -> NDArray[np.float64]:
    cut = Image.fromarray((_box(mask)[0] * 255).astype(np.uint8))
    return np.array(cut.resize((SIDE[1], SIDE[0]), Image.Resampling.BOX)) / 255.0


def read_figures(
    luma: NDArray[np.uint8], left: int, right: int, foot: int, height: float, *, light: bool = True
) -> str:
    """The number between two columns whose figures stand on row `foot` and are so high.

    luma: (h, w) brightness; light: letters lighter than what is behind them.
    """
    top, bottom = round(foot - 1.15 * height), round(foot + 0.12 * height)
    part = luma[max(0, top) : bottom, max(0, left) : right].astype(float)
    part = part if light else 255.0 - part
    ink = part > 0.5 * (part.max() + np.median(part))
    columns = np.flatnonzero(ink.any(axis=0))
    if not len(columns):
        return ""
    groups = np.split(columns, np.flatnonzero(np.diff(columns) > 1) + 1)
    return "".join(_nearest(ink[:, group[0] : group[-1] + 1], height) for group in groups)


def _nearest(ink: NDArray[np.bool_], height: float) -> str:
    rows = np.flatnonzero(ink.any(axis=1))
    if not len(rows):
        return ""
    tall = (rows[-1] - rows[0] + 1) / height
    shape = _normal(ink)
    fitting = {
        sign: float(np.abs(shape - known).mean())
        for sign, (known, own) in _shapes().items()
        if abs(tall - own) < 0.25
    }
    if not fitting:
        return "?"
    best = min(fitting, key=lambda sign: fitting[sign])
    return best if fitting[best] < 0.22 else "?"
