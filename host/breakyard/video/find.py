"""A clip and what the run knows -> their alignment: what was stated, seen, heard and lit, put together."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import DataError, UsageError
from breakyard.video.alignment import (
    Alignment,
    Clue,
    Filmed,
    TiePoint,
    align,
    choose,
    heard_clue,
    lamp_clue,
    onset_clue,
    stated_clue,
)
from breakyard.video.clip import Clip, frames, sound_blocks
from breakyard.video.heard import noises
from breakyard.video.moments import ClipMoment
from breakyard.video.seen import USUAL_S, changes

Floats = NDArray[np.float64]

LOOK_S: Final = 0.5
"""The picture is looked at for so long before and after each noise, and USUAL_S more before that."""
LAMP_LIT_S: Final = 0.3
"""How long the logger's lamp is lit when a run begins; it is dark for 0.12 s before, and until 1 s after that began."""
LAMP_STEPS: Final = 25.0
"""Brightening, in steps of 8-bit grey, below which no lamp is seen."""
LAMP_LOOK_S: Final = 0.8
FACTORS: Final = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 16.0, 20.0, 32.0)
"""Stretches that phones have."""


@dataclass(frozen=True, slots=True)
class KnownBreak:
    """What the run knows. `over` is the break, or when an unbroken specimen was let go."""

    over: TiePoint
    broke: bool
    onset_s: float
    lamp_s: float | None = None
    """When the logger's lamp was lit, by its mark."""


@dataclass(frozen=True, slots=True)
class Stated:
    """What a person says of the clip, in its seconds; None: not said."""

    break_s: float | None = None
    onset_s: float | None = None


def find_alignment(clip: Clip, known: KnownBreak, filmed: Filmed, stated: Stated) -> Alignment | None:
    """Put clip and run side by side; None where nothing ties them together.

    Raises: DataError (clip, or the interval between two marks fits no stretch), UsageError (moments outside the clip).
    """
    for name, time in (("--break-at", stated.break_s), ("--onset-at", stated.onset_s)):
        if time is not None and not 0.0 <= time <= clip.duration_s:
            raise UsageError(
                f"{name} {time:g}: the clip is {clip.duration_s:.2f} s long; say a moment that is in it"
            )
    filmed, words = _checked_stretch(clip, known, filmed, stated)
    found = _by_break(clip, known, filmed, stated)
    if found is None and stated.onset_s is not None:
        onset = TiePoint(known.onset_s, known.over.standard_s, "onset")
        found = align([onset_clue(stated.onset_s)], onset, filmed.stretch)
    if known.lamp_s is not None:
        found = _with_lamp(clip, known, filmed, found)
    return None if found is None else replace(found, words=(*words, *found.words))


def _by_break(clip: Clip, known: KnownBreak, filmed: Filmed, stated: Stated) -> Alignment | None:
    # Slow-motion clips have no sound, or one that is stretched with them.
    heard = noises(sound_blocks(clip)) if clip.sound and known.broke and filmed.stretch == 1.0 else ()
    if stated.break_s is not None:
        at = float(clip.times_s[clip.frame_at(stated.break_s)])
        clues = [stated_clue(at, clip.step_before(stated.break_s), filmed)]
        near = [one for one in heard if abs(one.time_s - at) < 1.0]
        clues += [heard_clue(one, filmed) for one in (near or heard)[:1]]
        return align(clues, known.over, filmed.stretch)
    if not known.broke or stated.onset_s is not None:
        return None
    windows: Sequence[tuple[float, float]] = ((0.0, float("inf")),)
    if heard:
        windows = _joined([(one.time_s - LOOK_S - USUAL_S, one.time_s + LOOK_S) for one in heard[:4]])
    return choose(heard, changes(clip, windows, filmed.stretch), known.over, filmed)


def _joined(windows: list[tuple[float, float]]) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    for start, end in sorted(windows):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((start, end))
    return found


def _checked_stretch(
    clip: Clip, known: KnownBreak, filmed: Filmed, stated: Stated
) -> tuple[Filmed, tuple[str, ...]]:
    """The stretch by the interval between two marks, where both were stated: the run knows it in true seconds."""
    if stated.break_s is None or stated.onset_s is None:
        return filmed, ()
    true_s, shown_s = known.over.time_s - known.onset_s, stated.break_s - stated.onset_s
    if true_s <= 0.0 or shown_s <= 0.0:
        raise UsageError("--onset-at must be before --break-at")
    factor = shown_s / true_s
    doubt = 0.03 + 0.5 / true_s
    if abs(factor / filmed.stretch - 1.0) <= doubt:
        return filmed, ()
    nearest = min(FACTORS, key=lambda one: abs(factor / one - 1.0))
    if abs(factor / nearest - 1.0) > doubt:
        raise DataError(
            f"{clip.path}: from onset to break it shows {shown_s:.2f} s, the recording says {true_s:.2f} s: that is no "
            "speed of a phone's slow motion; is it a clip of another pull, or cut in between?"
        )
    return replace(filmed, stretch=nearest), (
        f"by the time from onset to break, the clip is stretched {nearest:g} times",
    )


