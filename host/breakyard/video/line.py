"""A load curve as a line in a rectangle, drawn as far as it is known at a moment, with a dot at its end."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.report.figures.style import thinned
from breakyard.video.layout import Rect
from breakyard.video.planes import Colour, Planes, Stamp, Washes, press, stamp

Floats = NDArray[np.float64]
Mask = NDArray[np.uint8]

FINE: Final = 4
"""Lines are drawn this many times larger and then averaged, since the drawing of Pillow has hard edges."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Times and loads of the edges of a rectangle."""

    start_s: float
    end_s: float
    low: float
    high: float

    def x(self, time_s: "float | Floats", width: int) -> "float | Floats":
        """Column of a time."""
        return (time_s - self.start_s) / (self.end_s - self.start_s) * (width - 1)

    def y(self, load: "float | Floats", height: int) -> "float | Floats":
        """Row of a load."""
        return (self.high - load) / (self.high - self.low) * (height - 1)


def scale_for(time_s: Sequence[Floats], load: Sequence[Floats], start_s: float, end_s: float) -> Scale:
    """A scale on which lines fit with a little room."""
    known = [part[np.isfinite(part)] for part in load]
    high = max((float(part.max()) for part in known if len(part)), default=1.0)
    low = min(0.0, min((float(part.min()) for part in known if len(part)), default=0.0))
    low = max(low, -0.1 * high)  # what recoils below zero may leave the picture
    return Scale(start_s, max(end_s, start_s + 1e-3), low - 0.06 * (high - low), high + 0.08 * (high - low))


class PlottedCurve:
    """One curve in one rectangle."""

    def __init__(
        self, place: Rect, scale: Scale, time_s: Floats, load: Floats, shade: Colour, width_px: float
    ) -> None:
        self._place, self._scale, self._shade = place, scale, shade
        self._whole = stamp(self._mask(time_s, load, width_px))
        self._dot = stamp(disc(round(1.6 * width_px)))

    def draw(self, planes: Planes, time_s: float, load: float) -> None:
        """Draw it until a moment, and the dot at the load of that moment (none where it is nan)."""
        place = self._place
        column = int(np.clip(float(self._scale.x(time_s, place.width)), -2, place.width - 1))
        column -= column % 2
        if column > 0:
            part = Stamp(self._whole.full[:, :column], self._whole.half[:, : column // 2])
            press(planes, part, place.x, place.y, self._shade)
        if np.isfinite(load) and self._scale.start_s <= time_s <= self._scale.end_s:
            row = float(np.clip(float(self._scale.y(load, place.height)), 0, place.height - 1))
            x = place.x + float(self._scale.x(time_s, place.width)) - self._dot.width / 2
            press(planes, self._dot, round(x), round(place.y + row - self._dot.height / 2), self._shade)

    def draw_whole(self, board: Washes, at: Rect) -> None:
        """Draw all of it onto a board whose corner is that of a rectangle."""
        board.wash(self._whole, self._place.x - at.x, self._place.y - at.y, self._shade)

    def _mask(self, time_s: Floats, load: Floats, width_px: float) -> Mask:
        from PIL import Image, ImageDraw

        width, height = self._place.width, self._place.height
        image = Image.new("L", (width * FINE, height * FINE))
        draw = ImageDraw.Draw(image)
        inside = (time_s >= self._scale.start_s) & (time_s <= self._scale.end_s)
        time, values = thinned(time_s[inside], load[inside], bins=max(50, width))
        x = np.asarray(self._scale.x(time, width)) * FINE
        y = np.asarray(self._scale.y(values, height)) * FINE
        breaks = np.flatnonzero(~np.isfinite(y))
        for part in np.split(np.arange(len(x)), breaks):
            piece = part[np.isfinite(y[part])]
            if len(piece) > 1:
                points = list(zip(x[piece].tolist(), y[piece].tolist(), strict=True))
                draw.line(points, fill=255, width=max(1, round(width_px * FINE)), joint="curve")
        return np.array(image.resize((width, height), Image.Resampling.BOX))


def disc(radius_px: int) -> Mask:
    """A filled circle with soft edges."""
    side = 2 * max(2, radius_px) + 2
    at = np.arange(side) - (side - 1) / 2.0
    distance = np.hypot(at[:, None], at[None, :])
    mask: Mask = np.round(255 * np.clip(max(2, radius_px) + 0.5 - distance, 0.0, 1.0)).astype(np.uint8)
    return mask


def rounded(width: int, height: int, radius: float) -> Mask:
    """A rectangle with rounded corners."""
    from PIL import Image, ImageDraw

    image = Image.new("L", (width * 2, height * 2))
    box = (0, 0, width * 2 - 1, height * 2 - 1)
    ImageDraw.Draw(image).rounded_rectangle(box, radius=radius * 2, fill=255)
    return np.array(image.resize((width, height), Image.Resampling.BOX))


def full(width: int, height: int) -> Mask:
    """A rectangle."""
    return np.full((max(1, height), max(1, width)), 255, dtype=np.uint8)
