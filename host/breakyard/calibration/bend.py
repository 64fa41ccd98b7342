"""How bent a cell may be, and what that does to a calibration made low in the range.

A sheet states only a bound over the whole range: the output stays within L of a line. It says nothing of the local
slope, and near zero the slope of a bent characteristic differs from the mean slope; a line through small masses carries
that difference all the way up. Here the bend is taken as a mixture of the two smooth shapes that strain-gauge cells
show, each scaled so that its largest deviation from the terminal line (zero to capacity, the sheets' usual line) is L:

    bow      L * 4 x (1 - x)                       slope at zero 4 L
    S-curve  L * x (1 - x) (1 - 2 x) / 0.0962      slope at zero 10.4 L          x = load / capacity

Whatever of it the calibration points already straightened is taken off exactly: a fit passes any linear part
unchanged, so only the square and the cube of the load matter, and their fits over the same points are part of the
calibration.

How much of each shape a cell has: before any point is looked at, all pairs of bow a and S-curve b with
|a| + |b| <= 1 (in units of L) are equally likely: a limit with nothing else known (JCGM 100, 4.3.7; JCGM 101, 6.4.2).
Points that cover much of the range then leave residuals that rule most of it out. The residuals are taken in the
directions that the fit leaves free (as in restricted maximum likelihood); their spread is that of the readings, the
known loads and the loops, and an unknown repeatability with all orders of magnitude equally likely. What is left is
given as weights on a grid of a and b. Where the points are too few to show both a bend and their own scatter, the
rating alone speaks.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from breakyard.calibration.fit import Floats
from breakyard.calibration.plate import DEFAULT_NONLINEARITY, Plate

S_PEAK: Final = math.sqrt(3.0) / 18.0
"""Largest value of x (1 - x) (1 - 2 x) on 0..1."""

FEW: Final = 4
"""Residual directions from which the points say something: two for the bend, two for their own scatter."""

GRID: Final = 48
SCATTERS: Final = 24
REACH: Final = 5.0
"""Standard deviations around what the residuals say that the grid covers."""

LEAST: Final = 1e-3
"""No narrower is the grid, in units of the rated limit."""

NEGLIGIBLE: Final = 1e-7


def scale_of(plate: Plate | None, load_n: float, highest_known_n: float) -> tuple[float, float]:
    """Capacity and largest bend in newtons. Without a plate the load itself (or the highest known load) is taken
    as the capacity, and the default as the bend. A sheet is believed to bend less than that only where the plate's
    rated output is stated too: then a wrong plate shows (`sanity`), else nothing confirms that it is this cell's."""
    capacity = plate.capacity_n if plate else max(abs(load_n), highest_known_n)
    stated = plate.nonlinearity if plate else None
    if plate is None or stated is None:
        return capacity, DEFAULT_NONLINEARITY * capacity
    least = 0.0 if plate.rated_output_mv_v is not None else DEFAULT_NONLINEARITY
    return capacity, max(stated, least) * capacity


def shapes(load_n: Floats, capacity_n: float) -> Floats:
    """Bow and S-curve at these loads, in units of L; shape (n, 2)."""
    x = load_n / capacity_n
    square = x * np.abs(x)
    return np.stack([4.0 * (x - square), (x - 3.0 * square + 2.0 * x**3) / S_PEAK], axis=-1)


def errors_of_fit(
    load_n: float, fitted_square: float, fitted_cube: float, capacity_n: float
) -> tuple[float, float]:
    """True load less shown load for a cell that is all bow, and all S-curve, in units of L.

    `fitted_square` and `fitted_cube` are what the calibration makes of load**2 and load**3 (N^2, N^3).
    """

    def error(part: float) -> tuple[float, float]:
        """The same at a part of this load; the fit's share goes down with it (exactly so for a line)."""
        load = part * load_n
        square = (load * abs(load) - part * fitted_square) / capacity_n**2
        cube = (load**3 - part * fitted_cube) / capacity_n**3
        return 4.0 * square / part, (3.0 * square - 2.0 * cube) / S_PEAK / part

    if abs(load_n) <= capacity_n:
        return error(1.0)
    # Beyond the capacity the sheet promises nothing: the shapes turn back there, the doubt does not.
    within = capacity_n / abs(load_n)
    return max(
        [error(1.0), *(error(within * step / 20.0) for step in range(1, 21))],
        key=lambda pair: math.hypot(*pair),
    )


