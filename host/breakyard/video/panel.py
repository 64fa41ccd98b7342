"""The read-out drawn: a plate with specimen, load now, curve, and the largest load or the peak."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np

from breakyard.report.figures.style import ORANGE, THEMES, VERMILLION
from breakyard.video.layout import Part, Place, Rect
from breakyard.video.lettering import fitting, letters, width_of
from breakyard.video.line import PlottedCurve, full, rounded, scale_for
from breakyard.video.planes import Colour, Planes, Stamp, Washes, colour, press, stamp
from breakyard.video.readout import NOT_A_RATING, ReadOut

Shade = Literal["dark", "light"]

OPACITY: Final = 0.88
"""Of the plate: ink on it keeps a contrast above 7:1 on any picture (WCAG 2.2, 1.4.6)."""
UNIT_SIZE: Final = 0.55
"""Of the unit's letters against the figures."""


SMALLEST_PEAK: Final = 0.7
"""Of the peak's letters against the other words', where several clips share a picture."""


@dataclass(frozen=True, slots=True)
class Shades:
    """Colours of one shade."""

    plate: Colour
    ink: Colour
    faint: Colour
    curve: Colour
    peak: Colour


def look_of(shade: Shade) -> Shades:
    """The colours of the report's pictures."""
    theme = THEMES[shade]
    peak = ORANGE if shade == "dark" else VERMILLION
    return Shades(*(colour(text) for text in (theme.paper, theme.ink, theme.faint, theme.curve, peak)))


def number_width(readout: ReadOut) -> float:
    """Width of the widest number with its unit, in heights of its figures."""
    from breakyard.report.words.values import fixed

    known = readout.load[np.isfinite(readout.load)]
    top = float(np.abs(known).max()) if len(known) else 0.0
    digits = "".join("8" if sign.isdigit() else sign for sign in fixed(top, readout.decimals))
    size = 100.0
    return (width_of(digits, size, bold=True) + width_of(f" {readout.unit}", UNIT_SIZE * size)) / size + 0.3


@lru_cache(maxsize=256)
def _stamp(text: str, capital_px: float, bold: bool) -> Stamp:
    return stamp(letters(text, capital_px, bold=bold))


