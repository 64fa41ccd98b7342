"""A contact sheet: the frames around each moment that may be the break, with their times, for a person to choose."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from breakyard.report.figures.style import THEMES
from breakyard.video.clip import Clip, frames
from breakyard.video.lettering import fitting, font
from breakyard.video.planes import picture_of
from breakyard.video.upright import Shape, Upright

if TYPE_CHECKING:
    from PIL.Image import Image

TILE_LONG: Final = 400
"""Longer side of a frame on the sheet, in pixels."""
BEFORE, AFTER = 2, 2
TEXT: Final = 18.0
GAP: Final = 12


@dataclass(frozen=True, slots=True)
class Candidate:
    """A moment of the clip: the first frame that may show it broken, and why."""

    frame_s: float
    words: str
    chosen: bool


def contact_sheet(clip: Clip, rows: Sequence[Candidate], title: str) -> bytes:
    """The sheet as a PNG. The frame in question has a frame around it. Raises: DataError."""
    from PIL import Image, ImageDraw

    theme = THEMES["light"]
    width, height = clip.seen_size
    scale = TILE_LONG / max(width, height)
    shape = Shape(2 * max(1, round(width * scale / 2)), 2 * max(1, round(height * scale / 2)))
    head, line = round(4 * TEXT), round(2.2 * TEXT)
    row_height = line + shape.height + line + 2 * GAP
    many = BEFORE + 1 + AFTER
    sheet = Image.new("RGB", (many * (shape.width + GAP) + GAP, head + len(rows) * row_height), theme.paper)
    draw = ImageDraw.Draw(sheet)
    inside = sheet.width - 2 * GAP
    draw.text((GAP, GAP), fitting(title, inside, TEXT, bold=True), fill=theme.ink, font=font(TEXT, bold=True))
    with Upright(clip, shape) as upright:
        for number, row in enumerate(rows):
            top = head + number * row_height
            mark = "CHOSEN: " if row.chosen else ""
            words = fitting(f"{mark}{row.words}", inside, TEXT)
            draw.text((GAP, top), words, fill=theme.ink, font=font(TEXT, bold=row.chosen))
            for place, (time, picture) in enumerate(_around(clip, row.frame_s, upright)):
                x, y = GAP + place * (shape.width + GAP), top + line
                sheet.paste(picture, (x, y))
                here = abs(time - row.frame_s) < 0.5 * clip.step_s
                if here:
                    box = (x - 5, y - 5, x + shape.width + 4, y + shape.height + 4)
                    draw.rectangle(box, outline="#D55E00", width=5)
                label = f"{time:.3f} s"
                draw.text((x, y + shape.height + 6), label, fill=theme.ink, font=font(TEXT, bold=here))
    out = io.BytesIO()
    sheet.save(out, "PNG", optimize=False)
    return out.getvalue()


def _around(clip: Clip, frame_s: float, upright: Upright) -> "list[tuple[float, Image]]":
    at = clip.frame_at(frame_s)
    first = max(0, min(at - BEFORE, len(clip.times_s) - BEFORE - AFTER - 1))
    last = min(len(clip.times_s) - 1, first + BEFORE + AFTER)
    end = float(clip.times_s[last]) + 1e-4
    shown = frames(clip, float(clip.times_s[first]), end)
    found = [(time, picture_of(upright(frame))) for time, frame in shown]
    return found[-(BEFORE + AFTER + 1) :]
