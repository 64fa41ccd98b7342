"""The peak of a ramp that ends in a sudden fall, seen through the converter's filter.

Before the fall the force is a straight line plus changes of slope, small ones near the fall (how small is
learnt from the samples) and free ones far from it; it may soften in the last moments. Then it falls, within an
unknown time, in an unknown shape, to an unknown level, and rings. For a given filter order, kind of duration,
middle of the fall and given sizes of these unknowns everything else is linear with Gaussian priors, so that the
peak and the evidence have closed forms (see `model`); the rest is summed on a grid. The answer is a mixture
of Gaussians.

Why it works although the filter is not known: every candidate filter is symmetrical. The line through the
samples before the fall, read where the falling samples are half-way down, is the force at the middle of the fall
whatever the order. Order and duration matter to the shape of the falling samples, and only the start of the fall
ends the rise: so the interval is narrow where that shape speaks for a sudden fall, and wide where it does not.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.peak.model import FallModel, Solved, shares
from breakyard.pull.peak.ringing import FEWEST, Ring, find_ring
from breakyard.pull.peak.shape import DURATIONS, Durations
from breakyard.pull.peak.terms import look_around

Array = NDArray[np.float64]

FILTER_ORDERS: Final[Mapping[int, float]] = MappingProxyType({3: 0.5, 4: 0.5})
"""Orders of the converter's filter and their prior weights: "4 conversions to settle" (data sheet)."""

STATED_ORDER: Final = 0.8
"""Prior weight of an order that the user states; the rest goes to its neighbours."""

SAMPLES_BEFORE: Final = 14

SAMPLES_AFTER: Final = 14

SAMPLES_RINGING: Final = 22
"""Samples from the first fallen one on that show how it rings."""

BEND_SIZES: Final = (0.003, 0.012, 0.05, 0.16, 0.5)
"""Change of slope per conversion near the fall, steady and at random, as a fraction of the slope."""

RING_SIZES: Final = (0.004, 0.03, 0.15, 0.6)
"""Size of what rings besides the main oscillation, as a fraction of the fall."""

STAMP_S: Final = 20e-6 / 12**0.5
"""Least standard uncertainty of a time stamp: the logger's steps of 20 us. More where stamps scatter more."""

_USUAL_BENDS: Final = (0.012, 0.16)

_USUAL_RINGS: Final = (0.004, 0.15)

_ZOOMED: Final = 9
"""Middles of the fall that are looked at once it is known roughly."""

_FINISHED: Final = 3
"""Parts of the likely durations."""

_FIRST_LOW: Final = 6
"""Samples from the first fallen one within which the fall is over, or half a turn of slow ringing is."""

_NEGLIGIBLE: Final = 1e-4

_HOPELESS: Final = 1e-9
"""A share, as seen coarsely, that is not looked at at all: a coarse grid tells less apart, not more."""

_UNLIKELY: Final = 1e-6
"""A share that is not looked at more closely."""


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
    surprise: float
    """Largest deviation of a sample from what all others say of it, in its standard deviations."""
    plain: float
    """Weight of falls that are sudden and come without softening."""
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
    durations: Sequence[Durations] = DURATIONS,
    *,
    closely: bool = True,
) -> Recovered:
    """Estimate the force at a sudden fall.

    time_s, load_n: usable samples, shape (n,), zero subtracted; missing conversions are simply not there.
    falling: index of the first sample that is clearly down. noise_n: standard deviation of one sample.
    orders: candidates for the filter's order with prior weights. durations: how long the fall may take.
    closely: whether to look once more at what is likely; evidence to compare with others' can do without.
    """
    begin, stop = max(0, falling - SAMPLES_BEFORE), _next_fall(load_n, falling)
    window = slice(begin, min(falling + SAMPLES_AFTER, stop))
    time = time_s / period_s
    ring = _ring_after(time[:stop], load_n[:stop], falling)
    around = look_around(time[window], load_n[window], falling - begin, period_s, ring)
    model = FallModel(around, noise_n, _stamp(time[window], STAMP_S / period_s), orders)
    parts = _search(model, durations, closely)
    # Mean and variance of a mixture: m = sum w m_i, v = sum w (v_i + (m_i - m)^2) (law of total variance).
    weight = shares(np.concatenate([part.log_evidence.ravel() for part in parts]))
    starts = np.concatenate([(part.middle - 0.5 * part.fall.duration).ravel() for part in parts])
    doubt = np.concatenate([part.middle_variance.ravel() for part in parts])
    order_of = np.concatenate([np.full(part.mean_n.size, part.fall.order) for part in parts])
    plain = np.concatenate([_plain(part).ravel() for part in parts])
    start = float(weight @ starts)
    best = max(parts, key=lambda part: float(part.log_evidence.max()))
    likeliest = model.inspect(best)
    return Recovered(
        weight=weight,
        mean_n=np.concatenate([part.mean_n.ravel() for part in parts]),
        standard_n=np.sqrt(np.concatenate([part.variance.ravel() for part in parts])),
        break_s=start * period_s,
        break_standard_s=float(np.sqrt(weight @ (doubt + (starts - start) ** 2))) * period_s,
        order_weights={order: float(weight[order_of == order].sum()) for order in orders},
        log_evidence=float(np.logaddexp.reduce([part.total for part in parts])),
        misfit=likeliest.misfit,
        surprise=likeliest.surprise,
        plain=float(weight[plain].sum()),
        before_s=likeliest.before * period_s,
        before_n=likeliest.before_n,
        seen_s=likeliest.seen * period_s,
        seen_n=likeliest.seen_n,
    )


