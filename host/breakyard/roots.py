"""The root of a function between two places of unlike sign, by Brent's method.

R. P. Brent, Algorithms for Minimization without Derivatives (1973), chapter 4: inverse quadratic interpolation or the
secant where they bring the root nearer quickly, halving where they do not, so that it never takes many more steps than
halving would. Why not scipy.optimize.brentq, which a test holds this to: importing scipy.optimize takes longer than all
roots of a report together.
"""

import math
from collections.abc import Callable
from typing import Final

MOST_STEPS: Final = 1000
"""Halving a bracket of 1e9 down to 1e-12 takes 70 steps; a root where the function is flat takes a few times more."""
ROUNDING: Final = 8.881784197001252e-16
"""Four times the spacing of doubles at 1: no root is known better, in shares of itself."""


def find_root(
    function: Callable[[float], float],
    first: float,
    second: float,
    *,
    within: float = 2e-12,
    share: float = ROUNDING,
) -> float:
    """A place between `first` and `second` where `function` changes its sign, to `within` + `share` of the place.

    Raises: ValueError if the function has the same sign at both ends, is not a number somewhere, or is flatter around
    its root than doubles can tell.
    Example: find_root(lambda x: x * x - 2.0, 0.0, 2.0) gives the square root of 2.
    """
    # best: the nearest place known; across: the last place of the other sign; last: the best before.
    last, best = first, second
    at_last, at_best = function(last), function(best)
    if at_last == 0.0:
        return last
    if at_best == 0.0:
        return best
    if (at_last > 0.0) == (at_best > 0.0) or math.isnan(at_last):
        raise ValueError(f"no change of sign between {first:g} and {second:g}: {at_last:g} and {at_best:g}")
    across, at_across = last, at_last
    step = before = best - last
    for _ in range(MOST_STEPS):
        if math.isnan(at_best):
            raise ValueError(f"the function is not a number at {best:g}")
        if (at_best > 0.0) == (at_across > 0.0):
            across, at_across = last, at_last
            step = before = best - last
        if abs(at_across) < abs(at_best):
            last, best, across = best, across, best
            at_last, at_best, at_across = at_best, at_across, at_best
        near = 0.5 * (within + share * abs(best))
        half = 0.5 * (across - best)
        if at_best == 0.0 or abs(half) < near:
            return best
        trial = _interpolated(last, best, across, at_last, at_best, at_across)
        quick = abs(before) > near and abs(at_best) < abs(at_last)
        if quick and 2.0 * abs(trial) < min(abs(before), 3.0 * abs(half) - near):
            before, step = step, trial
        else:
            before = step = half
        last, at_last = best, at_best
        best += step if abs(step) > near else math.copysign(near, half)
        at_best = function(best)
    raise ValueError(f"no root found between {first:g} and {second:g} in {MOST_STEPS} steps")


def _interpolated(
    last: float, best: float, across: float, at_last: float, at_best: float, at_across: float
) -> float:
    """The step from `best` to where the parabola x(f) through three places, or the line through two, meets f = 0."""
    if at_last == at_best:
        return math.inf
    if last == across or at_last == at_across:
        return -at_best * (best - last) / (at_best - at_last)
    # Newton's form in f: x(0) = b - f_b [b, a] + f_b f_a [b, a, c], with divided differences of x over f.
    to_last = (last - best) / (at_last - at_best)
    to_across = (across - last) / (at_across - at_last)
    return -at_best * to_last + at_best * at_last * (to_across - to_last) / (at_across - at_best)
