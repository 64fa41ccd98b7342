"""The forces around one fall, term by term, as the filter shows them.

Each term is a known shape times an unknown Gaussian factor; here are the shapes, times the factors' prior
standard deviations. Time is counted in conversions, force in newtons.

Before the fall the force is a straight line with hinges at fixed times, a steady bend, and perhaps a softening in
the last moments. From the start of the fall on it keeps its last value times the share that has not fallen, plus
a level, a slope and ringing. The middle and the duration of the fall, which are not linear, each get a term too:
the change of the whole curve with them, so that a coarse grid of both is enough.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.response import filtered_exponentials, filtered_power
from breakyard.pull.peak.ringing import Ring
from breakyard.pull.peak.shape import Durations, filtered_falls, rates

Array = NDArray[np.float64]

RING_CYCLES: Final = (0.08, 0.14, 0.2, 0.27, 0.35, 0.45)
"""Other oscillations, in cycles per conversion: 6 to 36 Hz at 80 a second, spread as the filter lets them through."""

RING_DECAY: Final = 10.0
"""Their decay time in conversions."""

TAILS: Final = (0.5, 1.5)
"""Decay times, in conversions, of what creeps back after the fall without turning."""

RING_FREEDOM: Final = 1.5
"""Prior size of the main oscillation, as a multiple of what the last samples show."""

RING_ERROR: Final = 0.7
"""The same for its change with frequency (by a hundredth of a cycle) and decay (by 1.3 times)."""

SOFTENING_SPANS: Final = (1.0, 2.0, 4.0)
"""A part may begin to give this many conversions before it lets go."""

NEAR: Final = 9.0
"""Conversions before the fall up to which bends have a size that is learnt."""

FAR: Final = 20.0
"""The slope may change at each conversion up to this far before the fall; little up to NEAR, freely beyond."""

LOOK_BACK: Final = -np.array([0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0])
"""The peak is the largest of the force at these times before the fall: a softening part peaks earlier."""

_LATEST_BEND: Final = 0.25
"""A bend nearer to the start of the fall than this, in conversions, could not be told from the fall."""


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the samples around a fall show at a glance. It sets the sizes of the terms."""

    time: Array
    load: Array
    falling: int
    """Index of the first sample that is clearly down."""
    period_s: float
    top_n: float
    after_n: float
    fall_n: float
    slope: float
    """Newtons per conversion before the fall: the unit of the bends."""
    bend_times: Array
    near: NDArray[np.bool_]
    ring: Ring | None


def look_around(time: Array, load: Array, falling: int, period_s: float, ring: Ring | None) -> Surroundings:
    """Take in a window of samples; time in conversions."""
    top = float(load[: falling + 1].max())
    near = slice(max(0, falling - 6), falling)
    slopes = np.diff(load[near]) / np.diff(time[near])
    slope = float(np.abs(np.median(slopes))) if len(slopes) else 0.0
    late = load[falling + 3 :] if len(load) > falling + 4 else load[-1:]
    # Bends sit at fixed times, not at distances from the unknown fall: else that would be placed where it
    # makes the fewest of them count. Their number goes on into a gap before the first fallen sample.
    expected = time[falling - 1] + 1.0
    distance = np.arange(1.0 - np.floor(max(time[falling] - expected, 0.0)), FAR)
    return Surroundings(
        time=time,
        load=load,
        falling=falling,
        period_s=period_s,
        top_n=top,
        after_n=float(late.mean()),
        fall_n=top - float(load[falling:].min()),
        slope=slope + 1e-4 * top,
        bend_times=expected - distance,
        near=distance < NEAR,
        ring=ring,
    )


@dataclass(frozen=True, slots=True)
class FilteredFall:
    """Falls of one duration (and its like) around a row of middles, through a filter of one order."""

    order: int
    durations: Durations
    period_s: float
    middles: Array
    local_slope: float
    """Of the force just before the fall, newtons per conversion, as well as it is known already."""

    @property
    def lag(self) -> float:
        return self.order / 2.0

    @property
    def step(self) -> float:
        return float(self.middles[1] - self.middles[0]) if len(self.middles) > 1 else 0.0

    @property
    def off_grid(self) -> float:
        """Standard deviation of the true middle from the nearest of the row."""
        return self.step / math.sqrt(12.0)

    @property
    def duration(self) -> float:
        return self.durations.typical_s / self.period_s

    @property
    def spread(self) -> tuple[float, float]:
        low, high = self.durations.spread_s
        return low / self.period_s, high / self.period_s

    @property
    def starts(self) -> Array:
        return self.middles - 0.5 * self.duration

    @property
    def ends(self) -> Array:
        return self.middles + 0.5 * self.duration


