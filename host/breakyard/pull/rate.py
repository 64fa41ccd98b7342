"""How the load was put on: loading rate, its unsteadiness, jerks, and whether it was steady enough."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.results import Jerk, Rate

Array = NDArray[np.float64]

STEP_S: Final = 0.1
"""Rates are slopes over this time (or four samples, if that is longer): noise and filter hardly show."""

LOADED: Final = 0.995
"""Loading ends where the load first reaches this fraction of the peak."""

JERK_TIMES: Final = 3.0
"""A jerk is a rise at more than this many times the median rate. Common practice."""

STEADY: Final = 0.5
"""Largest unsteadiness of a pull that is called steady. Common practice."""

CLASS_PERCENT: Final = 1.0

NOISE_SHARE: Final = 0.15
"""Noise may be this fraction of what the load rises by from one of the slopes to the next."""


UNKNOWN_MEMORY: Final = 4.0
"""Steps that an unknown instrument's filter may remember: unless known, it is taken as this many times as slow."""


def loading_rate(
    time: Array,
    load: Array,
    onset: int,
    top: int,
    period_s: float,
    peak_n: float,
    *,
    filter_known: bool = True,
    noise_n: float = 0.0,
) -> Rate:
    """Loading rate between a tenth of the peak and the peak, and at the peak.

    time, load: usable samples, zero subtracted. noise_n: of one sample; where it would make up slopes they are taken
    over longer, between means. The fastest loading for 1 % follows ISO 6892-1 Annex A: the
    sampling frequency must be at least rate / (force x class in %) x 100 (from memory of that annex).
    """
    if top > onset:  # a hold at the top is not loading
        top = onset + int(np.argmax(load[onset : top + 1] >= LOADED * peak_n))
    step = max(4, round(STEP_S / period_s))
    begin = onset + int(np.argmax(load[onset : top + 1] >= 0.1 * peak_n)) if top > onset else top
    at_peak = _slope(time, load, max(0, top - max(step, 8)), max(top - 2, 1))
    usable_rate = peak_n * CLASS_PERCENT / 100.0 / period_s
    if not filter_known:
        usable_rate /= UNKNOWN_MEMORY
    if top - begin < 2 * step:
        whole = _slope(time, load, max(begin - 1, 0), top)
        return Rate(whole, at_peak, 0.0, usable_rate, steady_enough=bool(whole < usable_rate))
    averaged = NOISE_SHARE * 0.9 * peak_n * step < noise_n * (top - begin)
    while averaged and NOISE_SHARE * 0.9 * peak_n * step**1.5 < 2.0**0.5 * noise_n * (top - begin):
        if top - begin < 4 * step:
            break
        step *= 2
    index = np.arange(begin, top + 1, step)
    levels = load[index]
    if averaged and len(index) > 2:  # means, each in the middle of its samples
        levels = np.add.reduceat(load[: top + 1], index) / np.diff(np.append(index, top + 1))
        levels, index = levels[:-1], index[:-1]  # the last has fewer
    rises = np.diff(levels)
    rates = rises / np.diff(time[index])
    # Holds are part of a slow test, not of its loading: the typical rate weighs each piece by its rise.
    rising = rates > 0
    typical = _weighted_median(rates[rising], rises[rising]) if rising.any() else 0.0
    spread = 0.5 * float(np.subtract(*np.quantile(rates[rates > -np.inf], [0.84, 0.16])))
    unsteadiness = spread / typical if typical > 0 else 0.0
    jerks = tuple(
        Jerk(float(time[index[k]]), float(rises[k]), float(rates[k]))
        for k in np.flatnonzero((rates > JERK_TIMES * typical) & (rises > 0.02 * peak_n))
    )
    fastest = float(rates.max(initial=0.0))
    steady = unsteadiness <= STEADY and not jerks and max(at_peak, min(fastest, 2 * typical)) <= usable_rate
    return Rate(typical, at_peak, unsteadiness, usable_rate, steady_enough=bool(steady), jerks=jerks)


def _slope(time: Array, load: Array, first: int, last: int) -> float:
    """Least-squares slope over the samples from first to last."""
    t, y = time[first : last + 1], load[first : last + 1]
    if len(t) < 2:
        return 0.0
    t = t - t.mean()
    return float((t * (y - y.mean())).sum() / (t**2).sum())


def _weighted_median(values: Array, weights: Array) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(reached, 0.5 * reached[-1])])
