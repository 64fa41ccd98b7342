"""How a load falls when something lets go: how long that takes and in what shape, before any sample is seen.

Common practice, no source: a stiff part lets go within a millisecond or two, a tearing one takes tens of them,
and what tears has often begun to give just before.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise, product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.response import filtered_power

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Durations:
    """Falls that last from shortest_s to longest_s, any of them alike."""

    shortest_s: float
    longest_s: float
    weight: float
    """Prior probability."""
    softening: float
    """Prior probability that the part has begun to give in the last moments before the fall."""
    shape: tuple[float, float] | None = None
    """Exponents of the Beta distribution near which the shape is; None for any."""

    @property
    def sudden(self) -> bool:
        """Whether the falls are so short that their shape does not show."""
        return self.shortest_s == 0.0

    @property
    def spread_s(self) -> tuple[float, float]:
        """One standard deviation below the mean duration, and one above."""
        middle, half = 0.5 * (self.shortest_s + self.longest_s), 0.5 * (self.longest_s - self.shortest_s)
        return middle - half / 3**0.5, middle + half / 3**0.5

    @property
    def typical_s(self) -> float:
        """Root of the mean square: what the filter shows of a fall follows the square of its duration."""
        low, high = self.spread_s
        return math.sqrt(0.5 * (low**2 + high**2))

    def parts(self, period_s: float) -> tuple["Durations", ...]:
        """The same falls, by narrower durations and by shape, as far as the filter shows these."""
        if self.longest_s < _SHAPELESS * period_s:
            return (self,)
        number = int(np.ceil((self.longest_s - self.shortest_s) / (_NARROW * period_s)))
        edges = np.geomspace(self.shortest_s, self.longest_s, number + 1)
        each = self.weight / (number * len(SHAPES))
        return tuple(
            replace(self, shortest_s=float(low), longest_s=float(high), weight=each, shape=shape)
            for low, high in pairwise(edges)
            for shape in SHAPES
        )

    def between(self, shortest_s: float, longest_s: float, number: int) -> tuple["Durations", ...]:
        """The falls of these durations, in this many parts; a few at the near end if none does."""
        least = 0.05 * (self.longest_s - self.shortest_s)
        first = min(max(shortest_s, self.shortest_s), self.longest_s - least)
        edges = np.linspace(first, max(min(longest_s, self.longest_s), first + least), number + 1)
        share = float(edges[1] - edges[0]) / (self.longest_s - self.shortest_s)
        return tuple(
            replace(self, shortest_s=float(low), longest_s=float(high), weight=self.weight * share)
            for low, high in pairwise(edges)
        )


DURATIONS: Final = (
    Durations(0.0, 0.002, 0.70, 0.15),
    Durations(0.002, 0.004, 0.06, 0.5),
    Durations(0.004, 0.008, 0.06, 0.5),
    Durations(0.008, 0.016, 0.06, 0.5),
    Durations(0.016, 0.032, 0.06, 0.5),
    Durations(0.032, 0.064, 0.06, 0.5),
)
"""Most falls are short; of the others each doubling of the duration is as likely as the next."""

KNOTS: Final = 5
"""The rate of fall is a broken line through this many values, from the start of the fall to its end."""

EXPONENTS: Final = {1.0: 0.5, 1.5: 0.125, 2.0: 0.125, 2.5: 0.125, 3.0: 0.125}
"""Exponents of Beta distributions, with weights: at 1 the fall starts (ends) at full rate, at more softly."""

SHAPES: Final = ((1.0, 1.0), (2.0, 2.0), (2.0, 1.0), (1.0, 2.0))
"""Shapes near which most falls are: even, smooth, faster and faster, slower and slower."""

NEARNESS: Final = 0.3
"""How far from one of these they are, as a fraction of how far shapes of any kind are from their mean."""

DEVIATIONS: Final = 3
"""Independent deviations from the mean shape that are kept: the rest is under a tenth of the largest."""


_SHAPELESS: Final = 0.7
"""The shape of a fall that lasts less than this, in conversions, hardly shows."""

_NARROW: Final = 0.7
"""Durations within one part differ by no more than about this, in conversions."""


@lru_cache(maxsize=8)
def rates(shape: tuple[float, float] | None) -> Array:
    """Rate of fall at the knots: the usual one, then deviations of one standard deviation: (1 + DEVIATIONS, KNOTS).

    Mean and covariance are those of a family of Beta distributions; each shape falls by one in all.
    """
    weight = np.array([p * q for p, q in product(EXPONENTS.values(), EXPONENTS.values())])
    rate = np.array([_broken_line(p, q) for p, q in product(EXPONENTS, EXPONENTS)])
    mean = weight @ rate
    covariance = (weight[:, None] * (rate - mean)).T @ (rate - mean)
    sizes, directions = np.linalg.eigh(covariance)
    deviations = (np.sqrt(np.maximum(sizes, 0.0)) * directions).T[::-1][:DEVIATIONS]
    if shape is None:
        return np.concatenate([mean[None], deviations])
    return np.concatenate([_broken_line(*shape)[None], NEARNESS * deviations])


def _broken_line(p: float, q: float) -> Array:
    """The broken line closest to the density of a Beta distribution, by its values at the knots."""
    x = (np.arange(400) + 0.5) / 400
    hats = np.maximum(1.0 - np.abs(x[:, None] * (KNOTS - 1) - np.arange(KNOTS)), 0.0)
    line = np.linalg.lstsq(hats, x ** (p - 1.0) * (1.0 - x) ** (q - 1.0), rcond=None)[0]
    return np.asarray(line / np.mean(hats @ line))


def filtered_falls(u: Array, duration: Array | float, order: int, shapes: Array) -> Array:
    """The share that has fallen, through the filter, for some shapes, which come first: (shapes, *u.shape).

    u: time since the start of the fall. duration: in conversions, above zero, one for all or against the axes of
    u. shapes: rate of fall at evenly spaced knots, (shapes, knots), at least two.
    """
    number = shapes.shape[1]
    lasts = np.asarray(duration)[..., None]
    ends = filtered_power(u[..., None] - lasts * np.array([0.0, 1.0]), 1, order)
    fallen = ends @ np.stack([shapes[:, 0], -shapes[:, -1]])
    if number > 2:
        knots = np.arange(number) / (number - 1)
        slopes = np.pad(np.diff(shapes, axis=1) * (number - 1), ((0, 0), (1, 1)))
        fallen = fallen + filtered_power(u[..., None] - lasts * knots, 2, order) @ np.diff(slopes).T / lasts
    return np.moveaxis(fallen / lasts, -1, 0)
