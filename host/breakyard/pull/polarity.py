"""Which way the load points: a pull that was recorded as a push is turned round, and said to be.

Swapped signal wires, a cell built in upside down or an instrument that counts tension as negative give a curve that
goes down. Its rebound after the break goes up and is no pull.
"""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.curve import LoadCurve
from breakyard.pull.witnesses import prior_of

REVERSED: Final = "reversed"
"""The flag of a curve that was turned round."""

TIMES: Final = 1.5
"""A curve is reversed if it goes this many times farther down than up: a rebound is at most about 0.7 of its pull."""

SHORT: Final = 0.05
"""Below this fraction of the largest excursion nothing lasts: a shock, which is judged by its tip."""

LASTING_S: Final = 0.25


def upright(curve: LoadCurve) -> LoadCurve:
    """The curve with its pull upwards: itself, or turned round with the flag `REVERSED`."""
    used = np.flatnonzero(curve.usable)
    if REVERSED in curve.flags or len(used) < 3:
        return curve
    load = curve.load_n[used]
    load = np.median(np.stack([load[:-2], load[1:-1], load[2:]]), axis=0)  # a wrong reading is no pull
    rest = _rest(load, curve)
    up, down = float(load.max()) - rest, rest - float(load.min())
    lasting_up, lasting_down = _lasting(load, rest, curve.period_s)
    if max(lasting_up, lasting_down) < SHORT * max(up, down):
        reverse = down > TIMES * up
    else:
        reverse = down > up and lasting_down > TIMES * lasting_up
    if not reverse:
        return curve
    turned = -curve.load_n
    turned.flags.writeable = False
    return replace(curve, load_n=turned, flags=(*curve.flags, REVERSED))


def _rest(load: NDArray[np.float64], curve: LoadCurve) -> float:
    """The level from which to count: of the first and the last second, and the very first and last samples, the one
    nearest to the zero known beforehand. A steep rise leaves nothing in its first second."""
    prior = prior_of(curve)
    count = max(1, min(len(load) // 4, round(1.0 / curve.period_s)))
    first, last = float(np.median(load[:count])), float(np.median(load[-count:]))
    # Nothing tells which end is unloaded: the lower one, so that no pull is turned by mistake.
    if prior is None:
        return min(first, last)
    ends = first, last, float(load[0]), float(load[-1])
    return min(ends, key=lambda level: abs(level - prior.level_n))


def _lasting(load: NDArray[np.float64], rest: float, period_s: float) -> tuple[float, float]:
    """How far up and down medians over a short time go."""
    width = max(3, round(LASTING_S / period_s))
    count = len(load) // width
    if count < 2:
        return float(load.max()) - rest, rest - float(load.min())
    medians = np.median(load[: count * width].reshape(count, width), axis=1)
    return max(float(medians.max()) - rest, 0.0), max(rest - float(medians.min()), 0.0)