def _with_lamp(clip: Clip, known: KnownBreak, filmed: Filmed, found: Alignment | None) -> Alignment | None:
    """Add the lamp, if it is seen where the alignment so far says; or anywhere, if there is none."""
    assert known.lamp_s is not None
    if found is None:
        window = (0.0, float("inf"))
    else:
        around = (LAMP_LOOK_S + 3.0 * found.standard_s) * filmed.stretch
        middle = found.clip_time(known.lamp_s)
        window = (middle - around, middle + around + 2.0 * LAMP_LIT_S * filmed.stretch)
    if window[1] <= 0.0 or window[0] >= clip.duration_s:
        return found
    moment = lamp_seen(clip, *window, stretch=filmed.stretch)
    if moment is None:
        return found
    lit = lamp_clue(moment, filmed)
    # As if it told of the break: the run knows how long before it the lamp was lit.
    moved = replace(lit, time_s=lit.time_s + (known.over.time_s - known.lamp_s) * filmed.stretch)
    clues: list[Clue] = [moved] if found is None else [*found.clues, moved]
    both = align(clues, known.over if found is None else TiePoint(found.run_s, known.over.standard_s, "break"),
                 filmed.stretch)  # fmt: skip
    if found is None:
        return both
    return replace(
        both, others=(*both.others, *found.others), sure=found.sure, words=(*found.words, *both.words)
    )


def lamp_seen(clip: Clip, start_s: float, end_s: float, stretch: float = 1.0) -> ClipMoment | None:
    """The first frame of a small light that is on for LAMP_LIT_S and dark before and after; None where there is none.

    Of each block of the picture the brightest pixel counts. Raises: DataError.
    """
    times: list[float] = []
    recent: deque[Floats] = deque()
    best: tuple[float, int] | None = None
    lit = LAMP_LIT_S * stretch
    step = clip.step_s
    many = max(2, round(lit / step))
    dark = max(2, min(round(0.1 * stretch / step), many))
    length = dark + many + dark
    for number, (time, frame) in enumerate(frames(clip, max(0.0, start_s), end_s)):
        times.append(time)
        recent.append(_brightest(frame))
        if len(recent) > length:
            recent.popleft()
        if len(recent) < length:
            continue
        stack = np.stack(recent)
        # The frame at either edge may be half lit.
        on = stack[dark + 1 : dark + many - 1] if many > 3 else stack[dark : dark + many]
        off = np.concatenate([stack[: dark - 1 or 1], stack[dark + many + 1 :]])
        # What was bright beside a block before may have moved into it: a hand holds the camera.
        risen = on.min(axis=0) - _around(off.max(axis=0))
        block = int(np.argmax(risen))
        score = float(risen.ravel()[block])
        if score > LAMP_STEPS and (best is None or score > best[0]):
            column = stack.reshape(len(stack), -1)[:, block]
            level = 0.5 * (float(on.reshape(len(on), -1)[:, block].min()) + float(column[0]))
            first = int(np.flatnonzero(column[1:] > level)[0]) + 1
            best = (score, number - length + 1 + first)
    if best is None:
        return None
    at = best[1]
    return ClipMoment(times[at], 1.0, "picture", times[at] - times[at - 1] if at else step)


def _around(blocks: Floats) -> Floats:
    """The largest of each block and its eight neighbours."""
    padded = np.pad(blocks, 1, mode="edge")
    rows, columns = blocks.shape
    shifted = [padded[y : y + rows, x : x + columns] for y in range(3) for x in range(3)]
    largest: Floats = np.max(shifted, axis=0)
    return largest


def _brightest(frame: object) -> Floats:
    """Brightest pixels of blocks of 8 x 8, in steps of 8 bits."""
    from av.video.frame import VideoFrame

    assert isinstance(frame, VideoFrame)
    grey = frame if frame.format.name in ("yuv420p", "yuvj420p") else frame.reformat(format="yuv420p")
    plane = grey.planes[0]
    whole = np.frombuffer(plane, np.uint8)[: plane.height * plane.line_size]  # type: ignore[call-overload]
    rows = whole.reshape(plane.height, plane.line_size)[: plane.height // 8 * 8, : plane.width // 8 * 8]
    blocks = rows.reshape(plane.height // 8, 8, plane.width // 8, 8).max(axis=(1, 3))
    brightest: Floats = blocks.astype(np.float64)
    return brightest