class Panel:
    """The read-out of one pull in one place, drawn onto frame after frame."""

    def __init__(
        self,
        readout: ReadOut,
        place: Place,
        *,
        shade: Shade = "dark",
        leave_out: frozenset[Part] = frozenset(),
        step_s: float | None = None,
        plate: bool = True,
        grid: bool = False,
        words: str = "",
    ) -> None:
        """step_s: half-width of what picture and number may be apart; None: nothing is said of it."""
        self.readout, self.place = readout, place
        self._look, self._leave_out = look_of(shade), leave_out
        self._line: PlottedCurve | None = None
        if place.curve is not None and "curve" not in leave_out:
            trace = readout.trace
            late = trace.start_s - (trace.time_s[0] - readout.time_s[0] if len(readout.time_s) else 0.0)
            self._scale = scale_for([readout.time_s], [readout.load], late, trace.end_s)
            time, load = _with_gaps(readout)
            width = max(3.0, place.text_px * 0.16)
            self._line = PlottedCurve(place.curve, self._scale, time, load, self._look.curve, width)
        step = "" if step_s is None or "step" in leave_out else f"in step within {milliseconds(step_s)}"
        foot = [*([words] if words else []), NOT_A_RATING]
        self._boards = {
            over: self._board(over, foot, step, with_plate=plate, grid=grid) for over in (False, True)
        }

    def draw(self, planes: Planes, run_s: float) -> None:
        """Draw what is said at a moment of the run."""
        said, place, look = self.readout.at(run_s), self.place, self._look
        self._boards[said.over].lay(planes, place.plate.x, place.plate.y)
        size = place.number_px
        text = said.now
        # Words instead of a figure are wider: they are set smaller.
        wide = self._figures_right() - place.number.x
        while width_of(text, size, bold=True) > wide and size > place.text_px:
            size *= 0.9
        mark = _stamp(text, size, True)
        press(
            planes,
            mark,
            self._figures_right() - mark.width,
            self._base(place.number, place.number_px) - _above(size),
            look.ink,
        )
        if self._line is not None:
            self._line.draw(planes, run_s, self.readout.load_at(run_s))
        if not said.over and said.largest and "largest" not in self._leave_out:
            words = f"largest so far {said.largest} {self.readout.unit}"
            self._say(planes, place.peak, words, look.ink)

    def figures_place(self) -> tuple[int, int, float]:
        """Right edge and foot of the live figure, and its height, in pixels: for whoever reads it back."""
        return (
            self._figures_right(),
            self._base(self.place.number, self.place.number_px),
            self.place.number_px,
        )

    def _say(self, planes: Planes, place: Rect, text: str, shade: Colour) -> None:
        size = self.place.text_px * 1.1
        mark = _stamp(fitting(text, place.width, size), size, False)
        press(planes, mark, place.x, self._base(place, size) - _above(size), shade)

    def _figures_right(self) -> int:
        unit = width_of(f" {self.readout.unit}", UNIT_SIZE * self.place.number_px)
        room = round(number_width(self.readout) * self.place.number_px)
        return self.place.number.x + min(room, self.place.number.width) - unit

    @staticmethod
    def _base(place: Rect, capital_px: float) -> int:
        """The line on which letters stand that are in the middle of a row."""
        return round(place.y + 0.5 * (place.height + capital_px))

    def _board(self, over: bool, foot: list[str], step: str, *, with_plate: bool, grid: bool) -> Washes:
        place, look, readout = self.place, self._look, self.readout
        at = place.plate
        board = Washes(at.width, at.height)
        if with_plate:
            mask = rounded(at.width, at.height, 0.5 * place.text_px)
            board.wash(stamp(mask), 0, 0, look.plate, OPACITY)
        names = readout.specimen
        if readout.group and "group" not in self._leave_out:
            names += f"  \N{MIDDLE DOT}  {readout.group}"
        date = readout.date if "date" not in self._leave_out else ""
        taken = width_of(date, place.text_px) + 2 * place.text_px if date else 0
        self._write(board, place.name, fitting(names, place.name.width - taken, 1.1 * place.text_px, bold=True),
                    1.1 * place.text_px, look.ink, bold=True)  # fmt: skip
        if date:
            self._write(board, place.name, date, place.text_px, look.ink, right=True)
        unit_px = UNIT_SIZE * place.number_px
        mark = stamp(letters(f" {readout.unit}", unit_px))
        base = self._base(place.number, place.number_px)
        board.wash(mark, self._figures_right() - at.x, base - _above(unit_px) - at.y, look.ink)
        if place.curve is not None and self._line is not None:
            self._ground(board, grid=grid)
        if over:
            self._peak(board)
        words = fitting("  \N{MIDDLE DOT}  ".join(foot), place.foot.width, place.text_px)
        self._write(board, place.foot, words, place.text_px, look.ink)
        free = place.foot.width - width_of(words, place.text_px)
        if step and width_of(step, place.text_px) + place.text_px < free:
            self._write(board, place.foot, step, place.text_px, look.ink, right=True)
        return board

    def _peak(self, board: Washes) -> None:
        """The peak, as large as it fits."""
        place, readout = self.place, self.readout
        broke = "" if readout.broke else ", did not break"
        for words in (
            f"peak {readout.peak} {readout.unit}{broke}",
            f"peak {readout.peak} {readout.unit}",
            f"{readout.peak} {readout.unit}",
        ):
            size = place.text_px * 1.25
            while (
                width_of(words, size, bold=True) > place.peak.width and size > SMALLEST_PEAK * place.text_px
            ):
                size *= 0.96
            if width_of(words, size, bold=True) <= place.peak.width:
                break
        self._write(board, place.peak, words, size, self._look.peak, bold=True)

    def _ground(self, board: Washes, *, grid: bool) -> None:
        """The line of zero; in a large curve also lines of round loads with their numbers."""
        place, at = self.place.curve, self.place.plate
        assert place is not None
        thin = max(2, round(self.place.text_px * 0.08))
        levels = _round_levels(self._scale.high) if grid else [0.0]
        for level in levels:
            y = round(place.y + float(self._scale.y(level, place.height)))
            mark = stamp(full(place.width, thin))
            board.wash(mark, place.x - at.x, y - at.y, self._look.faint, 0.8 if level == 0.0 else 0.35)
            if grid and level > 0.0:
                text = stamp(letters(f"{level:g}", self.place.text_px * 0.9))
                board.wash(
                    text, place.x - at.x, y - at.y - _above(self.place.text_px * 0.9) - thin, self._look.faint
                )

    def _write(
        self,
        board: Washes,
        place: Rect,
        text: str,
        capital_px: float,
        shade: Colour,
        *,
        bold: bool = False,
        right: bool = False,
    ) -> None:
        if not text:
            return
        mark = stamp(letters(text, capital_px, bold=bold))
        x = place.right - mark.width if right else place.x
        y = self._base(place, capital_px) - _above(capital_px)
        board.wash(mark, x - self.place.plate.x, y - self.place.plate.y, shade)


def _above(capital_px: float) -> int:
    """Rows of a mask of letters above the line on which they stand."""
    return round(capital_px * 1.25)


def _with_gaps(readout: ReadOut) -> "tuple[np.ndarray, np.ndarray]":
    """Times and loads with nan inside of gaps, which break the line."""
    time, load = readout.time_s, readout.load
    middles = [0.5 * (start + end) for start, end in readout.gaps_s]
    at = np.searchsorted(time, middles)
    return np.insert(time, at, middles), np.insert(load, at, np.nan)


def _round_levels(high: float) -> list[float]:
    step = 10.0 ** np.floor(np.log10(max(high, 1e-9)))
    for part in (0.2, 0.5, 1.0, 2.0):
        if high / (part * step) <= 6.0:
            step *= part
            break
    return [level * float(step) for level in range(int(high / step) + 1)]


def milliseconds(half_width_s: float) -> str:
    """A half-width in words, never rounded down."""
    value = 1000.0 * half_width_s
    fine = 1.0 if value < 20.0 else 5.0 if value < 100.0 else 10.0
    return f"\N{PLUS-MINUS SIGN}{np.ceil(value / fine - 1e-9) * fine:.0f} ms"
