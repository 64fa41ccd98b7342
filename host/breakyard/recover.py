"""The peak of a ramp that ends in a sudden fall, seen through the converter's filter.

Before the fall the force is a straight line plus changes of slope, small ones near the fall (how small is
learnt from the samples) and free ones far from it. At an unknown instant it falls, within an unknown short
time, to an unknown level, and then rings: decaying oscillations of unknown size. For a given filter order,
instant and duration of the fall and given sizes of these unknowns everything else is linear with Gaussian
priors, so that the peak and the evidence have closed forms; the rest is summed on a grid. The answer is a
mixture of Gaussians.

Why it works although the filter is not known: every candidate filter is symmetrical. The line through the
samples before the fall, read where the falling samples are half-way down, is the force at the fall whatever
the order; the order matters only to the shape of the falling samples.
"""

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.fall_model import FALLS_S, FallModel, shares

Array = NDArray[np.float64]

FILTER_ORDERS: Final[Mapping[int, float]] = MappingProxyType({3: 0.5, 4: 0.5})
"""Orders of the converter's filter and their prior weights: "4 conversions to settle" (data sheet)."""

STATED_ORDER: Final = 0.8
"""Prior weight of an order that the user states; the rest goes to its neighbours."""

SAMPLES_BEFORE: Final = 14

SAMPLES_AFTER: Final = 12

BEND_SIZES: Final = (0.01, 0.04, 0.15, 0.5)
"""Change of slope per conversion near the fall, steady and at random, as a fraction of the slope."""

RING_SIZES: Final = (0.03, 0.15, 0.6)
"""Size of the oscillation after the fall, as a fraction of the fall."""

_COARSE: Final = 15

_FINE: Final = 41

_NEGLIGIBLE: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Recovered:
    """Mixture of Gaussians for the peak force, and what was learnt on the way. Arrays have one item per part."""

    weight: Array
    mean_n: Array
    standard_n: Array
    break_s: float
    break_standard_s: float
    order_weights: dict[int, float]
    log_evidence: float
    """Of all samples in the window under the model; differences tell whether one sample spoils it."""
    misfit: float
    """Root mean square of the residuals over what noise and time stamps explain; near 1 if the model fits."""
    before_s: Array
    before_n: Array
    """Likeliest force before the fall, for pictures: ends at the fall."""
    seen_s: Array
    seen_n: Array
    """Likeliest curve of the samples, force before and after the fall through the filter, for pictures."""

    @property
    def estimate_n(self) -> float:
        """Mean of the mixture."""
        return float(self.weight @ self.mean_n)

    @property
    def deviation_n(self) -> float:
        """Standard deviation of the mixture."""
        spread = self.standard_n**2 + (self.mean_n - self.estimate_n) ** 2
        return float(np.sqrt(self.weight @ spread))

    def quantiles(self, low: float, high: float) -> tuple[float, float]:
        """Quantiles of the mixture, by bisection."""
        from scipy.special import ndtr

        reach = 8.0 * self.deviation_n + 1e-12
        found = []
        for target in (low, high):
            a, b = self.estimate_n - reach, self.estimate_n + reach
            for _ in range(40):
                middle = 0.5 * (a + b)
                below = self.weight @ ndtr((middle - self.mean_n) / np.maximum(self.standard_n, 1e-12))
                a, b = (middle, b) if below < target else (a, middle)
            found.append(0.5 * (a + b))
        return found[0], found[1]


def recover(
    time_s: Array,
    load_n: Array,
    falling: int,
    period_s: float,
    noise_n: float,
    orders: Mapping[int, float] = FILTER_ORDERS,
) -> Recovered:
    """Estimate the force at a sudden fall.

    time_s, load_n: usable samples, shape (n,), zero subtracted; missing conversions are simply not there.
    falling: index of the first sample that is clearly down. noise_n: standard deviation of one sample.
    orders: candidates for the filter's order with prior weights.
    """
    begin = max(0, falling - SAMPLES_BEFORE)
    window = slice(begin, falling + SAMPLES_AFTER)
    model = FallModel(time_s[window] / period_s, load_n[window], falling - begin, period_s, noise_n, orders)
    sizes = np.array(list(itertools.product(BEND_SIZES, RING_SIZES)))
    choices = list(itertools.product(orders, FALLS_S))
    whole = model.whole
    coarse = [model.solve(order, fall_s, sizes, *whole(order, fall_s), _COARSE) for order, fall_s in choices]
    share_of = shares(np.stack([np.logaddexp.reduce(part.log_evidence, axis=1) for part in coarse]))
    parts = []
    for first, share in zip(coarse, share_of, strict=True):
        likely = share > _NEGLIGIBLE
        if likely.any():
            parts.append(model.solve(first.order, first.fall_s, sizes[likely], *first.around(), _FINE))
    weight = shares(np.concatenate([part.log_evidence.ravel() for part in parts]))
    instants = np.concatenate([np.broadcast_to(p.instants, p.mean_n.shape).ravel() for p in parts])
    order_of = np.concatenate([np.full(part.mean_n.size, part.order) for part in parts])
    middle = float(weight @ instants)
    best = max(parts, key=lambda part: float(part.log_evidence.max()))
    likeliest = model.inspect(best)
    return Recovered(
        weight=weight,
        mean_n=np.concatenate([part.mean_n.ravel() for part in parts]),
        standard_n=np.sqrt(np.concatenate([part.variance.ravel() for part in parts])),
        break_s=middle * period_s,
        break_standard_s=float(np.sqrt(weight @ (instants - middle) ** 2)) * period_s,
        order_weights={order: float(weight[order_of == order].sum()) for order in orders},
        log_evidence=float(np.logaddexp.reduce(np.concatenate([p.log_evidence.ravel() for p in parts]))),
        misfit=likeliest.misfit,
        before_s=likeliest.before * period_s,
        before_n=likeliest.before_n,
        seen_s=likeliest.seen * period_s,
        seen_n=likeliest.seen_n,
    )


def order_weights(stated: int) -> dict[int, float]:
    """Prior weights of filter orders when one is stated."""
    beside = [order for order in (stated - 1, stated + 1) if order >= 1]
    return {stated: STATED_ORDER} | {order: (1 - STATED_ORDER) / len(beside) for order in beside}
