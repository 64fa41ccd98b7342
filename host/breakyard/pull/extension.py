"""What a second series of lengths says of a pull: stiffness, first movement, what was left, creep.

Lengths come at a lower rate than loads, from a tape, a dial or a camera, so each is paired with the load at its moment
and nothing is drawn between them.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration.propagate import coverage_interval
from breakyard.calibration.terms import Term
from breakyard.pull.results import Extension, Slope

Array = NDArray[np.float64]

STIFF_FROM, STIFF_TO = 0.1, 0.4
"""Stiffness is the slope between these fractions of the peak (ISO 6891 and EN 26891, 8.5: slip modulus)."""

FEWEST: Final = 3
"""Points that make a line whose doubt can be estimated."""

SHARES: Final = (0.1, 0.5, 1.0)

MOVES_AT: Final = 10.0
"""F ratio from which a hinge is taken for better than a straight line. Its corner is looked for among all points, which
makes large ratios likelier than F's own distribution has it."""

MOVES_MORE: Final = 1.5
"""Beyond a first movement it gives at least this many times as much per load as before. Common practice."""

STRAIGHT: Final = 0.005
"""A line that misses the points by no more than this fraction of all movement (root mean square) is straight."""

HOLD_S: Final = 10.0
"""Creep is told of a hold that lasts for at least so long and half a decade of time."""

UNSTATED: Final = 0.01
"""Relative standard uncertainty of the lengths' scale where nobody states it: wide for a tape or a dial, and about what
an extensometer of class 1 may be off (ISO 9513; from memory)."""

UNSTATED_SPEED: Final = 0.05
"""Relative standard uncertainty of a stated pulling speed: of a winch or a screw under load. Common practice, no
source."""

