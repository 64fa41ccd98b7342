"""The pauses between the pulls of one recording: which of them are unloaded, and which may be a pre-tension.

Bedding-in cycles often return to a small pre-tension, which looks as quiet as nothing does. What is below it elsewhere
in the recording tells: a level that was left and found again later is the zero, since a zero that moves does not
move back; one that was seen on one side only leaves open whether the zero moved.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.noise import noise_of
from breakyard.curve import Unloaded
from breakyard.pull.zero import CREEPING, PLAUSIBLE_DRIFT_PER_S, SHIFT_FRACTION, STAY_BLOCKS, Blocks

Array = NDArray[np.float64]

LOW: Final = 0.2
"""A steady level above this fraction of the largest load is a hold."""

RETURNED: Final = (0.02, 0.98)
"""How far a pause is to be trusted that lies above a level which lay both before and after it, and that level.
Common practice, no source."""

ONE_SIDED: Final = (0.5, 0.8)
"""The same where the lower level was seen on one side only: what lies between may be a zero that moved. Both then
count in the interval."""

AS_EVER: Final = 1.0


def unloaded_of(
    time: Array, load: Array, spans: Sequence[tuple[float, float]], broke: Sequence[bool]
) -> list[Unloaded | None]:
    """What the recording says of the zero to each of its pulls; None where all that is quiet lies at one level.

    time, load: usable samples, shape (n,). spans: from when to when each pull loaded the cell; broke: whether it ended
    in a sudden fall. After that nothing is held: a higher level is a zero that moved, unless the lower one came back.
    """
    blocks = Blocks.of(time, load)
    height = float(load.max()) - blocks.lowest
    noise = noise_of(load)
    tight = max(6.0 * noise, 1e-4 * height)
    quiet = [
        (float(blocks.start_s[i]), float(blocks.end_s[j - 1]), level)
        for i, j, level in blocks.quiet(
            0, len(blocks.medians), tight, CREEPING * PLAUSIBLE_DRIFT_PER_S * height, STAY_BLOCKS
        )
        if level < blocks.lowest + LOW * height
    ]
    if not quiet:
        return [None] * len(spans)
    begin, end, level = min(quiet, key=lambda one: one[2])
    least = min(tight, SHIFT_FRACTION * height)
    lows = [one for one in quiet if one[2] <= level + least + _drift(height, one, (begin, end, level))]
    found: list[Unloaded | None] = []
    for i, (start, past) in enumerate(spans):
        sides = []
        for at, after_break in ((start, i > 0 and broke[i - 1]), (past, broke[i])):
            earlier = any(one[0] < at for one in lows)
            later = any(one[1] > at for one in lows)
            both = earlier and later
            sides.append((RETURNED if both else ONE_SIDED, both or not after_break))
        nearest = min(lows, key=lambda one: max(start - one[1], one[0] - past))
        away = max(0.0, start - nearest[1], nearest[0] - past)
        drift = min(PLAUSIBLE_DRIFT_PER_S * height * away, SHIFT_FRACTION * height)
        found.append(
            Unloaded(
                level_n=nearest[2],
                standard_n=float(np.hypot(drift, noise / np.sqrt(STAY_BLOCKS * blocks.width))),
                near_n=least + drift,
                trust=max(side[0][1] for side in sides),
                before=sides[0][0][0] if sides[0][1] else AS_EVER,
                after=sides[1][0][0] if sides[1][1] else AS_EVER,
            )
        )
    return found


def _drift(height: float, one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    """What a zero may plausibly have drifted between two stretches."""
    away = max(0.0, one[0] - other[1], other[0] - one[1])
    return min(PLAUSIBLE_DRIFT_PER_S * height * away, SHIFT_FRACTION * height)
