"""Clips of several pulls in one picture, together at the break or the onset, with one picture of their curves."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Final

from breakyard.report.figures.style import THEMES
from breakyard.video.alignment import Alignment
from breakyard.video.burn import Made, Style
from breakyard.video.clip import Clip, frames
from breakyard.video.film import film, rate_for
from breakyard.video.layout import Rect, place_in_tile, rect
from breakyard.video.lettering import fitting, letters
from breakyard.video.line import PlottedCurve, full, scale_for
from breakyard.video.panel import Panel, look_of, number_width
from breakyard.video.planes import Planes, Washes, colour, planes_of, stamp
from breakyard.video.readout import ReadOut
from breakyard.video.upright import PLAIN, Shape, Upright

if TYPE_CHECKING:
    from av.video.frame import VideoFrame

MOST: Final = 4
SIZES: Final = {None: (1920, 1080), "upright": (1080, 1920), "square": (1080, 1080)}
CURVES: Final = 0.3
"""Height of the common curves in parts of the picture's."""
GAP: Final = 8


@dataclass(frozen=True, slots=True)
class Tile:
    """A clip with its pull."""

    clip: Clip
    readout: ReadOut
    alignment: Alignment


class SideBySide:
    """The film; `write` makes the file. Time 0 is the moment at which all are together."""

    def __init__(self, tiles: list[Tile], style: Style, *, at_onset: bool) -> None:
        self._tiles, self._style = tiles, style
        self.width, self.height = SIZES[style.crop]
        # The clips' common moments, in the runs' times.
        self._zero = [tile.readout.onset_s if at_onset else tile.readout.over_s for tile in tiles]
        starts, ends = zip(*(self._span(at) for at in range(len(tiles))), strict=True)
        start, end = min(starts), max(ends)
        if style.from_s is not None:
            start = max(start, style.from_s)
        if style.to_s is not None:
            end = min(end, style.to_s)
        self._start, self._end = start, max(end, start + 0.1)
        self.rate = max((rate_for(tile.clip.rate) for tile in tiles), key=float)
        self.count = max(1, int((self._end - self._start) * self.rate))

    def _span(self, at: int) -> tuple[float, float]:
        tile = self._tiles[at]
        return (
            tile.alignment.run_time(0.0) - self._zero[at],
            tile.alignment.run_time(tile.clip.duration_s) - self._zero[at],
        )

    def write(self, path: Path, step: Callable[[int], None] | None = None) -> Made:
        """Write the film; it has no sound. Raises: DataError, OSError."""
        import av

        look = look_of(self._style.shade)
        rects, below = self._places()
        short = min(self.width, self.height)
        panels = [
            Panel(
                tile.readout,
                place_in_tile(place, self.height, short, number_width(tile.readout)),
                shade=self._style.shade,
                leave_out=self._style.leave_out | {"curve", "step", "date"},
            )
            for tile, place in zip(self._tiles, rects, strict=True)
        ]
        board, lines = self._curves(below)
        sources = [self._pictures(at, place) for at, place in enumerate(rects)]
        with film(path, self.width, self.height, self.rate) as made:
            for tick in range(self.count):
                now = self._start + float(tick / self.rate)
                frame = av.VideoFrame(self.width, self.height, PLAIN)
                planes = planes_of(frame)
                planes.fill(look.plate)
                for at, (place, source) in enumerate(zip(rects, sources, strict=True)):
                    shown = source(now)
                    if shown is None:
                        panels[at].draw(planes, now + self._zero[at])
                        continue
                    time, picture = shown
                    _paste(planes, planes_of(picture), place)
                    panels[at].draw(planes, self._tiles[at].alignment.run_time(time))
                board.lay(planes, below.x, below.y)
                for at, line in enumerate(lines):
                    line.draw(planes, now, self._tiles[at].readout.load_at(now + self._zero[at]))
                made.add(frame)
                if step is not None:
                    step(1)
        return Made(self.width, self.height, Fraction(self.rate), self.count, float(self.count / self.rate))

    def _places(self) -> tuple[list[Rect], Rect]:
        """Columns on a wide picture; on an upright one rows, or two by two."""
        many = len(self._tiles)
        high = self.height * (1 - CURVES)
        upright = self.height > self.width
        columns = many if not upright else (1 if many < 4 else 2)
        rows = -(-many // columns)
        wide, tall = (self.width - GAP * (columns - 1)) / columns, (high - GAP * (rows - 1)) / rows
        rects = [
            rect((at % columns) * (wide + GAP), (at // columns) * (tall + GAP), wide, tall)
            for at in range(many)
        ]
        kept = [
            Rect(one.x, one.y, min(one.width, self.width - one.x), min(one.height, self.height - one.y))
            for one in rects
        ]
        below = rect(0, high + GAP, self.width, self.height - high - GAP)
        return kept, Rect(below.x, below.y, self.width, min(below.height, self.height - below.y))

    def _curves(self, below: Rect) -> tuple[Washes, list[PlottedCurve]]:
        short = min(self.width, self.height)
        look, theme = look_of(self._style.shade), THEMES[self._style.shade]
        text_px = short / 40.0
        pad = 1.2 * text_px
        key_h = 1.8 * text_px
        inner = rect(
            below.x + pad, below.y + pad + key_h, below.width - 2 * pad, below.height - 2 * pad - 2 * key_h
        )
        times = [tile.readout.time_s - zero for tile, zero in zip(self._tiles, self._zero, strict=True)]
        loads = [tile.readout.load for tile in self._tiles]
        scale = scale_for(times, loads, self._start, self._end)
        board = Washes(below.width, below.height)
        level = round(float(scale.y(0.0, inner.height)))
        board.wash(stamp(full(inner.width, 2)), inner.x - below.x, inner.y - below.y + level, look.faint)
        lines, x = [], float(pad)
        room = (below.width - 2 * pad) / len(self._tiles)
        for at, tile in enumerate(self._tiles):
            shade = colour(theme.groups[at % len(theme.groups)])
            lines.append(PlottedCurve(inner, scale, times[at], loads[at], shade, max(3.0, 0.18 * text_px)))
            board.wash(stamp(full(round(text_px), round(text_px))), round(x), round(pad), shade)
            name = fitting(tile.readout.specimen, room - 3 * text_px, text_px)
            board.wash(
                stamp(letters(name, text_px)), round(x + 1.5 * text_px), round(pad - 0.25 * text_px), look.ink
            )
            x += room
        foot = stamp(letters(f"{tile.readout.unit}, measured, not a rating", text_px))
        board.wash(foot, round(pad), below.height - foot.height - round(0.3 * text_px), look.ink)
        return board, lines

    def _pictures(self, at: int, place: Rect) -> "Callable[[float], tuple[float, VideoFrame] | None]":
        """A function from a common moment to the clip's picture of it; None before and after the clip."""
        tile, zero = self._tiles[at], self._zero[at]
        start, end = self._span(at)

        def turned() -> "Iterator[tuple[float, VideoFrame]]":
            with Upright(tile.clip, Shape(place.width, place.height, filled=True)) as upright:
                begin = max(0.0, tile.alignment.clip_time(self._start + zero))
                for time, frame in frames(tile.clip, begin):
                    yield time, upright(frame)

        source = turned()
        now, after = next(source, None), next(source, None)

        def picture(moment: float) -> "tuple[float, VideoFrame] | None":
            nonlocal now, after
            if not start <= moment <= end:
                return None
            wanted = tile.alignment.clip_time(moment + zero)
            while now is not None and after is not None and after[0] - wanted <= wanted - now[0] + 1e-6:
                now, after = after, next(source, None)
            return now

        return picture


def _paste(planes: Planes, picture: Planes, place: Rect) -> None:
    """Copy a picture of the rectangle's size into it."""
    planes.y[place.y : place.bottom, place.x : place.right] = picture.y
    at = (slice(place.y // 2, place.bottom // 2), slice(place.x // 2, place.right // 2))
    planes.u[at], planes.v[at] = picture.u, picture.v
