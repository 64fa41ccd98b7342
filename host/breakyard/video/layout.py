"""Where the read-out lies on a picture. Rectangles have even corners and sizes.

Wide pictures keep a margin of 5 % (EBU R 95, the area for graphics). Upright ones are shown under the buttons and
titles of whoever plays them: the top 15 % and the bottom 25 % stay free of text (from memory). The live figure is at
least an eighteenth of the picture's height; other words have capitals of a fortieth of the shorter side, which on a
phone of 65 mm held at 0.35 m is the 16 minutes of arc below which nobody reads (ISO 9241).
"""

from dataclasses import dataclass
from typing import Final, Literal

from breakyard.errors import UsageError

Corner = Literal["top-left", "top-right", "bottom-left", "bottom-right"]
Part = Literal["curve", "group", "date", "largest", "step"]

CORNERS: Final[tuple[Corner, ...]] = ("bottom-left", "bottom-right", "top-left", "top-right")
PARTS: Final[tuple[Part, ...]] = ("curve", "group", "date", "largest", "step")
"""What may be left out. Specimen, unit, the load, the peak and "measured, not a rating" may not."""

FIGURE: Final = 1.0 / 15.0
"""Height of the live figure in parts of the picture's height."""
SMALLEST_FIGURE: Final = 1.0 / 18.0
MARGIN: Final = 0.05
UPRIGHT_FREE: Final = (0.15, 0.25)
"""Parts of an upright picture's height, at top and bottom, that stay free."""
LOW_TILE: Final = 0.58
"""Width of the plate in a tile that is wider than high."""
TALL: Final = 1.3
"""Height over width from which a picture counts as upright."""


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle with even corners."""

    x: int
    y: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """First column behind it."""
        return self.x + self.width

    @property
    def bottom(self) -> int:
        """First row below it."""
        return self.y + self.height


@dataclass(frozen=True, slots=True)
class Place:
    """Where each part of a read-out lies, and how high its capitals are, in pixels."""

    plate: Rect
    name: Rect
    number: Rect
    curve: Rect | None
    peak: Rect
    foot: Rect
    number_px: float
    text_px: float


def even(length: float) -> int:
    """The nearest even whole number."""
    return 2 * round(length / 2.0)


def rect(x: float, y: float, width: float, height: float) -> Rect:
    """A rectangle on even pixels."""
    return Rect(even(x), even(y), max(2, even(width)), max(2, even(height)))


def place_on(width: int, height: int, corner: Corner, number_width: float, *, curve: bool) -> Place:
    """Place a read-out in a corner of a picture.

    number_width: of the widest number with its unit, in heights of its figures. Raises: UsageError (corner).
    """
    if corner not in CORNERS:
        raise UsageError(f'no corner is called "{corner}"; there is {", ".join(CORNERS)}')
    short = min(width, height)
    upright = height > TALL * width
    plate_w = width * (1 - 2 * MARGIN) if height >= width else 0.5 * width
    number_px, text_px, pad = height * FIGURE, short / 40.0, short * 0.024
    inside = plate_w - 2 * pad
    # A very long number is drawn smaller, down to the smallest figure that reads, and then it has the width to itself.
    number_px = max(height * SMALLEST_FIGURE * 1.02, min(number_px, 0.72 * inside / number_width))
    rows = (text_px * 1.75, number_px * 1.5, text_px * 1.9, text_px * 1.6)
    plate_h = sum(rows) + 2 * pad
    free_top, free_bottom = UPRIGHT_FREE if upright else (MARGIN, MARGIN)
    x = MARGIN * width if corner.endswith("left") else width * (1 - MARGIN) - plate_w
    y = free_top * height if corner.startswith("top") else height * (1 - free_bottom) - plate_h
    # Rounded inwards, so that the free edges stay free.
    plate = rect(x, y + 1 if corner.startswith("top") else y - 1, plate_w, plate_h)
    return _divided(plate, rows, pad, number_px, text_px, number_width, curve=curve)


def _divided(
    plate: Rect,
    rows: tuple[float, ...],
    pad: float,
    number_px: float,
    text_px: float,
    number_width: float,
    *,
    curve: bool,
) -> Place:
    """Name above; number and curve side by side; peak and foot below."""
    left, inside = plate.x + pad, plate.width - 2 * pad
    tops = [plate.y + pad + sum(rows[:at]) for at in range(len(rows))]
    wide = min(inside, number_px * number_width + 0.5 * pad)
    room = inside - wide - 1.5 * pad
    shown = curve and room > 4.0 * text_px
    return Place(
        plate=plate,
        name=rect(left, tops[0], inside, rows[0]),
        number=rect(left, tops[1], wide if shown else inside, rows[1]),
        curve=rect(left + wide + 1.5 * pad, tops[1] + 0.08 * rows[1], room, 0.84 * rows[1])
        if shown
        else None,
        peak=rect(left, tops[2], inside, rows[2]),
        foot=rect(left, tops[3], inside, rows[3]),
        number_px=number_px,
        text_px=text_px,
    )


def place_in_tile(
    tile: Rect, picture_height: int, short: int, number_width: float, *, foot: bool = True
) -> Place:
    """Place a read-out at the lower edge of one of several clips in a picture; without a curve."""
    pad = short * 0.016
    number_px = max(
        picture_height * SMALLEST_FIGURE * 1.02,
        min(picture_height * FIGURE, (tile.width - 4 * pad) / number_width),
    )
    text_px = short / 44.0
    rows = (text_px * 1.7, number_px * 1.4, text_px * 1.8, text_px * 1.6 if foot else 2.0)
    height = sum(rows) + 2 * pad
    wide = tile.width - 2 * pad
    if tile.width > tile.height * TALL:  # a low tile: what happens is seen beside the plate
        wide = max(LOW_TILE * tile.width, number_px * number_width + 2 * pad)
    plate = rect(tile.x + pad, tile.bottom - height - pad, min(wide, tile.width - 2 * pad), height)
    return _divided(plate, rows, pad, number_px, text_px, number_width, curve=False)


def place_alone(width: int, height: int, number_width: float) -> Place:
    """Place a read-out that is the whole picture: number above, the curve large below it."""
    short, upright = min(width, height), height > TALL * width
    side = 0.06 * width
    top = (UPRIGHT_FREE[0] if upright else MARGIN) * height
    bottom = height * (1 - (UPRIGHT_FREE[1] if upright else MARGIN))
    text_px = short / 36.0
    inside = width - 2 * side
    number_px = min(height / 9.0, inside / number_width)
    rows = (text_px * 1.8, number_px * 1.5, text_px * 2.0, text_px * 1.8)
    curve_h = bottom - top - sum(rows)
    return Place(
        plate=Rect(0, 0, width, height),
        name=rect(side, top, inside, rows[0]),
        number=rect(side, top + rows[0], inside, rows[1]),
        curve=rect(side, top + rows[0] + rows[1], inside, curve_h),
        peak=rect(side, bottom - rows[2] - rows[3], inside, rows[2]),
        foot=rect(side, bottom - rows[3], inside, rows[3]),
        number_px=number_px,
        text_px=text_px,
    )