def _search(model: FallModel, durations: Sequence[Durations], closely: bool) -> list[Solved]:
    """Solutions that share all of the weight that counts, found by looking coarsely first."""
    # The posterior is a sum over filter orders, durations, middles and sizes of
    #   p(samples | those) p(those) N(peak; mean, variance),
    # summed on a grid. A coarse grid shows where the weight is; what holds less than a share of it is left out
    # (_HOPELESS, _UNLIKELY, _NEGLIGIBLE), and the rest is summed again on grids that reach 3.5 standard deviations.
    sizes = _sizes(_USUAL_BENDS, _USUAL_RINGS)
    found = []
    for order, kind in itertools.product(model.orders, durations):
        earliest, latest, count = model.whole(order, kind)
        found.append(model.solve(order, kind, sizes, earliest, latest, count))
    best = max(found, key=lambda part: part.total)
    bend = float(best.sizes[int(best.log_evidence.max(axis=1).argmax()), 0])
    sizes = _sizes((bend,), RING_SIZES)
    found = [
        model.solve(part.fall.order, part.fall.durations, sizes, *part.around(), _ZOOMED)
        for part in _likely(found, _HOPELESS)
    ]
    model.learn_slope(max(found, key=lambda part: part.total))
    if not closely:
        return found
    found = [part for old in _likely(found, _UNLIKELY) for part in _parted(model, old, bend)]
    return [finer for part in _likely(found, _NEGLIGIBLE) for finer in _finished(model, part)]


def _finished(model: FallModel, part: Solved) -> list[Solved]:
    """The same falls with all bends, and where the duration shows, with the likely ones alone."""
    of_size = shares(np.logaddexp.reduce(part.log_evidence, axis=1))
    likely = part.sizes[of_size > _NEGLIGIBLE, 1:]
    sizes = np.array([(bend, *row) for bend, row in itertools.product(BEND_SIZES, likely)])
    kinds: tuple[Durations, ...] = (part.fall.durations,)
    if part.fall.durations.shape is not None:
        shortest, longest = (conversions * model.around.period_s for conversions in part.lasting())
        kinds = part.fall.durations.between(shortest, longest, _FINISHED)
    return [model.solve(part.fall.order, kind, sizes, *part.around(), _ZOOMED) for kind in kinds]


def _parted(model: FallModel, part: Solved, bend: float) -> list[Solved]:
    """The same falls looked at by narrower durations and by shape, where these show."""
    narrower = part.fall.durations.parts(model.around.period_s)
    if len(narrower) == 1:
        return [part]
    sizes = _sizes((bend,), RING_SIZES)
    return [model.solve(part.fall.order, n, sizes, *part.around(), _ZOOMED) for n in narrower]


def _likely(found: Sequence[Solved], least: float) -> list[Solved]:
    """Those whose share of the weight is not negligible."""
    share = shares(np.array([part.total for part in found]))
    return [part for part, own in zip(found, share, strict=True) if own > least]


def _plain(part: Solved) -> NDArray[np.bool_]:
    """Which solutions are sudden and without softening: (sizes, middles)."""
    plain = part.fall.durations.sudden & (part.sizes[:, 2] == 0.0)
    return np.repeat(plain[:, None], part.mean_n.shape[1], axis=1)


def _sizes(bends: Sequence[float], rings: Sequence[float]) -> Array:
    """All combinations, with and without softening: rows of bend, ring and softening."""
    return np.array(list(itertools.product(bends, rings, (0.0, 1.0))))


def _next_fall(load: Array, falling: int) -> int:
    """Index of the first sample that belongs to another fall; the number of samples if none does soon.

    Ringing has its lowest point in its first half turn, and never falls as fast as what set it off.
    """
    after = load[falling : falling + SAMPLES_RINGING]
    first = min(_FIRST_LOW, len(after))
    top, low = float(load[: falling + 1][-SAMPLES_BEFORE:].max()), float(after[:first].min())
    steps = -np.diff(load[falling - 1 : falling + SAMPLES_RINGING])
    steepest = float(steps[:first].max())
    other = (after < low - 0.5 * (top - low)) | (steps > 0.8 * steepest)
    other[:first] = False
    return falling + int(np.argmax(other)) if other.any() else len(load)


def _ring_after(time: Array, load: Array, falling: int) -> Ring | None:
    """The ringing once the fall is over: from where nine tenths are gone and the filter has settled."""
    late = slice(falling, falling + SAMPLES_RINGING)
    if len(load[late]) < FEWEST:
        return None
    after, top = float(load[late][3:].mean()), float(load[: falling + 1][-SAMPLES_BEFORE:].max())
    down = int(np.argmax(load[late] <= top - 0.9 * (top - after)))
    settled = slice(falling + down + 3, late.stop)
    return find_ring(time[settled] - time[falling], load[settled])


def _stamp(time: Array, least: float) -> float:
    """Scatter of the time stamps about an even clock, in conversions; missing ones are counted."""
    # Residuals of the straight line through (number of the conversion, time), with n - 2 degrees of freedom.
    number = np.concatenate([[0.0], np.cumsum(np.round(np.diff(time)))])
    number = number - number.mean()
    left = time - time.mean()
    left = left - number * (number @ left) / max(float(number @ number), 1e-300)
    return max(least, float(np.sqrt((left @ left) / max(len(time) - 2, 1))))


def order_weights(stated: int) -> dict[int, float]:
    """Prior weights of filter orders when one is stated."""
    # The one stated has STATED_ORDER; what is left goes in equal parts to those one above and one below.
    beside = [order for order in (stated - 1, stated + 1) if order >= 1]
    return {stated: STATED_ORDER} | {order: (1 - STATED_ORDER) / len(beside) for order in beside}
