"""The same interval by drawing (JCGM 101:2008): an independent check of the linear budget.

Nothing is linearised here. Each draw takes other masses, gravity, readings and another bend of the cell,
fits anew, and asks what load truly hangs at the counts seen. It shares only the calibration's data with
`Calibration.terms`.
"""

import math
from dataclasses import dataclass

import numpy as np

from breakyard.calibration.fit import Floats, powers
from breakyard.calibration.model import Calibration
from breakyard.calibration.plate import DEFAULT_NONLINEARITY
from breakyard.errors import UsageError


@dataclass(frozen=True, slots=True)
class Drawn:
    """Mean, standard deviation and the symmetric-probability interval of the drawn loads, newtons."""

    load_n: float
    standard_n: float
    low_n: float
    high_n: float
    draws: int


def monte_carlo(
    calibration: Calibration,
    counts: float,
    zero_counts: float,
    *,
    coverage: float = 0.95,
    draws: int = 20_000,
    seed: int = 1,
) -> Drawn:
    """Draw the load at these counts. Same seed, same answer. Raises: UsageError for too few draws."""
    if draws < 1000 or not 0.0 < coverage < 1.0:
        raise UsageError(
            f"{draws} draws for a coverage of {coverage:g}: use 1000 or more and a coverage below 1"
        )
    rng = np.random.default_rng(seed)
    loads, readings, weights = _draw_points(calibration, rng, draws)
    bow, s_curve = _draw_bend(rng, draws)
    capacity, bound = _bend_scale(calibration, counts, zero_counts)

    def bend(load: Floats) -> Floats:
        u = load / capacity
        rise = u * (1.0 - u)
        shape = bow * 4.0 * rise + s_curve * 6.0 * math.sqrt(3.0) * rise * (1.0 - 2.0 * u)
        return np.asarray(bound * shape)

    # A bent cell shows load + bend; its own output is straight in that.
    bow, s_curve = bow[:, None], s_curve[:, None]
    shown = loads + bend(loads)
    rows = powers(readings, calibration.centre, calibration.scale, calibration.degree)
    weighted = rows * weights[:, None]
    normal = np.einsum("dnp,dnq->dpq", weighted, rows)
    right = np.einsum("dnp,dn->dp", weighted, shown)
    coefficients = np.linalg.solve(normal, right[..., None])[..., 0]
    both = powers((counts, zero_counts), calibration.centre, calibration.scale, calibration.degree)
    target = coefficients @ (both[0] - both[1])
    bow, s_curve = bow[:, 0], s_curve[:, 0]
    load = target.copy()
    for _ in range(8):  # the bend is far below one: this converges within a few steps
        load = target - bend(load)
    load += _draw_cell(calibration, rng, load)
    tail = (1.0 - coverage) / 2.0
    low, high = np.quantile(load, [tail, 1.0 - tail])
    return Drawn(float(load.mean()), float(load.std(ddof=1)), float(low), float(high), draws)


def _draw_points(
    calibration: Calibration, rng: np.random.Generator, draws: int
) -> tuple[Floats, Floats, Floats]:
    """Loads and readings (draws, n), and the weights of the fit (n,)."""
    forces = [point.load.force(calibration.gravity, calibration.air) for point in calibration.points]
    nominal = np.array([force.newtons for force in forces])
    sources = sorted({source for force in forces for source in force.sources})
    patterns = np.array([[force.sources.get(source, 0.0) for source in sources] for force in forces])
    loads = nominal + rng.standard_normal((draws, len(sources))) @ patterns.T
    counts = np.array([point.counts for point in calibration.points])
    slope = abs(float(calibration.slope_n_per_count(calibration.zero_counts)))
    own = np.array([point.counts_standard or 0.0 for point in calibration.points])
    scatter = np.hypot(own, calibration.between_n / slope)
    spread = np.ones((draws, 1))
    if calibration.degrees_of_freedom:
        freedom = calibration.degrees_of_freedom
        spread = np.sqrt(freedom / rng.chisquare(freedom, (draws, 1)))
    readings = counts + spread * scatter * rng.standard_normal((draws, len(counts)))
    variances = np.array(calibration.variances_n2)
    weights = 1.0 / variances if np.all(variances > 0.0) else np.ones(len(counts))
    return loads, readings, weights


def _draw_bend(rng: np.random.Generator, draws: int) -> tuple[Floats, Floats]:
    """Bow and S amplitudes, evenly over |bow| + |S| <= 1: a square turned by 45 degrees."""
    a, b = rng.uniform(-1.0, 1.0, (2, draws))
    return (a + b) / 2.0, (a - b) / 2.0


def _bend_scale(calibration: Calibration, counts: float, zero_counts: float) -> tuple[float, float]:
    """Capacity and largest bend in newtons."""
    plate = calibration.plate
    asked = abs(float(calibration.load_n(counts, zero_counts)))
    capacity = plate.capacity_n if plate else max(asked, calibration.highest_known_n)
    stated = plate.nonlinearity if plate else None
    return capacity, (DEFAULT_NONLINEARITY if stated is None else stated) * capacity


def _draw_cell(calibration: Calibration, rng: np.random.Generator, load: Floats) -> Floats:
    """Hysteresis, zero return and temperature: rectangles in proportion to the load."""
    plate = calibration.plate
    if plate is None:
        return np.zeros_like(load)
    halves = [
        (plate.hysteresis or 0.0) / 2.0,
        (plate.zero_return or 0.0) / 2.0,
        abs(plate.span_per_c or 0.0) * calibration.temperature_range_c,
    ]
    return np.asarray(load * sum(half * rng.uniform(-1.0, 1.0, len(load)) for half in halves))
