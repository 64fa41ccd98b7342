"""The same interval by drawing (JCGM 101:2008, clause 7): an independent check of budget and convolution.

Nothing is linearised here. Each draw takes other masses, gravity, readings, loops and another bend of the cell,
fits anew, and asks what load truly hangs at the counts seen. It shares with `Calibration.terms` the calibration's
data, and which bends these leave possible.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from breakyard.calibration.bend import departure, scale_of, shapes
from breakyard.calibration.fit import Floats, powers
from breakyard.calibration.known_loads import EACH
from breakyard.calibration.loops import loops
from breakyard.calibration.model import Calibration
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
    kept = calibration.counted(counts, zero_counts)
    loads, readings, weights = _draw_points(calibration, rng, draws, kept)
    asked = float(calibration.load_n(counts, zero_counts))
    capacity, bound = scale_of(calibration.plate, asked, calibration.highest_known_n)
    possible = calibration.bends(capacity, bound)
    chosen = rng.choice(possible.weights.size, draws, p=possible.weights)
    mixture = np.stack([possible.bow[chosen], possible.s_curve[chosen]], axis=-1)
    # A bent cell shows load + bend; its own output is straight in that.
    shown = loads + bound * np.einsum("dns,ds->dn", shapes(loads, capacity), mixture)
    rows = powers(readings, calibration.centre, calibration.scale, calibration.degree)
    weighted = rows * weights[:, None]
    normal = np.einsum("dnp,dnq->dpq", weighted, rows)
    right = np.einsum("dnp,dn->dp", weighted, shown)
    coefficients = np.linalg.solve(normal, right[..., None])[..., 0]
    both = powers((counts, zero_counts), calibration.centre, calibration.scale, calibration.degree)
    target = coefficients @ (both[0] - both[1])
    load = target.copy()
    for _ in range(8):  # the bend is far below one: this converges within a few steps
        load = target - bound * np.einsum("ds,ds->d", shapes(load, capacity), mixture)
    unseen = bound * departure(asked, capacity, calibration.highest_known_n)
    warmth = calibration.warmth()[0] if calibration.rates_warmth else 0.0
    load += unseen * rng.uniform(-1.0, 1.0, draws) + warmth * load * rng.uniform(-1.0, 1.0, draws)
    tail = (1.0 - coverage) / 2.0
    low, high = np.quantile(load, [tail, 1.0 - tail])
    return Drawn(float(load.mean()), float(load.std(ddof=1)), float(low), float(high), draws)


def _draw_points(
    calibration: Calibration, rng: np.random.Generator, draws: int, kept: Collection[str]
) -> tuple[Floats, Floats, Floats]:
    """Loads and readings (draws, n), and the weights of the fit (n,)."""
    forces = [point.load.force(calibration.gravity, calibration.air) for point in calibration.points]
    nominal = np.array([force.newtons for force in forces])
    apart = calibration.told_apart
    patterns = {
        source: (apart if EACH in source else 1.0) * np.array([f.sources.get(source, 0.0) for f in forces])
        for source in sorted({source for force in forces for source in force.sources})
        if source in kept
    } | dict(loops(nominal, calibration.plate))
    loads = np.broadcast_to(nominal, (draws, nominal.size))
    for source, pattern in patterns.items():
        if source in calibration.limited_sources:
            deviates = math.sqrt(3.0) * rng.uniform(-1.0, 1.0, (draws, 1))
        else:
            deviates = rng.standard_normal((draws, 1))
        loads = loads + deviates * pattern
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
