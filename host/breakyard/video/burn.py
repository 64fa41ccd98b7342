"""A clip and a run -> a film with the read-out burnt in."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Final

from breakyard.errors import UsageError
from breakyard.video.alignment import Alignment
from breakyard.video.clip import Clip, frames
from breakyard.video.film import film, rate_for
from breakyard.video.layout import Corner, Part, place_on
from breakyard.video.pace import Pace, paced
from breakyard.video.panel import Panel, Shade, number_width
from breakyard.video.planes import planes_of
from breakyard.video.readout import ReadOut
from breakyard.video.upright import Shape, Upright, shape_for

if TYPE_CHECKING:
    from av.video.frame import VideoFrame

    Step = Callable[[int], None]

SLOWER: Final = 8.0
"""How many times slower the last part before the break is shown, where that was asked for."""
AFTER_SLOW_S: Final = 0.1
"""What comes after the break is slow for as long."""


@dataclass(frozen=True, slots=True)
class Style:
    """How a film is to look. Times around the break are seconds of the world, before it negative."""

    corner: Corner = "bottom-left"
    shade: Shade = "dark"
    leave_out: frozenset[Part] = frozenset()
    crop: str | None = None
    from_s: float | None = None
    to_s: float | None = None
    slow_s: float = 0.0
    """How much before the break is shown slower."""
    slower: float = SLOWER


@dataclass(frozen=True, slots=True)
class Made:
    """What was written."""

    width: int
    height: int
    rate: Fraction
    frames: int
    length_s: float


def panel_for(readout: ReadOut, shape: Shape, style: Style, alignment: Alignment | None) -> Panel:
    """The read-out for a picture of a shape. Raises: UsageError."""
    place = place_on(
        shape.width, shape.height, style.corner, number_width(readout), curve="curve" not in style.leave_out
    )
    step_s = None if alignment is None else alignment.half_width_s
    return Panel(readout, place, shade=style.shade, leave_out=style.leave_out, step_s=step_s)


def pace_for(clip: Clip, alignment: Alignment, readout: ReadOut, style: Style) -> Pace:
    """Which part of the clip is shown, and which of it slower. Times of the pace are the clip's.

    Raises: UsageError if nothing is left.
    """
    broke = alignment.clip_time(readout.over_s)
    start = 0.0 if style.from_s is None else broke + style.from_s * alignment.stretch
    end = clip.duration_s if style.to_s is None else broke + style.to_s * alignment.stretch
    start, end = max(0.0, start), min(clip.duration_s, end)
    if end <= start:
        first, last = (moment / alignment.stretch for moment in (-broke, clip.duration_s - broke))
        told = f"it shows {first:.1f} to {last:.1f} s"
        raise UsageError(f"--from and --to leave nothing of the clip: around the break {told}")
    if style.slow_s <= 0.0:
        return paced(start, end, end, end, 1.0)
    stretch = alignment.stretch
    return paced(start, end, broke - style.slow_s * stretch, broke + AFTER_SLOW_S * stretch, style.slower)


def burn(
    clip: Clip,
    readout: ReadOut,
    alignment: Alignment,
    style: Style,
    path: Path,
    step: "Step | None" = None,
) -> Made:
    """Write the film to a path. `step` is called with the number of frames finished since it was last called.

    Raises: DataError, UsageError, OSError.
    """
    shape = shape_for(clip, style.crop)
    panel = panel_for(readout, shape, style, alignment)
    pace = pace_for(clip, alignment, readout, style)
    rate = rate_for(clip.rate)
    total = count_of(pace, rate)
    with (
        Upright(clip, shape) as upright,
        film(path, shape.width, shape.height, rate, sound_of=clip, pace=pace) as made,
    ):
        for time, frame in picked(clip, pace, rate, upright, lambda t, f: _drawn(panel, alignment, t, f)):
            del time
            made.add(frame)
            if step is not None:
                step(1)
    return Made(shape.width, shape.height, rate, total, float(total / rate))


def _drawn(panel: Panel, alignment: Alignment, time_s: float, frame: "VideoFrame") -> "VideoFrame":
    panel.draw(planes_of(frame), alignment.run_time(time_s))
    return frame


def count_of(pace: Pace, rate: Fraction) -> int:
    """How many frames a film of a pace has."""
    return max(1, int(pace.length_s * rate + 1e-6))


def picked(
    clip: Clip,
    pace: Pace,
    rate: Fraction,
    upright: Upright,
    dress: "Callable[[float, VideoFrame], VideoFrame]",
) -> "Iterator[tuple[float, VideoFrame]]":
    """For each tick of a constant rate the frame nearest to the moment it shows, made upright and dressed once.

    `dress` is given the frame's own time: what is written on a picture belongs to that picture, also where it is shown
    a little sooner or later, or several times.
    """
    source = frames(clip, pace.pieces[0].start_s, float("inf"))
    now = next(source, None)
    after = next(source, None)
    shown: VideoFrame | None = None
    for tick in range(count_of(pace, rate)):
        wanted = pace.shown_at(float(tick / rate))
        while now is not None and after is not None and after[0] - wanted <= wanted - now[0] + 1e-6:
            now, after, shown = after, next(source, None), None
        if now is None:
            return
        if shown is None:
            shown = dress(now[0], upright(now[1]))
        yield now[0], shown


def picture_at(
    clip: Clip, readout: ReadOut, alignment: Alignment, style: Style, clip_s: float
) -> "VideoFrame":
    """One frame of the film, as it stands at a moment of the clip. Raises: DataError, UsageError."""
    shape = shape_for(clip, style.crop)
    panel = panel_for(readout, shape, style, alignment)
    with Upright(clip, shape) as upright:
        time, frame = next(frames(clip, clip_s))
        return _drawn(panel, alignment, time, upright(frame))
