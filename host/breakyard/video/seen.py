"""Sudden changes in a clip's picture: the first frame that shows something which the one before did not.

Each frame is reduced to a small grey picture of blocks; the general brightness is taken out, so that an exposure that
adapts is no change. A block's change counts by how much it exceeds what the same block did in the frames before: a
shaken camera or a walking person change much, but all the time.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from breakyard.video.clip import Clip, frames
from breakyard.video.moments import ClipMoment, strongest

if TYPE_CHECKING:
    from av.video.frame import VideoFrame

Floats = NDArray[np.float64]

BLOCKS: Final = (18, 32)
"""Rows and columns of the small picture."""
USUAL_S: Final = 1.2
"""Time before a frame that says what is usual: longer than the second after which coders begin anew, which is a small
change of everything; at the beginning of a clip at least LEAST_S and USUAL_FRAMES."""
LEAST_S: Final = 0.4
USUAL_FRAMES: Final = 10
COARSE_S: Final = 0.9 / 60
BEGUN: Final = 0.35
"""Of the change between two frames further apart: where so much of it is there, it has begun."""
NOISE: Final = 1.0
"""Change of a block, in steps of 8-bit grey, that is never counted."""
APART_S: Final = 0.3
MOST: Final = 6
LEAST: Final = 0.25
EARLIER_S: Final = 0.25
EARLIER: Final = 0.15
GOING_ON: Final = 0.05
"""What flies off may change more of the picture than the break itself: the beginning is the earliest change of EARLIER
of the largest, within EARLIER_S of it, if every frame in between changed by GOING_ON of it at least."""


def changes(
    clip: Clip, windows: Iterable[tuple[float, float]] = ((0.0, float("inf")),), stretch: float = 1.0
) -> tuple[ClipMoment, ...]:
    """The sudden changes within stretches of the clip, the strongest first. Raises: DataError.

    stretch: seconds of the clip in a second of the world; all that is usual is so of the world.
    """
    found: list[tuple[float, float, float]] = []
    for start, end in windows:
        found += _excesses(frames(clip, max(0.0, start), end), stretch)
    excess = {time: strength for time, _, strength in found}
    steps = {time: step for time, step, _ in found}
    kept = strongest([(time, strength) for time, _, strength in found], APART_S * stretch, MOST)
    moments = []
    for time, strength in kept:
        if strength < LEAST * kept[0][1]:
            continue
        first = _beginning(time, strength, excess, EARLIER_S * stretch)
        exact, step = _refined(clip, first, steps[first])
        moments.append(ClipMoment(exact, strength / kept[0][1], "picture", step))
    return tuple(moments)


def _beginning(time: float, strength: float, excess: dict[float, float], within_s: float) -> float:
    """When a change began that is largest at a time."""
    first = time
    for other in sorted((one for one in excess if time - within_s <= one < time), reverse=True):
        if excess[other] < GOING_ON * strength:
            break
        if excess[other] >= EARLIER * strength:
            first = other
    return first


def _excesses(
    shown: "Iterable[tuple[float, VideoFrame]]", stretch: float
) -> Iterator[tuple[float, float, float]]:
    """Of each frame: its time, the time since the one before, and how much it changed beyond what was usual.

    Frames that follow each other more quickly than COARSE_S are left out: in so short a time little changes, and a
    coder puts off small changes and makes them up in bursts.
    """
    before: Floats | None = None
    before_s = float("-inf")
    usual: deque[tuple[float, Floats]] = deque()
    for time, frame in shown:
        if time - before_s < COARSE_S * stretch:
            continue
        grey = small(frame)
        if before is not None:
            change = _changed(grey, before)
            if len(usual) >= USUAL_FRAMES and time - usual[0][0] >= LEAST_S * stretch:
                highest = np.max([one for _, one in usual], axis=0)
                yield time, time - before_s, float(np.maximum(change - highest - NOISE, 0.0).sum())
            usual.append((time, change))
            while len(usual) > USUAL_FRAMES and usual[0][0] < time - USUAL_S * stretch:
                usual.popleft()
        before, before_s = grey, time


def _changed(grey: Floats, before: Floats) -> Floats:
    """How much each block changed, without what all of them did."""
    change = grey - before
    changed: Floats = np.abs(change - np.median(change))
    return changed


def _refined(clip: Clip, time: float, step: float) -> tuple[float, float]:
    """The first frame that shows a change found between two frames further apart; and the time since the one before."""
    own = clip.step_before(time)
    if step < 1.5 * own:
        return time, own
    base: Floats | None = None
    grown: list[tuple[float, float]] = []
    for moment, frame in frames(clip, time - step, time + 0.5 * own):
        grey = small(frame)
        if base is None:
            base = grey
        grown.append((moment, float(np.maximum(_changed(grey, base) - NOISE, 0.0).sum())))
    first = next(moment for moment, much in grown if much >= BEGUN * grown[-1][1])
    return first, clip.step_before(first)


def small(frame: "VideoFrame") -> Floats:
    """The frame's brightness as the means of its blocks, in steps of 8 bits."""
    plane = frame.planes[0]
    deep = frame.format.components[0].bits > 8
    if "p0" in frame.format.name or not frame.format.name.startswith(("yuv", "gray", "nv")):
        frame = frame.reformat(format="gray")
        plane, deep = frame.planes[0], False
    kind = np.dtype("<u2") if deep else np.dtype(np.uint8)
    rows = np.frombuffer(plane, kind)[: plane.height * plane.line_size // kind.itemsize]  # type: ignore[call-overload]
    whole = rows.reshape(plane.height, -1)[:, : frame.width]
    high, wide = max(1, plane.height // BLOCKS[0]), max(1, frame.width // BLOCKS[1])
    rows_used, columns_used = plane.height // high * high, frame.width // wide * wide
    # Every second pixel of every second row of a large picture tells as much.
    step = 2 if high >= 8 and wide >= 8 else 1
    part = whole[:rows_used, :columns_used].reshape(rows_used // high, high, columns_used // wide, wide)
    means: Floats = part[:, ::step, :, ::step].mean(axis=(1, 3), dtype=np.float64)
    return means / 2 ** (frame.format.components[0].bits - 8) if deep else means
