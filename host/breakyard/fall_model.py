"""The linear model behind `recover`: samples around one fall, for given filter order, instant, duration and sizes.

Time is counted in conversions. Each term of the force is known up to a Gaussian factor; its filtered shape is
known in closed form, so the evidence of the samples and the force before the fall follow from one Cholesky
decomposition, done for a whole grid at once.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.response import filtered_exponential, filtered_power

Array = NDArray[np.float64]

FALLS_S: Final = {0.0: 0.62, 0.003: 0.15, 0.008: 0.09, 0.018: 0.06, 0.032: 0.04, 0.05: 0.04}
"""How long a sudden fall lasts, with prior weights. Common practice, no source: a stiff part lets go within a
millisecond or two, a tearing one takes tens of them."""

RING_CYCLES: Final = (0.08, 0.14, 0.2, 0.27, 0.35, 0.45)
"""Cycles per conversion: 6 to 36 Hz at 80 conversions a second, spread as the filter lets them through."""

RING_ROUGHNESS: Final = 0.02
"""What a few oscillations with one decay do not explain of a real ringing, as a fraction of its size."""

RING_DECAY: Final = 10.0
"""Decay time of the ringing in conversions."""

TAILS: Final = (0.5, 1.5)
"""Decay times in conversions."""

NEAR: Final = 9.0

FAR: Final = 20.0
"""The slope may change at each conversion up to this far before the fall; little up to NEAR, freely beyond."""

_LATEST_BEND: Final = 0.25

_LOOK_BACK: Final = -np.arange(0.0, 4.1, 0.5)
"""The peak is the largest of the force at these times before the fall: a softening part peaks earlier."""

_ZOOM_DEVIATIONS: Final = 4.0

ROUGHNESS: Final = 0.003
"""Error of the broken line that stands for a smooth rise, as a fraction of the rise in one conversion."""

EARLY: Final = 1.8
"""A sample that is not clearly down may be this many conversions after the fall began (order 4: 4 % down)."""

JITTER_S: Final = 50e-6
"""Standard uncertainty of a sample's time stamp: 20 us steps and the wait for the reading."""


@dataclass(frozen=True, slots=True)
class Solved:
    """For one filter order and one duration of the fall; arrays of shape (sizes, instants)."""

    order: int
    fall_s: float
    sizes: Array
    """Pairs of bend and ring size, shape (sizes, 2)."""
    instants: Array
    log_evidence: Array
    mean_n: Array
    variance: Array

    def around(self) -> tuple[float, float]:
        """Instants between which nearly all of the weight lies."""
        weight = shares(np.logaddexp.reduce(self.log_evidence, axis=0))
        step = self.instants[1] - self.instants[0]
        middle = float(weight @ self.instants)
        spread = float(np.sqrt(weight @ (self.instants - middle) ** 2))
        reach = _ZOOM_DEVIATIONS * spread + step
        return max(middle - reach, self.instants[0]), min(middle + reach, self.instants[-1])


@dataclass(frozen=True, slots=True)
class Inspected:
    """The likeliest solution. Times in conversions, loads in newtons."""

    misfit: float
    before: Array
    before_n: Array
    """The force until the fall, not filtered."""
    seen: Array
    seen_n: Array
    """What the samples would show at any instant: force before and after the fall through the filter."""