STEADY: Final = 0.03
"""A load within this fraction of itself is held. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Points:
    """Lengths (n,) in metres with the loads and times that belong to them, in order of time, up to the last of them."""

    time_s: Array
    load_n: Array
    extension_m: Array


def read_extension(
    points: Points,
    onset_s: float,
    peak_s: float,
    peak_n: float,
    *,
    gauge_m: float | None,
    coverage: float,
    load_relative: float = 0.0,
    accuracy: float | None = None,
) -> Extension:
    """Everything that the lengths say. Where there are too few of them for something, it is None.

    load_relative: relative standard uncertainty of a load at `STIFF_TO` of the peak by cell, calibration and line of
    pull. accuracy: that of the lengths' scale; None takes `UNSTATED`.
    """
    scale = UNSTATED if accuracy is None else accuracy
    up = points.time_s <= peak_s + 1e-9
    load, extension = points.load_n[up], points.extension_m[up]
    before = points.extension_m[points.time_s <= onset_s]
    origin = float(np.median(before)) if len(before) else (float(extension[0]) if len(extension) else 0.0)
    rising = load >= 0.0
    at = tuple(_at_share(load[rising], extension[rising] - origin, share * peak_n) for share in SHARES)
    after = points.extension_m[(points.time_s > peak_s) & (points.load_n < 0.05 * peak_n)]
    return Extension(
        points=len(points.extension_m),
        at_10_percent_m=at[0],
        at_50_percent_m=at[1],
        at_peak_m=at[2],
        gauge_m=gauge_m,
        stiffness=stiffness_of(
            points, onset_s, peak_s, peak_n, coverage, (("load", load_relative), ("lengths", scale))
        ),
        first_movement_n=first_movement(load, extension - origin),
        permanent_m=float(after[-1]) - origin if len(after) else None,
        creep_m_per_decade=_creep(points, onset_s, coverage, scale),
        accuracy=accuracy,
    )


def stiffness_of(
    points: Points,
    onset_s: float,
    peak_s: float,
    peak_n: float,
    coverage: float,
    scales: tuple[tuple[str, float], ...],
) -> Slope | None:
    """Slope of load over extension between `STIFF_FROM` and `STIFF_TO` of the peak on the way up; see `slope_of`."""
    within = (points.time_s >= onset_s) & (points.time_s <= peak_s + 1e-9)
    within &= (points.load_n >= STIFF_FROM * peak_n) & (points.load_n <= STIFF_TO * peak_n)
    return slope_of(points.extension_m[within], points.load_n[within], coverage, scales)


def slope_of(x: Array, y: Array, coverage: float, scales: tuple[tuple[str, float], ...] = ()) -> Slope | None:
    """Slope of the least-squares line with its interval; None for fewer than three points.

    What the line leaves open follows Student's t (JCGM 100, H.3). An error of either scale turns every point alike and
    shows in no residual; its relative standard uncertainties, named in `scales`, are the slope's too (JCGM 100, 5.1.6).
    """
    if len(x) < FEWEST or np.ptp(x) <= 0.0:
        return None
    centred = x - x.mean()
    size = float(centred @ centred)
    slope = float(centred @ (y - y.mean())) / size
    left = y - y.mean() - slope * centred
    freedom = len(x) - 2
    spread = math.sqrt(float(left @ left) / freedom / size)
    terms = [Term("line through the points", spread, freedom, "A")]
    terms += [Term(source, abs(slope) * relative) for source, relative in scales]
    low, high = coverage_interval([term for term in terms if term.standard_n > 0.0], coverage)
    return Slope(slope, slope + low, slope + high)


def _at_share(load: Array, extension: Array, wanted: float) -> float | None:
    """The extension at which the load first reaches this, on the straight line between the points around it."""
    reached = np.flatnonzero(load >= wanted * (1.0 - 0.005))
    if not len(reached) or wanted <= 0.0:
        return None
    k = int(reached[0])
    if k == 0 or load[k] <= load[k - 1]:
        return float(extension[k])
    share = min(max((wanted - load[k - 1]) / (load[k] - load[k - 1]), 0.0), 1.0)
    return float(extension[k - 1] + share * (extension[k] - extension[k - 1]))


def first_movement(load: Array, extension: Array) -> float | None:
    """The load from which the specimen moves more than before: the corner of the best hinge; None if there is none.

    Two straight lines joined at one load against one line, by the F ratio of their residuals (two parameters more).
    Corners are tried at every point but the outermost two.
    """
    n = len(load)
    if n < 2 * FEWEST + 1 or np.ptp(load) <= 0.0:
        return None
    order = np.argsort(load, kind="stable")
    x, y = load[order], extension[order]
    one = _residual(np.stack([np.ones(n), x], axis=1), y)
    if math.sqrt(one / n) <= STRAIGHT * float(np.ptp(y)):
        return None
    best, corner = math.inf, None
    for candidate in x[2:-2]:
        basis = np.stack([np.ones(n), x, np.maximum(x - candidate, 0.0)], axis=1)
        found, slopes = _residual(basis, y), np.linalg.lstsq(basis, y, rcond=None)[0]
        more = slopes[1] + slopes[2] >= MOVES_MORE * max(float(slopes[1]), 0.0)
        if slopes[2] > 0.0 and more and found < best:
            best, corner = found, float(candidate)
    if corner is None:
        return None
    spread = max(best / max(n - 4, 1), (1e-6 * float(np.ptp(y))) ** 2)
    return corner if (one - best) / 2.0 / spread > MOVES_AT else None


def _residual(basis: Array, y: Array) -> float:
    left = y - basis @ np.linalg.lstsq(basis, y, rcond=None)[0]
    return float(left @ left)


def _creep(points: Points, onset_s: float, coverage: float, scale: float) -> Slope | None:
    """Extension per decade of time in the longest hold (EN 1537 and ISO 22477-5: the creep rate of an anchor).

    The time counts from the beginning of the hold; its first second, in which the load settles, is left out.
    """
    time, load = points.time_s, points.load_n
    best = (0, 0)
    begin = 0
    for i in range(len(load)):
        while begin < i and np.ptp(load[begin : i + 1]) > STEADY * max(abs(float(load[i])), 1e-12):
            begin += 1
        if time[begin] >= onset_s and time[i] - time[begin] > time[best[1]] - time[best[0]]:
            best = (begin, i)
    held = slice(best[0], best[1] + 1)
    since = time[held] - time[held][0]
    kept = since >= 1.0
    if since[-1] < HOLD_S or not kept.any() or since[-1] < math.sqrt(10.0) * since[kept][0]:
        return None
    return slope_of(np.log10(since[kept]), points.extension_m[held][kept], coverage, (("lengths", scale),))
