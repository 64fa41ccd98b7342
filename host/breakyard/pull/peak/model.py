"""The evidence of the samples around one fall, for given filter order, duration, middle and sizes of the unknowns.

With those given, the samples are a sum of known shapes with Gaussian factors and noise, so that the evidence and
the force before the fall follow from one Cholesky decomposition, done for a whole grid at once.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.peak.shape import Durations
from breakyard.pull.peak.terms import LOOK_BACK, FilteredFall, Surroundings, as_filtered, as_force

Array = NDArray[np.float64]

SOFTENING: Final = (0.2, 0.3)
"""Mean and standard deviation of the share of the slope that is given up over each of SOFTENING_SPANS."""

RING_ROUGHNESS: Final = 0.02
"""What a few oscillations with one decay do not explain of a real ringing, as a fraction of its size."""

ROUGHNESS: Final = 0.002
"""Error of the broken line that stands for a smooth rise, as a fraction of the rise in one conversion."""

FALL_ROUGHNESS: Final = 0.002
"""What a smooth shape does not explain of a fall that lasts long, as a fraction of the fall."""

_HUGE: Final = 1e200

_REACH: Final = 1.2

_COARSEST: Final = 0.3

_ZOOM_DEVIATIONS: Final = 3.5


@dataclass(frozen=True, slots=True)
class Solved:
    """For one filter order and one kind of duration; arrays of shape (sizes, middles)."""

    fall: FilteredFall
    sizes: Array
    """Bend size, ring size, and 1 for softening or 0; shape (sizes, 3)."""
    log_evidence: Array
    mean_n: Array
    variance: Array
    middle: Array
    """Middle of the fall, in conversions, as the samples place it near that of the grid."""
    middle_variance: Array
    duration: Array
    """Of the fall, in conversions, near the typical one."""
    duration_variance: Array
    slope: Array
    """Of the force just before the fall."""

    @property
    def total(self) -> float:
        """Logarithm of the evidence for this order and duration."""
        return float(np.logaddexp.reduce(self.log_evidence, axis=None))

    def around(self) -> tuple[float, float]:
        """Middles between which nearly all of the weight lies."""
        return self._reach(self.middle, self.middle_variance)

    def lasting(self) -> tuple[float, float]:
        """Durations between which nearly all of the weight lies, in conversions."""
        return self._reach(self.duration, self.duration_variance)

    def _reach(self, mean: Array, variance: Array) -> tuple[float, float]:
        weight = shares(self.log_evidence)
        middle = float((weight * mean).sum())
        spread = float((weight * (variance + (mean - middle) ** 2)).sum()) ** 0.5
        reach = _ZOOM_DEVIATIONS * spread + 1e-3
        return middle - reach, middle + reach


@dataclass(frozen=True, slots=True)
class Inspected:
    """The likeliest solution. Times in conversions, loads in newtons."""

    misfit: float
    surprise: float
    """Largest deviation of a sample from what all others say of it, in its standard deviations."""
    before: Array
    before_n: Array
    """The force until the fall, not filtered."""
    seen: Array
    seen_n: Array
    """What the samples would show at any instant: force before and after the fall through the filter."""


class FallModel:
    """The samples around one fall and the linear model for them."""

    def __init__(
        self, around: Surroundings, noise_n: float, stamp: float, orders: Mapping[int, float]
    ) -> None:
        """stamp: standard uncertainty of a time stamp, in conversions."""
        self.orders = orders
        self.around = around
        self.local_slope = around.slope
        time, load = around.time, around.load
        steps = np.abs(np.diff(load) / np.diff(time))
        # The filter lets nothing fall faster than 3/4 of it in one conversion; a wrong reading might seem to.
        steepness = np.minimum(np.maximum(np.append(steps, 0.0), np.append(0.0, steps)), 0.8 * around.fall_n)
        self.ringing = np.where(np.arange(len(time)) >= around.falling, RING_ROUGHNESS * around.fall_n, 0.0)
        self.variance = noise_n**2 + (ROUGHNESS * around.slope) ** 2 + (steepness * stamp) ** 2

    def whole(self, order: int, durations: Durations) -> tuple[float, float, int]:
        """Earliest and latest middle that the samples allow, also where conversions are missing; number between.

        The filter is symmetrical: it shows half of the fall half its length after the middle.
        """
        around = self.around
        half = 0.5 * (around.top_n + around.after_n)
        down = np.flatnonzero(around.load[around.falling :] <= half)
        at = around.falling + (int(down[0]) if len(down) else 0)
        reach = _REACH + 0.25 * durations.longest_s / around.period_s
        earliest = float(around.time[at - 1]) - 0.5 * order - reach
        latest = float(around.time[at]) - 0.5 * order + reach
        return earliest, latest, max(9, 1 + int(np.ceil((latest - earliest) / _COARSEST)))

    def solve(
        self, order: int, durations: Durations, sizes: Array, earliest: float, latest: float, count: int
    ) -> Solved:
        """Evidence and peak for each row of sizes and each middle of a grid."""
        # load = m + A f + e, factors f ~ N(0, 1) each, e ~ N(0, noise): so load ~ N(m, K) with K = A A' + noise, and
        # any force F = m_F + B f has the mean m_F + B A' K^-1 (load - m) and the variance B B' - B A' K^-1 A B'
        # (Gaussian conditioning; Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, 2.1 and A.2,
        # from memory). With the Cholesky factor L of K, w = L^-1 (load - m) and G = L^-1 A B': log evidence -w'w / 2
        # - sum log L_ii, mean m_F + G'w, variance B B' - G'G. The three last rows of B are no forces: middle,
        # duration (conversions) and slope (N per conversion).
        around = self.around
        middles = np.linspace(earliest, latest, count)
        fall = FilteredFall(order, durations, around.period_s, middles, self.local_slope)
        terms = as_filtered(around, fall, around.time)
        look = as_force(around, fall, terms.fixed.shape[-1])
        bend, ring, soft = (sizes[:, k, None, None] ** 2 for k in range(3))
        softened = soft * SOFTENING[1] ** 2
        covariance = (
            _product(terms.fixed, terms.fixed)[:, None]
            + bend * _product(terms.bends, terms.bends)[:, None]
            + ring * _product(terms.rings, terms.rings)[:, None]
            + softened * _product(terms.softening, terms.softening)[:, None]
        )
        diagonal = np.arange(len(around.time))
        noise = self.variance + self._curved(fall) ** 2 + self._rough(fall) ** 2
        covariance[..., diagonal, diagonal] += noise[:, None] + (ring * self.ringing**2)[:, 0]
        cross = (
            _product(terms.fixed, look.fixed)[:, None]
            + bend * _product(terms.bends, look.bends)[:, None]
            + softened * _product(terms.softening, look.softening)[:, None]
        )
        prior = (
            (look.fixed**2).sum(-1)[:, None]
            + bend[..., 0] * (look.bends**2).sum(-1)[:, None]
            + softened[..., 0] * (look.softening**2).sum(-1)[:, None]
        )
        usual = SOFTENING[0] * sizes[:, 2, None]
        load = around.load - usual * terms.softening.sum(-1)[:, None]
        white, gains, log_determinant = _whiten(covariance, load, cross)
        mean = (gains * white[..., None, :]).sum(-1) + usual * look.softening.sum(-1)[:, None]
        variance = np.maximum(prior - (gains**2).sum(-1), 0.0)
        largest = mean[..., : len(LOOK_BACK)].argmax(-1)[..., None]
        chance = np.where(sizes[:, 2] > 0.0, durations.softening, 1.0 - durations.softening)
        log_prior = np.log(self.orders[order] * durations.weight * fall.step * chance)
        return Solved(
            fall=fall,
            sizes=sizes,
            log_evidence=(log_prior - 0.5 * (white**2).sum(-1) - log_determinant).T,
            mean_n=np.take_along_axis(mean, largest, -1)[..., 0].T,
            variance=np.take_along_axis(variance, largest, -1)[..., 0].T,
            middle=(middles[:, None] + mean[..., -3]).T,
            middle_variance=variance[..., -3].T,
            duration=fall.duration + mean[..., -2].T,
            duration_variance=variance[..., -2].T,
            slope=mean[..., -1].T,
        )

    def learn_slope(self, part: Solved) -> None:
        """Take the slope just before the fall from a first solution."""
        slope = float((shares(part.log_evidence) * part.slope).sum())
        self.local_slope = max(slope, 0.05 * self.around.slope)

    def inspect(self, part: Solved) -> Inspected:
        """Look at the likeliest solution: how well it fits, and its force before the fall."""
        around = self.around
        row, column = np.unravel_index(int(np.argmax(part.log_evidence)), part.log_evidence.shape)
        middle, step = part.fall.middles[column], part.fall.step
        # Three middles with the step of the grid, so that the terms have the same sizes.
        fall = FilteredFall(
            part.fall.order,
            part.fall.durations,
            around.period_s,
            middle + step * np.arange(-1.0, 2.0),
            self.local_slope,
        )
        bend, ring, soft = part.sizes[row]
        factor = soft * SOFTENING[1]

        def design(time: Array) -> tuple[Array, Array]:
            terms = as_filtered(around, fall, time)
            columns = (
                terms.fixed[1],
                bend * terms.bends[1],
                factor * terms.softening[1],
                ring * terms.rings[1],
            )
            return np.concatenate(columns, axis=1), soft * SOFTENING[0] * terms.softening[1].sum(-1)

        shown, usual = design(around.time)
        noise = np.sqrt(
            self.variance
            + self._curved(fall)[1] ** 2
            + self._rough(fall)[1] ** 2
            + (ring * self.ringing) ** 2
        )
        inverse = np.linalg.inv(shown @ shown.T + np.diag(noise**2))
        duals = inverse @ (around.load - usual)
        factors = shown.T @ duals
        back = np.linspace(min(around.time[0] - fall.starts[1], -1.0), 0.0, 40)
        look = as_force(around, fall, as_filtered(around, fall, around.time[:1]).fixed.shape[-1], back)
        force = np.concatenate([look.fixed[1], bend * look.bends[1], factor * look.softening[1]], axis=1)
        before_n = force @ factors[: force.shape[1]] + soft * SOFTENING[0] * look.softening[1].sum(-1)
        whole = np.linspace(around.time[0], around.time[-1], 120)
        columns, mean = design(whole)
        return Inspected(
            misfit=float(np.sqrt(np.mean((noise * duals) ** 2))),
            surprise=float(np.max(np.abs(duals) / np.sqrt(np.diagonal(inverse)))),
            before=fall.starts[1] + back,
            before_n=before_n[:-3],
            seen=whole,
            seen_n=columns @ factors + mean,
        )

    def _curved(self, fall: FilteredFall) -> Array:
        """What a straight change with the middle leaves out between two of a row: (middles, times), in newtons."""
        inside = np.abs(self.around.time - fall.middles[:, None] - fall.lag) < 2.5 + 0.5 * fall.duration
        return np.where(inside, 0.05 * self.around.fall_n * fall.step**2, 0.0)

    def _rough(self, fall: FilteredFall) -> Array:
        """What a shape with a few knots leaves out of a tear: (middles, times), in newtons."""
        u = self.around.time - fall.starts[:, None]
        lasts = 0.0 if fall.durations.sudden else fall.duration
        inside = (u > 0.0) & (u < lasts + fall.order)
        return np.where(inside, FALL_ROUGHNESS * self.around.fall_n * lasts / (1.0 + lasts), 0.0)


def _product(left: Array, right: Array) -> Array:
    return left @ np.swapaxes(right, -1, -2)


def _whiten(covariance: Array, load: Array, cross: Array) -> tuple[Array, Array, Array]:
    """Load and cross covariances through the inverse Cholesky factor, and half the log determinant.

    covariance (..., n, n), load (..., n), cross (..., n, k) -> (..., n), (..., k, n), (...). The factor of a
    larger matrix, bordered by both, holds all of them: cheaper than solving.
    """
    n, k = cross.shape[-2:]
    bordered = np.zeros((*covariance.shape[:-2], n + k + 1, n + k + 1))
    bordered[..., :n, :n] = covariance
    bordered[..., n, :n] = load
    bordered[..., n + 1 :, :n] = np.swapaxes(cross, -1, -2)
    border = np.arange(n, n + k + 1)
    bordered[..., border, border] = _HUGE
    factor = _factor(bordered)
    inside = np.arange(n)
    log_determinant = np.log(factor[..., inside, inside]).sum(-1)
    return factor[..., n, :n], factor[..., n + 1 :, :n], log_determinant


def _factor(matrices: Array) -> Array:
    """Cholesky factors. Terms that all but agree, as after a hole in the samples, leave a matrix that rounding errors
    make indefinite: then a trifle is added to its diagonal, more if need be. Raises: LinAlgError if nothing helps."""
    for trifle in (0.0, 1e-12, 1e-9):
        lifted = matrices
        if trifle:
            diagonal = np.arange(matrices.shape[-1])
            lifted = matrices.copy()
            lifted[..., diagonal, diagonal] *= 1.0 + trifle
        try:
            return np.asarray(np.linalg.cholesky(lifted))
        except np.linalg.LinAlgError:
            continue
    raise np.linalg.LinAlgError("the samples around the fall do not fit the model")


def shares(log_evidence: Array) -> Array:
    """Weights that sum to one."""
    relative = np.exp(log_evidence - log_evidence.max())
    return np.asarray(relative / relative.sum())