class FallModel:
    """The samples around one fall (time in conversions) and the linear model for them."""

    def __init__(
        self,
        time: Array,
        load: Array,
        falling: int,
        period_s: float,
        noise_n: float,
        orders: Mapping[int, float],
    ) -> None:
        self.orders = orders
        self.time, self.load, self.falling, self.period_s = time, load, falling, period_s
        steps = np.abs(np.diff(load) / np.diff(time))
        self.top = float(load[: falling + 1].max())
        self.fall_n = self.top - float(load[falling:].min())
        # The filter lets nothing fall faster than 3/4 of it in one conversion; a wrong reading might seem to.
        steepness = np.maximum(np.append(steps, 0.0), np.append(0.0, steps))
        self.steepness = np.minimum(steepness, 0.8 * self.fall_n)
        self.ringing = np.where(np.arange(len(time)) >= falling, RING_ROUGHNESS * self.fall_n, 0.0)
        near = slice(max(0, falling - 6), falling)
        slopes = np.diff(load[near]) / np.diff(time[near])
        # Size of the slope, in newtons per conversion: the unit of the bends.
        self.slope = float(np.abs(np.median(slopes))) if len(slopes) else 0.0
        self.slope += 1e-4 * self.top
        # Bends sit at fixed times, not at distances from the unknown fall: else that would be placed where it
        # makes the fewest of them count. Their number goes on into a gap before the first fallen sample.
        expected = time[falling - 1] + 1.0
        distance = np.arange(1.0 - np.floor(max(time[falling] - expected, 0.0)), FAR)
        self.bend_times, self.near = expected - distance, distance < NEAR
        stamp = JITTER_S / period_s
        self.variance = noise_n**2 + (ROUGHNESS * self.slope) ** 2 + (self.steepness * stamp) ** 2

    def whole(self, order: int, fall_s: float) -> tuple[float, float]:
        """Earliest and latest instant at which the fall may have begun, also where conversions are missing."""
        latest = self.time[self.falling]
        memory = max(order + 0.3, latest - self.time[self.falling - 1] + EARLY)
        return latest - memory - fall_s / self.period_s, latest + 0.3

    def solve(
        self, order: int, fall_s: float, sizes: Array, earliest: float, latest: float, count: int
    ) -> Solved:
        """Evidence and peak for each pair of sizes (rows of `sizes`) and each instant of a grid."""
        fall = fall_s / self.period_s
        instants = np.linspace(earliest, latest, count)
        step = instants[1] - instants[0]
        fixed, bends, rings = self._design(self.time, instants, order, fall)
        # An instant between two of the grid shifts the steep samples; that counts as noise of theirs.
        off_grid = (
            np.where(np.arange(len(self.time)) >= self.falling - 2, self.steepness * step, 0.0) ** 2 / 12
        )
        covariance = (
            _outer(fixed[..., None, :, :])
            + sizes[:, 0, None, None] ** 2 * _outer(bends[:, None])
            + sizes[:, 1, None, None] ** 2 * (_outer(rings[:, None]) + np.diag(self.ringing**2))
            + np.diag(self.variance + off_grid)
        )
        look_fixed, look_bends = self._look_back(instants, _LOOK_BACK)
        squared = sizes[:, 0, None] ** 2
        cross = (fixed @ look_fixed.swapaxes(1, 2))[:, None] + squared[..., None] * (
            bends @ look_bends.swapaxes(1, 2)
        )[:, None]
        prior = (look_fixed**2).sum(-1)[:, None] + squared * (look_bends**2).sum(-1)[:, None]
        lower = np.linalg.cholesky(covariance)
        load = np.broadcast_to(self.load[:, None], (*covariance.shape[:-1], 1))
        solved = np.linalg.solve(lower, np.concatenate([load, cross], axis=-1))
        white, gains = solved[..., :1], solved[..., 1:]
        mean = (gains * white).sum(-2)
        variance = np.maximum(prior - (gains**2).sum(-2), 0.0)
        largest = mean.argmax(-1, keepdims=True)
        log_determinant = np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(-1)
        log_prior = np.log(self.orders[order] * FALLS_S[fall_s] * step)
        evidence = log_prior - 0.5 * (white[..., 0] ** 2).sum(-1) - log_determinant
        return Solved(
            order,
            fall_s,
            sizes,
            instants,
            evidence.T,
            np.take_along_axis(mean, largest, -1)[..., 0].T,
            np.take_along_axis(variance, largest, -1)[..., 0].T,
        )

    def inspect(self, part: Solved) -> Inspected:
        """Look at the likeliest solution: how well it fits, and its force before the fall."""
        row, column = np.unravel_index(int(np.argmax(part.log_evidence)), part.log_evidence.shape)
        instant = part.instants[[column]]
        fall = part.fall_s / self.period_s
        bend, ring = part.sizes[row]

        def terms(time: Array) -> Array:
            fixed, bends, rings = self._design(time, instant, part.order, fall)
            return np.concatenate([fixed[0], bend * bends[0], ring * rings[0]], axis=1)

        design = terms(self.time)
        step = part.instants[1] - part.instants[0]
        noise = np.sqrt(self.variance + (self.steepness * step) ** 2 / 12 + (ring * self.ringing) ** 2)
        duals = np.linalg.solve(design @ design.T + np.diag(noise**2), self.load)
        factors = design.T @ duals
        before = np.linspace(self.time[0] - instant[0], 0.0, 40)
        look_fixed, look_bends = self._look_back(instant, before)
        look = np.concatenate([look_fixed[0], bend * look_bends[0]], axis=1)
        whole = np.linspace(self.time[0], self.time[-1], 120)
        return Inspected(
            misfit=float(np.sqrt(np.mean((noise * duals) ** 2))),
            before=instant[0] + before,
            before_n=look @ factors[: look.shape[1]],
            seen=whole,
            seen_n=terms(whole) @ factors,
        )

    def _design(self, time: Array, instants: Array, order: int, fall: float) -> tuple[Array, Array, Array]:
        """Filtered forces, each times its prior size: (instants, times, terms) for the three groups."""
        u = time - instants[:, None]
        step = filtered_power(u, 0, order)
        fallen = (filtered_power(u, 1, order) - filtered_power(u - fall, 1, order)) / fall if fall else step
        lag = order / 2.0
        after = u - fall
        since = time[:, None] - self.bend_times
        bent = self.slope * (filtered_power(since, 1, order) - (since - lag))
        bends = bent * self._bends_before(instants)[:, None]
        # A steady bend: v squared / 2 before the fall, through the filter.
        curve = 0.5 * ((u - lag) ** 2 + order / 12.0) - filtered_power(u, 2, order)
        fixed = [
            self.top * (1.0 - fallen),
            3.0 * self.slope * (u - lag - filtered_power(u, 1, order)),
            self.top * fallen,
            0.02 * self.top * filtered_power(after, 1, order),
        ]
        rings = [filtered_exponential(after, -1.0 / tail, order).real for tail in TAILS]
        # Sized at the first fallen sample, not at the fall: else a fall hidden in a gap would be placed by the
        # size of the ringing after it.
        until_seen = self.time[self.falling] - instants[:, None] - order / 2.0 - fall
        share = np.exp(until_seen / RING_DECAY) / np.sqrt(len(RING_CYCLES))
        for cycles in RING_CYCLES:
            turning = share * filtered_exponential(after, -1.0 / RING_DECAY + 2j * np.pi * cycles, order)
            rings += [turning.real, turning.imag]
        return (
            np.concatenate([np.stack(fixed, axis=-1), bends[..., ~self.near]], axis=-1),
            np.concatenate([bends[..., self.near], self.slope * curve[..., None]], axis=-1),
            self.fall_n * np.stack(rings, axis=-1),
        )

    def _bends_before(self, instants: Array) -> NDArray[np.bool_]:
        """Which bends lie clearly before the fall, for each instant of it."""
        return np.asarray(instants[:, None] - self.bend_times > _LATEST_BEND)

    def _look_back(self, instants: Array, before: Array) -> tuple[Array, Array]:
        """The force itself at times before the fall, in the terms of `_design`: (instants, times, terms)."""
        moments = instants[:, None] + before
        bends = np.maximum(self.bend_times - moments[..., None], 0.0) * self.slope
        bends = bends * self._bends_before(instants)[:, None]
        terms = [np.full_like(before, self.top), 3.0 * self.slope * before, 0.0 * before, 0.0 * before]
        fixed = np.broadcast_to(np.stack(terms, axis=-1), (*moments.shape, len(terms)))
        curve = np.broadcast_to(0.5 * self.slope * before[:, None] ** 2, (*moments.shape, 1))
        return (
            np.concatenate([fixed, bends[..., ~self.near]], axis=-1),
            np.concatenate([bends[..., self.near], curve], axis=-1),
        )


def _outer(design: Array) -> Array:
    return design @ np.swapaxes(design, -1, -2)


def shares(log_evidence: Array) -> Array:
    """Weights that sum to one."""
    relative = np.exp(log_evidence - log_evidence.max())
    return np.asarray(relative / relative.sum())
