"""A pull without a film: its curve as it grows, in real time and slower at the break; MP4, or GIF."""

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from breakyard.errors import UsageError
from breakyard.video.burn import Style, count_of
from breakyard.video.film import film
from breakyard.video.layout import Part, place_alone
from breakyard.video.pace import Pace, paced
from breakyard.video.panel import Panel, look_of, number_width
from breakyard.video.planes import picture_of, planes_of
from breakyard.video.readout import ReadOut
from breakyard.video.upright import PLAIN

if TYPE_CHECKING:
    from av.video.frame import VideoFrame

SLOWER: Final = 20.0
SLOW_S: Final = 0.15
"""So much before and after the break is shown slower, if nothing else is said."""
BEFORE_S, AFTER_S = 1.0, 2.0
"""Shown before the onset and after it was over."""
RATE, GIF_RATE = Fraction(30), Fraction(10)
"""GIF's steps are hundredths of a second, and players take none below 2 of them in earnest."""
SIZES: Final = {None: (1920, 1080), "upright": (1080, 1920), "square": (1080, 1080)}
GIF_WIDTH: Final = 640


def pace_for(readout: ReadOut, style: Style, slower: float | None) -> Pace:
    """Times of the run: from a little before the onset to a little after it was over. Raises: UsageError."""
    onset = readout.onset_s
    start = onset - BEFORE_S if style.from_s is None else readout.over_s + style.from_s
    end = readout.over_s + (AFTER_S if style.to_s is None else style.to_s)
    first, last = (float(readout.time_s[0]), float(readout.time_s[-1])) if len(readout.time_s) else (0.0, 0.0)
    start, end = max(start, first), min(end, last)
    if end <= start:
        raise UsageError("--from and --to leave nothing of the recording")
    slow = style.slow_s or SLOW_S
    return paced(start, end, readout.over_s - slow, readout.over_s + SLOW_S, slower or SLOWER)


class Animation:
    """The growing curve; `write` makes the file."""

    def __init__(self, readout: ReadOut, style: Style, pace: Pace, *, gif: bool = False) -> None:
        self.width, self.height = SIZES[style.crop]
        if gif:
            scale = GIF_WIDTH / self.width
            self.width, self.height = GIF_WIDTH, 2 * round(self.height * scale / 2)
        self.rate = GIF_RATE if gif else RATE
        self.count = count_of(pace, self.rate)
        self._pace, self._gif, self._shade = pace, gif, style.shade
        place = place_alone(self.width, self.height, number_width(readout))
        kept_out: frozenset[Part] = frozenset({*style.leave_out, "step"})
        self._panels = {
            words: Panel(
                readout,
                place,
                shade=style.shade,
                leave_out=kept_out,
                plate=False,
                grid=True,
                words=words,
            )
            for words in {self._words(piece.slower) for piece in pace.pieces}
        }

    def write(self, path: Path, step: Callable[[int], None] | None = None) -> None:
        """Write the film, or the GIF. Raises: OSError."""
        if self._gif:
            self._write_gif(path, step)
            return
        with film(path, self.width, self.height, self.rate) as made:
            for frame in self.frames():
                made.add(frame)
                if step is not None:
                    step(1)

    def frames(self) -> "Iterator[VideoFrame]":
        """Every frame in turn."""
        import av

        paper = look_of(self._shade).plate
        for tick in range(self.count):
            frame = av.VideoFrame(self.width, self.height, PLAIN)
            planes = planes_of(frame)
            planes.fill(paper)
            time = self._pace.shown_at(float(tick / self.rate))
            self._panels[self._words(self._pace.slower_at(time))].draw(planes, time)
            yield frame

    @staticmethod
    def _words(slower: float) -> str:
        return "" if slower == 1.0 else f"{slower:g} x slower"

    def _write_gif(self, path: Path, step: Callable[[int], None] | None) -> None:
        """One palette for all pictures: that of a picture in which everything is drawn."""
        from PIL import Image

        def pictures() -> Iterator[Any]:
            for frame in self.frames():
                if step is not None:
                    step(1)
                yield picture_of(frame)

        *_, last = self.frames()
        palette = picture_of(last).quantize(64, method=Image.Quantize.MEDIANCUT)
        drawn = (one.quantize(palette=palette, dither=Image.Dither.NONE) for one in pictures())
        first = next(drawn)
        with path.open("wb") as file:
            first.save(
                file,
                "GIF",
                save_all=True,
                append_images=drawn,
                duration=int(1000 / self.rate),
                loop=0,
                optimize=False,
            )
