"""How well a filter of each order explains one fall, with its instant, its duration and the ringing unknown.

The force is taken to fall evenly within an unknown short time, and then to ring. Levels, slow sway before the cut
and ringing are known up to Gaussian factors; with them integrated out the samples have a fixed covariance, and what
is left is a sum over the duration of the fall and a line through its instant.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.cuts import Cut
from breakyard.converter.response import filtered_exponentials, filtered_power

Array = NDArray[np.float64]

CANDIDATES: Final = (1, 2, 3, 4, 5, 6)
"""Orders that are tried; the data sheet's settling time speaks for 3 or 4."""

QUICK_S: Final = 0.0015
SLOW_S: Final = 0.008
SLOW_SHARE: Final = 0.4
"""Durations of a fall: two exponentials, of thin cord and of cord that stretches. Common practice, no source."""

RING_SIZES: Final = (0.001, 0.02, 0.1)
"""Size of the ringing, as a share of the mass, tried with equal weight."""

RING_CYCLES: Final = (0.05, 0.1, 0.16, 0.22, 0.29, 0.37, 0.45)
"""Cycles per conversion (4 to 36 Hz at 80 a second)."""

RING_DECAY: Final = 8.0
RING_ROUGHNESS: Final = 0.02
"""What a few oscillations with one decay leave unexplained, as a fraction of the ringing's size."""

SWAY: Final = 0.0005
"""Slow change of the load before the cut, as a share of the mass per conversion."""

LEVEL_AFTER: Final = 0.002
STAMP_S: Final = 50e-6
"""Standard uncertainty of a sample's time: 20 us steps and the wait for the reading."""

DURATIONS: Final = np.concatenate([np.arange(0.01, 1.6, 0.02), np.geomspace(1.62, 16.0, 40)])
"""Durations of the fall that are tried, in conversions."""


@dataclass(frozen=True, slots=True)
class Fit:
    """One fall through a filter of one order."""

    order: int
    log_evidence: float
    half_way: float
    """When half is left, in conversions from the cut's own estimate of that."""
    duration: float
    """Likeliest duration of the fall, in conversions."""
    misfit: float
    """Root mean square of the residuals over what noise explains: near 1 if the filter fits."""
    ring: float
    """Likeliest size of the ringing, as a share of the mass: one of those tried."""
    left: Array
    """The samples without what is likely ringing, sway and level: the fall alone, shape (n,)."""


def fit_orders(cut: Cut) -> tuple[Fit, ...]:
    """The fall through each candidate order, in the order of CANDIDATES."""
    return tuple(_fit(cut, order) for order in CANDIDATES)


def _fit(cut: Cut, order: int) -> Fit:
    widths = np.gradient(DURATIONS)
    seconds = DURATIONS * cut.period_s
    density = (1.0 - SLOW_SHARE) / QUICK_S * np.exp(-seconds / QUICK_S)
    density += SLOW_SHARE / SLOW_S * np.exp(-seconds / SLOW_S)
    log_prior = np.log(density * cut.period_s * widths)
    evidence, instants, errors = [], [], []
    for ring in RING_SIZES:
        noise, terms = _scatter(cut, order, ring)
        lower = np.asarray(np.linalg.cholesky(terms @ terms.T + np.diag(noise)), dtype=np.float64)
        instant, squares, sharpness = _place(cut, order, lower)
        log_size = float(np.log(np.diagonal(lower)).sum())
        evidence.append(log_prior - 0.5 * squares - log_size - 0.5 * np.log(sharpness))
        instants.append(instant)
        errors.append(squares)
    table = np.array(evidence)
    ring, at = map(int, np.unravel_index(int(np.argmax(table)), table.shape))
    duration = float(DURATIONS[at])
    begun = float(instants[ring][at])
    noise, terms = _scatter(cut, order, RING_SIZES[ring])
    rest = cut.left - (1.0 - _gone(cut.at - begun, order, duration))
    shaken = terms @ terms.T @ np.linalg.solve(terms @ terms.T + np.diag(noise), rest)
    return Fit(
        order,
        float(np.logaddexp.reduce(table, axis=None)) - float(np.log(len(RING_SIZES))),
        begun + 0.5 * (order + duration),
        duration,
        float(np.sqrt(errors[ring][at] / len(cut.left))),
        RING_SIZES[ring],
        cut.left - shaken,
    )


def _scatter(cut: Cut, order: int, ring: float) -> tuple[Array, Array]:
    """What the samples hold besides the fall: variance of each sample's own (noise, time stamps), shape (n,), and
    levels, sway and ringing, each times its size, shape (n, terms).
    """
    u = cut.at + 0.5 * order  # since the cut, roughly
    gone = filtered_power(u, 0, order)
    slope = np.abs(np.gradient(cut.left, cut.at))
    noise = cut.noise**2 + (slope * STAMP_S / cut.period_s) ** 2
    noise = noise + np.where(u > 0.0, RING_ROUGHNESS * ring, 0.0) ** 2
    terms = [
        cut.noise / 4.0 * (1.0 - gone),
        LEVEL_AFTER * gone,
        SWAY * (u - 0.5 * order - filtered_power(u, 1, order)),
    ]
    share = ring / np.sqrt(len(RING_CYCLES))
    for cycles in RING_CYCLES:
        turning = share * filtered_exponentials(u, [-1.0 / RING_DECAY + 2j * np.pi * cycles], order)[0]
        terms += [turning.real, turning.imag]
    return noise, np.stack(terms, axis=1)


def _gone(u: Array, order: int, length: float | Array) -> Array:
    """Share of an even fall of that duration that samples at `u` show, u in conversions since it began."""
    return np.asarray((filtered_power(u, 1, order) - filtered_power(u - length, 1, order)) / length)


def _place(cut: Cut, order: int, lower: Array) -> tuple[Array, Array, Array]:
    """For each duration the best instant of the fall's begin, its sum of squares, and how sharp it is."""
    length = DURATIONS[:, None]
    instant = -0.5 * (order + DURATIONS)
    whiten = np.linalg.inv(lower).T

    def look(instant: Array) -> tuple[Array, Array]:
        u = cut.at - instant[:, None]
        gone = _gone(u, order, length)
        pace = (filtered_power(u, 0, order) - filtered_power(u - length, 0, order)) / length
        return (cut.left - (1.0 - gone)) @ whiten, pace @ whiten

    for _ in range(6):
        rest, pace = look(instant)
        instant = instant + np.clip((rest * pace).sum(1) / (pace**2).sum(1), -0.3, 0.3)
    rest, pace = look(instant)
    return instant, (rest**2).sum(1), (pace**2).sum(1)
