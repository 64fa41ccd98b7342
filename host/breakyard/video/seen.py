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
from breakyard.video.moments import Moment, strongest

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
    clip: Clip, windows: Iterable[tuple[float, float]] = ((0.0, float("inf")),)
) -> tuple[Moment, ...]:
    """The sudden changes within stretches of the clip, the strongest first. Raises: DataError."""
    found: list[tuple[float, float]] = []
    excess: dict[float, float] = {}
    steps: dict[float, float] = {}
    for start, end in windows:
        for time, step, strength in _excesses(frames(clip, max(0.0, start), end)):
            excess[time], steps[time] = strength, step
            found.append((time, strength))
    kept = strongest(found, APART_S, MOST)
    moments = []
    for time, strength in kept:
        if strength < LEAST * kept[0][1]:
            continue
        first = _beginning(time, strength, excess)
        moments.append(Moment(first, strength / kept[0][1], "picture", steps[first]))
    return tuple(moments)


def _beginning(time: float, strength: float, excess: dict[float, float]) -> float:
    """When a change began that is largest at a time."""
    first = time
    for other in sorted((one for one in excess if time - EARLIER_S <= one < time), reverse=True):
        if excess[other] < GOING_ON * strength:
            break
        if excess[other] >= EARLIER * strength:
            first = other
    return first


def _excesses(shown: "Iterable[tuple[float, VideoFrame]]") -> Iterator[tuple[float, float, float]]:
    """Of each frame: its time, the time since the one before, and how much it changed beyond what was usual."""
    before: Floats | None = None
    before_s = 0.0
    usual: deque[tuple[float, Floats]] = deque()
    for time, frame in shown:
        grey = small(frame)
        if before is not None:
            change = grey - before
            change = np.abs(change - np.median(change))
            if len(usual) >= USUAL_FRAMES and time - usual[0][0] >= LEAST_S:
                highest = np.max([one for _, one in usual], axis=0)
                yield time, time - before_s, float(np.maximum(change - highest - NOISE, 0.0).sum())
            usual.append((time, change))
            while len(usual) > USUAL_FRAMES and usual[0][0] < time - USUAL_S:
                usual.popleft()
        before, before_s = grey, time


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
