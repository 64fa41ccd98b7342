"""Samples that no force can make through the converter's filter.

A push of any shape is spread over three or four conversions: with a third-order filter at least a quarter of
it falls on the neighbours of the sample that takes most. So a sample that stands out from both neighbours, and
from both lines through them, by many times what the neighbours themselves show of a bend, is a wrong reading.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TIMES_BEND: Final = 8.0
"""An impulse through a third-order filter stands out by at most 5 times the bend of the flatter side (worked
out over all phases; less for higher orders); more than this is no force."""

TIMES_NOISE: Final = 8.0

TIMES_ROUGH: Final = 6.0
"""A lone sample stands this many times further from its neighbours than these from theirs and from each other, ..."""

TIMES_LONE: Final = 12.0
"""... this many times further than noise, ..."""

LEAST_LONE: Final = 0.02
"""... and at least this fraction of the whole recording's range; such samples are ..."""

MOST_LONE: Final = 0.02
"""... at most this fraction of all, or they are how the load is, ..."""

EVENT_ITSELF: Final = 10.0
"""... and at most this many times as large as that range: else there was a shock, and little else."""

LONE_SPAN: Final = 6.0
"""Steps that five samples may take."""


def find_glitches(time: Array, load: Array, noise_n: float, period_s: float) -> NDArray[np.intp]:
    """Indices of impossible samples, in order. Samples next to a gap cannot be judged and are kept.

    time, load: shape (n,), samples on a rail included with the load of the rail.
    """
    found = np.zeros(len(load), dtype=np.bool_)
    for _ in range(2):  # a second look finds those that hid beside another
        index = np.flatnonzero(~found)
        new = _stand_out(time[index], load[index], noise_n, period_s)
        if not new.any():
            break
        found[index[new]] = True
    return np.flatnonzero(found)


def _stand_out(time: Array, load: Array, noise_n: float, period_s: float) -> NDArray[np.bool_]:
    answer = np.zeros(len(load), dtype=np.bool_)
    if len(load) < 9:
        return answer
    a4, a3, a2, a, y, b, b2, b3, b4 = (load[i : len(load) - 8 + i] for i in range(9))
    sides = np.stack([a, b, 2.0 * a - a2, 2.0 * b - b2])
    excess = np.maximum(y - sides.max(0), sides.min(0) - y)
    left = np.maximum(np.abs(a - 2.0 * a2 + a3), np.abs(a2 - 2.0 * a3 + a4))
    right = np.maximum(np.abs(b - 2.0 * b2 + b3), np.abs(b2 - 2.0 * b3 + b4))
    together = time[8:] - time[:-8] < 9.6 * period_s
    answer[4:-4] = (excess > TIMES_BEND * np.minimum(left, right) + TIMES_NOISE * noise_n) & together
    return answer


def find_lone(time: Array, load: Array, noise_n: float, period_s: float) -> NDArray[np.intp]:
    """Indices of lone samples far from a load that goes on as if nothing had been, in order; of any instrument.

    Without a known filter a force that came and went between two samples would look the same. But on either side the
    load shows nothing of it, so that it is no load that a specimen bore while it was pulled. Where a spike is many
    times as large as all the rest, it is the event itself, and kept.

    time, load: shape (n,), samples on a rail aside.
    """
    answer = np.zeros(0, dtype=np.intp)
    if len(load) < 9:
        return answer
    smooth = without_spikes(load)
    height = float(np.ptp(smooth[1:-1]))
    a2, a, y, b, b2 = (load[i : len(load) - 4 + i] for i in range(5))
    middle = 0.5 * (a + b)
    away = np.abs(y - middle)
    # Neither the step across it nor the steps beside it are a sizeable part of it.
    rough = np.maximum(np.maximum(np.abs(b - a), np.abs(a - a2)), np.abs(b2 - b))
    together = time[4:] - time[:-4] < LONE_SPAN * period_s
    found = (
        together
        & (away > TIMES_ROUGH * rough)
        & (away > np.maximum(TIMES_LONE * noise_n, LEAST_LONE * height))
    )
    answer = np.flatnonzero(found) + 2
    if not len(answer) or len(answer) > MOST_LONE * len(load) or away[found].max() > EVENT_ITSELF * height:
        return np.zeros(0, dtype=np.intp)
    return answer


def without_spikes(load: Array) -> Array:
    """Medians of three: one wrong reading must not make all real pulls look small."""
    if len(load) < 3:
        return load
    before, here, after = load[:-2], load[1:-1], load[2:]
    middle = np.maximum(np.minimum(before, here), np.minimum(np.maximum(before, here), after))
    return np.concatenate([load[:1], middle, load[-1:]])