def departure(load_n: float, capacity_n: float, highest_known_n: float) -> float:
    """How far the characteristic may leave, beyond the highest known load, what the points below it show; in
    units of L.

    Nothing below shows a bend that begins only there. It leaves the known part smoothly, without a kink, over no
    shorter stretch than was calibrated, and reaches the rated limit at capacity at most.
    """
    stretch = max(capacity_n - highest_known_n, highest_known_n)
    beyond = max(abs(load_n) - highest_known_n, 0.0) / stretch
    return min(beyond, 1.0) ** 2 * max(abs(load_n) / capacity_n, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Bends:
    """Possible bends: bow and S-curve in units of the rated limit, and their weights, all (n,), read-only."""

    bow: Floats
    s_curve: Floats
    weights: Floats


@lru_cache(maxsize=1)
def by_rating() -> Bends:
    """All bends within the rating, equally likely: |a| + |b| <= 1 is a square turned by 45 degrees."""
    return _on_grid((-1.0, -1.0), (1.0, 1.0), None)


def by_points(rows: Floats, loads: Floats, shapes: Floats, covariance: Floats) -> Bends:
    """Bends that agree with the points.

    rows: (n, p) of the fit; loads: (n,) newtons; shapes: (n, 2) newtons that bow and S-curve of the rated limit
    add to what the cell shows; covariance: (n, n) newtons squared of what is known to scatter the points.
    """
    n, p = rows.shape
    if n - p < FEW:
        return by_rating()
    free = np.linalg.qr(rows, mode="complete")[0][:, p:]
    known, turn = np.linalg.eigh(free.T @ covariance @ free)
    seen = turn.T @ free.T @ loads
    # A bent cell shows load + bend, so the line through it misses the load by less the bend.
    bent = -turn.T @ free.T @ shapes
    scatter = _scatters(seen, np.maximum(known, 0.0))
    spread = np.maximum(known, 0.0) + scatter[:, None] ** 2
    weight = 1.0 / spread
    curved = np.einsum("sm,mi,mj->sij", weight, bent, bent)
    leaning = np.einsum("sm,mi,m->si", weight, bent, seen)
    missed = -0.5 * (weight @ seen**2 + np.log(spread).sum(axis=1))
    low, high = _box(curved, leaning, missed)

    def agreement(a: Floats, b: Floats) -> Floats:
        each = np.stack([a, b])
        inner = leaning @ each - 0.5 * np.einsum("ik,sij,jk->sk", each, curved, each)
        return np.asarray(np.logaddexp.reduce(missed[:, None] + inner, axis=0))

    return _on_grid(low, high, agreement)


def _scatters(seen: Floats, known: Floats) -> Floats:
    """Candidates for the unknown repeatability, newtons, evenly in their logarithm."""
    largest = 3.0 * math.sqrt(float(np.mean(seen**2) + np.mean(known))) + 1e-9
    least = max(0.1 * math.sqrt(float(np.median(known))), 1e-4 * largest)
    return np.geomspace(least, largest, SCATTERS)


def _box(curved: Floats, leaning: Floats, missed: Floats) -> tuple[tuple[float, float], tuple[float, float]]:
    """Corners of the part of the turned square (a + b, a - b) that the residuals leave possible.

    Found with a Gaussian in place of the square (variance 1/6 each, as the square has). A cell that is bent more than
    its rating allows shows as scatter, and keeps the whole square.
    """
    precision = curved + 6.0 * np.eye(2)
    spread = np.linalg.inv(precision)
    middle = np.einsum("sij,sj->si", spread, leaning)
    evidence = missed + 0.5 * np.einsum("si,si->s", middle, leaning)
    evidence -= 0.5 * np.log(np.linalg.det(precision))
    likely = evidence > evidence.max() - 12.0
    turned = np.array([[1.0, 1.0], [1.0, -1.0]])
    centre = middle[likely] @ turned.T
    reach = REACH * np.sqrt(np.einsum("ij,sjk,ik->si", turned, spread[likely], turned))
    low, high = (centre - reach).min(axis=0), (centre + reach).max(axis=0)
    low, high = np.clip(low, -1.0, 1.0 - LEAST), np.clip(high, LEAST - 1.0, 1.0)
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))


def _on_grid(
    low: tuple[float, float], high: tuple[float, float], agreement: Callable[[Floats, Floats], Floats] | None
) -> Bends:
    middles = (np.arange(GRID) + 0.5) / GRID
    p, q = np.meshgrid(*(a + (b - a) * middles for a, b in zip(low, high, strict=True)))
    bow, s_curve = (p.ravel() + q.ravel()) / 2.0, (p.ravel() - q.ravel()) / 2.0
    weights = np.ones(bow.size)
    if agreement is not None:
        log = agreement(bow, s_curve)
        weights = np.exp(log - log.max())
    kept = weights > NEGLIGIBLE
    found = bow[kept], s_curve[kept], weights[kept] / weights[kept].sum()
    for array in found:
        array.setflags(write=False)
    return Bends(*found)