@dataclass(frozen=True, slots=True)
class Terms:
    """Shapes times prior sizes; each (middles, times, terms). All but `fixed` have sizes yet to be learnt."""

    fixed: Array
    bends: Array
    rings: Array
    softening: Array


def as_filtered(around: Surroundings, fall: FilteredFall, time: Array) -> Terms:
    """What the filter shows of each term at these times."""
    # With u conversions after the start of the fall, S(u) the share that has fallen by then, and P_p(u) what the
    # filter of order N makes of u^p / p! from 0 on (`filtered_power`). A steady line
    # u comes out as u - N / 2 (the filter's delay), u^2 as (u - N / 2)^2 + N / 12 (the variance of its weight). So,
    # in newtons:
    #   last value        top (1 - S)            slope before    3 s (u - N / 2 - P_1), which ends at the fall
    #   level after       top S                  slope after     0.02 top P_1(u - duration)
    #   hinge at h        s (P_1(t - h) - (t - h - N / 2)): the line is extended backwards, so that the last value stays
    #   steady bend       s (((u - N / 2)^2 + N / 12) / 2 - P_2(u))
    #   softening over w  -s ((P_2(u + w) - P_2(u)) / w - P_1(u) - w S / 2)
    # with s the slope seen before the fall, N per conversion; the numbers are prior standard deviations (own choice).
    order, slope = fall.order, around.slope
    u = time - fall.starts[:, None]
    after = time - fall.ends[:, None]
    shapes = np.ones((1, 2)) if fall.durations.sudden else rates(fall.durations.shape)
    fallen, *others = filtered_falls(u, fall.duration, order, shapes)
    since_1, since_2 = filtered_power(u, 1, order), filtered_power(u, 2, order)
    fixed = [
        around.top_n * (1.0 - fallen),
        3.0 * slope * (u - fall.lag - since_1),
        around.top_n * fallen,
        0.02 * around.top_n * filtered_power(after, 1, order),
        *_moved(around, fall, time, shapes[:1]),
        *(around.fall_n * other for other in others),
        *_main_ring(around, fall, after),
    ]
    hinge = time[:, None] - around.bend_times
    bent = slope * (filtered_power(hinge, 1, order) - (hinge - fall.lag))
    bends = bent * _before(around, fall)[:, None]
    steady = 0.5 * ((u - fall.lag) ** 2 + order / 12.0) - since_2
    # The slope is given up evenly over the span; the w / 2 slopes that this took are missing until the fall has taken
    # all.
    spans = np.array(SOFTENING_SPANS)
    begun = filtered_power(u[..., None] + spans, 2, order)
    softening = -slope * (
        (begun - since_2[..., None]) / spans - since_1[..., None] - 0.5 * spans * fallen[..., None]
    )
    return Terms(
        np.concatenate([np.stack(fixed, axis=-1), bends[..., ~around.near]], axis=-1),
        np.concatenate([bends[..., around.near], slope * steady[..., None]], axis=-1),
        around.fall_n * _other_rings(around, fall, after),
        softening,
    )


def as_force(around: Surroundings, fall: FilteredFall, number: int, back: Array = LOOK_BACK) -> Terms:
    """The force itself at times from the start of the fall, in the terms of `as_filtered` (`number` of them `fixed`).

    back: times up to the start of the fall, so none above zero. Three rows follow: how far the middle lies from
    the grid, how far the duration lies from the typical one, and the slope just before the fall.
    """
    # The same terms at v <= 0 conversions from the start of the fall, not filtered: top, 3 s v, hinges s max(h - t,
    # 0), s v^2 / 2, and -s max(v + w, 0)^2 / (2 w). At v = 0 the two that are no forces (a later middle, a longer
    # duration) move the end of the line by as much as they move the start of the fall.
    rows, slope, middles = len(back) + 3, around.slope, len(fall.middles)
    moments = fall.starts[:, None] + back
    hinges = np.maximum(around.bend_times - moments[..., None], 0.0) * slope
    hinges = hinges * _before(around, fall)[:, None]
    hinges = np.concatenate([hinges, np.zeros((middles, 3, hinges.shape[-1]))], axis=1)
    first = np.zeros((rows, number - int((~around.near).sum())))
    first[:-3, 0], first[:-3, 1], first[-1, 1] = around.top_n, 3.0 * slope * back, 3.0 * slope
    low, high = fall.spread
    ends = np.flatnonzero(back == 0.0)
    first[ends, 4], first[ends, 5] = fall.local_slope * fall.off_grid, -0.25 * fall.local_slope * (high - low)
    first[-3, 4], first[-2, 5] = fall.off_grid, 0.5 * (high - low)
    steady = np.zeros((rows, 1))
    steady[:-3, 0] = 0.5 * slope * back**2
    softening = np.zeros((rows, len(SOFTENING_SPANS)))
    for j, span in enumerate(SOFTENING_SPANS):
        softening[:-3, j] = -slope * np.maximum(back + span, 0.0) ** 2 / (2.0 * span)
    softening[-1] = -slope

    def each(values: Array) -> Array:
        return np.broadcast_to(values, (middles, *values.shape))

    return Terms(
        np.concatenate([each(first), hinges[..., ~around.near]], axis=-1),
        np.concatenate([hinges[..., around.near], each(steady)], axis=-1),
        np.zeros((middles, rows, 0)),
        each(softening),
    )


