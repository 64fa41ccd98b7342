"""The analog-to-digital converter of the simulated logger: bridge output in mV/V -> counts.

Each conversion is the input averaged by a sinc decimator of order 3 or 4 whose every stage is one conversion
period long: the continuous limit of the cascaded integrator-comb filter (Hogenauer 1981, IEEE Trans. ASSP 29,
155). Its impulse response is the cardinal B-spline of that order (Schoenberg 1946), so a conversion depends
on the last `order` periods and on nothing else. The data sheet names no filter; it says only that four
conversions settle, which is what order 4 does exactly and order 3 within it.

The convolution is exact (to rounding) for an input that is linear between its knots.

Not simulated: the start-up transient (the input is taken to have had its first value for ever), correlation
between the noise of neighbouring conversions, jitter of the converter's clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb, factorial
from typing import Final, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from breakyard.errors import UsageError

T = TypeVar("T", bound=np.generic)

RAIL_LOW: Final = -(2**23)
RAIL_HIGH: Final = 2**23 - 1
"""Data sheet: outside its range the output stays at 800000h or 7FFFFFh."""

GAINS: Final = (128, 64, 32)


def counts_per_mv_v(gain: int) -> float:
    """Counts for one mV/V. Ratiometric, so exact: full scale is +-0.5 AVDD / gain (data sheet)."""
    return gain * 2**24 / 1000


@dataclass(frozen=True, slots=True)
class Tone:
    """A steady sine that is picked up at the input (hum), before the filter."""

    hz: float
    mv_v: float
    """Amplitude."""
    turn: float = 0.0
    """Phase at time 0, radians."""


@dataclass(frozen=True, slots=True)
class Converter:
    """One converter: its true rate (80/s nominal, 75 to 95 seen), filter, gain and noise.

    `noise_nv` is the standard deviation of a conversion referred to the input: 90 nV at 80/s and gain 128 in
    the data sheet, which states no other gain. `phase` in (0, 1] places the first conversion that many
    periods after the start of the input.
    """

    rate_hz: float = 80.0
    filter_order: int = 4
    gain: int = 128
    noise_nv: float = 90.0
    supply_v: float = 5.0
    phase: float = 1.0
    tones: tuple[Tone, ...] = ()

    def __post_init__(self) -> None:
        if not 1.0 <= self.rate_hz <= 1000.0:
            raise UsageError(
                f"a converter at {self.rate_hz:g}/s: the rate must lie between 1 and 1000 per second"
            )
        if self.filter_order not in range(1, 6):
            raise UsageError(f"filter order {self.filter_order}: it must be 1 to 5")
        if self.gain not in GAINS:
            raise UsageError(f"gain {self.gain}: the converter has 128, 64 and 32")
        if not 0.0 < self.phase <= 1.0:
            raise UsageError(f"phase {self.phase:g}: it must lie above 0 and up to 1")

    @property
    def period_s(self) -> float:
        return 1.0 / self.rate_hz

    @property
    def noise_counts(self) -> float:
        """Standard deviation of one conversion in counts."""
        lsb_nv = 1e9 * 0.5 * self.supply_v / self.gain / 2**23
        return self.noise_nv / lsb_nv


@dataclass(frozen=True, slots=True)
class Glitch:
    """One wrong reading, of the conversion nearest to `time_s`.

    Either `add` counts are added (a disturbed read) or the whole reading is `value` (bits lost: 2**n - 1, 0,
    -1).
    """

    time_s: float
    add: int = 0
    value: int | None = None


@dataclass(frozen=True, slots=True)
class Faults:
    """What goes wrong on the way: all of it listed or drawn at random, none by default."""

    missed_fraction: float = 0.0
    """Each conversion is lost with this probability (it was not read in time)."""
    missed: tuple[int, ...] = ()
    """Numbers of conversions that are lost, counted from 0."""
    glitches: tuple[Glitch, ...] = ()
    glitch_fraction: float = 0.0
    """Each conversion becomes, with this probability, one of the wrong patterns."""

    def __post_init__(self) -> None:
        for name in ("missed_fraction", "glitch_fraction"):
            if not 0.0 <= getattr(self, name) < 1.0:
                raise UsageError(f"{name} {getattr(self, name):g}: it must be at least 0 and below 1")


NO_FAULTS: Final = Faults()

WRONG_PATTERNS: Final = (8388607, 4194303, 2097151, 1048575, 0, -1)
"""Readings with lost bits, as reported by users of the chip."""


@dataclass(frozen=True, slots=True)
class Conversions:
    """What the logger could read: `n` conversions with their times, and what was done to them.

    Arrays are read-only and of shape (n,). `clean_counts` is the truth: before hum, noise, rounding, rails,
    glitches.
    """

    time_s: NDArray[np.float64]
    """When each result became ready, from the start of the input."""
    counts: NDArray[np.int32]
    number: NDArray[np.int64]
    """Number of each conversion since the start; a hole is a missed one."""
    clean_counts: NDArray[np.float64]
    missed: tuple[int, ...]
    """Numbers of the missed conversions."""
    glitches: tuple[int, ...]
    """Indices (into the arrays) of the glitched ones."""

    @property
    def clipped(self) -> NDArray[np.bool_]:
        """Conversions on a rail, glitches included."""
        return np.asarray((self.counts == RAIL_HIGH) | (self.counts == RAIL_LOW))


def filter_pieces(order: int) -> NDArray[np.float64]:
    """Polynomial pieces of the impulse response: shape (order, order), row j, column m.

    In the period that lies j periods back from a conversion the response is sum_m c[j, m] u**m, with u from 0
    (start of that period) to 1 (its end), per period. The response integrates to one.
    Source: the truncated-power form of the cardinal B-spline (Schoenberg 1946).
    """
    pieces = np.zeros((order, order))
    for back in range(order):
        for i in range(back + 1):
            weight = (-1) ** i * comb(order, i) / factorial(order - 1)
            for m in range(order):
                pieces[back, m] += weight * comb(order - 1, m) * (back + 1 - i) ** (order - 1 - m) * (-1) ** m
    return pieces


def filtered(
    time_s: ArrayLike, value: ArrayLike, *, first_s: float, period_s: float, number: int, order: int
) -> NDArray[np.float64]:
    """Convolve a piecewise linear input with the filter, at `number` instants from `first_s` on.

    `time_s` and `value`: knots, shape (k,), times strictly rising; held constant before and after. Exact:
    each period's moments are integrated by three-point Gauss-Legendre between knots, which is exact to degree
    5. Returns shape (number,), in the unit of `value`. Raises: UsageError for times that do not rise.
    """
    knot_s = np.asarray(time_s, dtype=np.float64)
    level = np.asarray(value, dtype=np.float64)
    if knot_s.ndim != 1 or knot_s.shape != level.shape or knot_s.size < 1 or np.any(np.diff(knot_s) <= 0.0):
        raise UsageError("the input of the converter needs one value for each of its strictly rising times")
    edges = first_s + period_s * np.arange(-order, number)
    inside = knot_s[(knot_s > edges[0]) & (knot_s < edges[-1])]
    grid = np.union1d(edges, inside)
    at = np.interp(grid, knot_s, level)
    starts = np.searchsorted(grid, edges[:-1])
    period = np.repeat(np.arange(edges.size - 1), np.diff(np.append(starts, grid.size - 1)))
    half = 0.5 * np.diff(grid)
    middle_u = (0.5 * (grid[1:] + grid[:-1]) - edges[period]) / period_s
    half_u = half / period_s
    middle, slope = 0.5 * (at[1:] + at[:-1]), 0.5 * np.diff(at)
    moments = np.zeros((order, edges.size - 1))
    for node, weight in zip(*np.polynomial.legendre.leggauss(3), strict=True):
        u = middle_u + node * half_u
        term = weight * half_u * (middle + node * slope)
        for m in range(order):
            moments[m] += np.add.reduceat(term, starts)
            term = term * u
    by_piece = filter_pieces(order) @ moments
    return np.asarray(
        sum(by_piece[back, order - 1 - back : order - 1 - back + number] for back in range(order))
    )


def convert(
    time_s: ArrayLike, input_mv_v: ArrayLike, converter: Converter, *, seed: int, faults: Faults = NO_FAULTS
) -> Conversions:
    """Convert a bridge output, given as knots in mV/V, from its first to its last instant.

    The same arguments give the same bytes. Raises: UsageError when the input is shorter than one period.
    """
    knots = np.asarray(time_s, dtype=np.float64)
    period = converter.period_s
    number = int(np.floor((knots[-1] - knots[0]) / period - converter.phase + 1e-9)) + 1
    if number < 1:
        raise UsageError("the input is shorter than one conversion period")
    first = float(knots[0]) + converter.phase * period
    mv_v = filtered(
        knots, input_mv_v, first_s=first, period_s=period, number=number, order=converter.filter_order
    )
    clean = mv_v * counts_per_mv_v(converter.gain)
    ready = np.asarray(first + period * np.arange(number), dtype=np.float64)
    hum = _hum(ready, converter) * counts_per_mv_v(converter.gain)
    noise_rng, miss_rng, glitch_rng = (np.random.default_rng([seed, stream]) for stream in range(3))
    counts = np.rint(clean + hum + converter.noise_counts * noise_rng.standard_normal(number))
    glitched = _glitch(counts, ready, faults, glitch_rng)
    counts = np.clip(counts, RAIL_LOW, RAIL_HIGH).astype(np.int32)
    kept = miss_rng.random(number) >= faults.missed_fraction
    kept[[n for n in faults.missed if 0 <= n < number]] = False
    return Conversions(
        time_s=_frozen(ready[kept]),
        counts=_frozen(counts[kept]),
        number=_frozen(np.flatnonzero(kept)),
        clean_counts=_frozen(clean[kept]),
        missed=tuple(np.flatnonzero(~kept).tolist()),
        glitches=tuple(np.flatnonzero(glitched[kept]).tolist()),
    )


def part(conversions: Conversions, *, from_s: float = -np.inf, until_s: float = np.inf) -> Conversions:
    """The conversions that became ready from one instant to another, both included."""
    kept = (conversions.time_s >= from_s) & (conversions.time_s <= until_s)
    index = np.flatnonzero(kept)
    glitched = np.searchsorted(index, [at for at in conversions.glitches if kept[at]])
    number = conversions.number[kept]
    return Conversions(
        time_s=_frozen(conversions.time_s[kept]),
        counts=_frozen(conversions.counts[kept]),
        number=_frozen(number),
        clean_counts=_frozen(conversions.clean_counts[kept]),
        missed=tuple(at for at in conversions.missed if number[0] < at < number[-1]) if number.size else (),
        glitches=tuple(glitched.tolist()),
    )


def _hum(ready: NDArray[np.float64], converter: Converter) -> NDArray[np.float64]:
    """What the filter lets through of the tones, in mV/V, shape (n,).

    A sinc decimator of order p and period T passes sin(2 pi f t) as H sin(2 pi f (t - p T / 2)) with
    H = (sin(pi f T) / (pi f T))**p (Hogenauer 1981, as above).
    """
    order, period = converter.filter_order, converter.period_s
    total = np.zeros(ready.size)
    for tone in converter.tones:
        passed = np.sinc(tone.hz * period) ** order
        total += tone.mv_v * passed * np.sin(2 * np.pi * tone.hz * (ready - 0.5 * order * period) + tone.turn)
    return total


def _glitch(
    counts: NDArray[np.float64], ready: NDArray[np.float64], faults: Faults, rng: np.random.Generator
) -> NDArray[np.bool_]:
    """Spoil counts in place; return which were spoilt."""
    spoilt = rng.random(counts.size) < faults.glitch_fraction
    counts[spoilt] = rng.choice(WRONG_PATTERNS, size=int(spoilt.sum()))
    for glitch in faults.glitches:
        at = int(np.argmin(np.abs(ready - glitch.time_s)))
        counts[at] = counts[at] + glitch.add if glitch.value is None else glitch.value
        spoilt[at] = True
    return spoilt


def _frozen(values: NDArray[T]) -> NDArray[T]:
    values.flags.writeable = False
    return values


def from_counts(time_s: ArrayLike, counts: Sequence[int] | NDArray[np.int32]) -> Conversions:
    """Conversions of given counts, for feeds that no pull made (rails, ramps of a test)."""
    times = np.array(time_s, dtype=np.float64)
    values = np.array(counts, dtype=np.int32)
    return Conversions(
        _frozen(times),
        _frozen(values),
        _frozen(np.arange(values.size)),
        _frozen(values.astype(np.float64)),
        (),
        (),
    )