def _before(around: Surroundings, fall: FilteredFall) -> NDArray[np.bool_]:
    """Which bends lie clearly before the fall, for each start of it."""
    return np.asarray(fall.starts[:, None] - around.bend_times > _LATEST_BEND)


def _moved(around: Surroundings, fall: FilteredFall, time: Array, shape: Array) -> list[Array]:
    """Change of the whole curve when the middle or the duration is one standard deviation higher."""
    # First order in the two that are not linear, by central differences over one standard deviation d of each:
    # (curve(x + d) - curve(x - d)) / 2, newtons. d is step / sqrt(12) of the middle, evenly spread between two of the
    # grid, and half the range / sqrt(3) of the duration (JCGM 100:2008, 4.3.7).
    low, high = fall.spread
    by = fall.off_grid
    moved = np.array([by, -by, 0.0, 0.0])[:, None, None]
    duration = np.array([fall.duration, fall.duration, high, low])[:, None, None]
    u = time - (fall.middles[:, None] + moved - 0.5 * duration)
    ahead = moved - 0.5 * (duration - fall.duration)  # the line goes on, or ends earlier
    fallen = filtered_falls(u, duration, fall.order, shape)[0]
    line = u - fall.lag - filtered_power(u, 1, fall.order)
    last = around.top_n + fall.local_slope * ahead
    curves = last * (1.0 - fallen) + fall.local_slope * line + around.after_n * fallen
    return [0.5 * (curves[0] - curves[1]), 0.5 * (curves[2] - curves[3])]


def _main_ring(around: Surroundings, fall: FilteredFall, after: Array) -> list[Array]:
    """The oscillation that the last samples show, and its change with frequency and decay."""
    ring = around.ring
    if ring is None:
        return []
    # Sized at the first fallen sample, not at the fall: else a fall hidden in a gap would be placed by the
    # size of the ringing after it.
    since_end = around.time[around.falling] - fall.ends[:, None]
    size = max(ring.size_n, 0.002 * around.fall_n) / abs(np.sinc(ring.cycles)) ** fall.order

    # exp((2 pi i f - 1 / T) v) after the end of the fall, cosine and sine of it each with a factor; what a filter of
    # order N leaves of it is sinc(f)^N, so the size seen is divided by that. Its changes with f (cycles per
    # conversion) and with the decay time T (conversions, as its logarithm) by central differences, as in `_moved`.
    variants = [
        (ring.cycles, ring.decay),
        (ring.cycles + 0.01, ring.decay),
        (ring.cycles - 0.01, ring.decay),
        (ring.cycles, 1.3 * ring.decay),
        (ring.cycles, ring.decay / 1.3),
    ]
    exponents = [2j * np.pi * cycles - 1.0 / decay for cycles, decay in variants]
    main, faster, slower, longer, shorter = size * filtered_exponentials(after, exponents, fall.order)
    # Each shrunk to its size at the first fallen sample.
    main, faster, slower, longer, shorter = (
        wave * np.exp(since_end / decay)
        for wave, (_, decay) in zip((main, faster, slower, longer, shorter), variants, strict=True)
    )
    error = 0.5 * RING_ERROR
    waves = RING_FREEDOM * main, error * (faster - slower), error * (longer - shorter)
    return [part for wave in waves for part in (wave.real, wave.imag)]


def _other_rings(around: Surroundings, fall: FilteredFall, after: Array) -> Array:
    """Oscillations of any other frequency, as fractions of the fall."""
    # Each of the frequencies has an equal part of the variance, hence the root of their number; the decay is counted
    # from the first fallen sample, as in `_main_ring`. Tails exp(-v / T) do not turn and so have no sine.
    since_end = around.time[around.falling] - fall.ends[:, None] - fall.lag
    share = np.exp(since_end / RING_DECAY) / np.sqrt(len(RING_CYCLES))
    turning = [2j * np.pi * cycles - 1.0 / RING_DECAY for cycles in RING_CYCLES]
    waves = filtered_exponentials(after, [*(-1.0 / tail for tail in TAILS), *turning], fall.order)
    tails, waves = waves[: len(TAILS)].real, share * waves[len(TAILS) :]
    return np.moveaxis(np.concatenate([tails, waves.real, waves.imag]), 0, -1)
