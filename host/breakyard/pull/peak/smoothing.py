"""The crest of a noisy curve: smoothed as widely as the curve itself allows, and no wider.

Local parabolas of many widths are tried (Savitzky and Golay, Anal. Chem. 36, 1627 (1964)). The widest is taken whose
curve the narrower ones do not contradict anywhere near the crest by more than their noise (the test over many scales
of Davies and Kovac, Ann. Statist. 29, 1 (2001)). So the bandwidth is what the event needs: a sharp crest is hardly
smoothed, a plateau over all of its length. What a mean over some time is worth is taken from the quiet part where
there is one: hum averages out over its period, white noise as the root of the number of samples.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.noise import STEADY
from breakyard.pull.results import Smoothing

Array = NDArray[np.float64]

HALF_WIDTHS: Final = (1, 2, 3, 4, 6, 8, 11, 15, 21, 30, 42, 60, 85, 120, 170, 240, 340, 480, 680, 960)

NEARBY: Final = 3.0
"""The narrower curves are held against the wider one within this many half-widths of its crest."""

CONTINUOUS: Final = 0.532
"""-3 dB bandwidth times half of the width, of a parabola through a continuous curve; a bracket for the sampled one."""

AT_THE_END: Final = 3.0
"""A parabola's end is less sure than its middle by this factor: sqrt(9/n) against sqrt(9/(4 n)), and the choice."""

FEWEST_QUIET: Final = 12
"""Samples of nothing that tell what noise is, ..."""

ROUGHER: Final = 2.0
"""... to this factor: so much louder than there it may be under load."""


@dataclass(frozen=True, slots=True)
class Crest:
    """The crest of a stretch of samples."""

    level_n: float
    standard_n: float
    index: int
    half_width: int
    """Samples on either side that were averaged; 0: the largest sample itself."""

    def bandwidth_hz(self, period_s: float) -> float:
        """-3 dB bandwidth: where the frequency response of the weights, sum of w_i cos(2 pi f i), is 1/sqrt(2)."""
        from scipy.optimize import brentq

        i, weights = np.arange(-self.half_width, self.half_width + 1), _weights(self.half_width)

        def above(cycles: float) -> float:
            return float(weights @ np.cos(2.0 * np.pi * cycles * i)) - math.sqrt(0.5)

        return float(brentq(above, 0.0, min(0.5, 1.3 * CONTINUOUS / (self.half_width + 0.5)))) / period_s

    def told(self, period_s: float) -> Smoothing | None:
        """How it was averaged; None if it was not."""
        if not self.half_width:
            return None
        return Smoothing(2 * self.half_width + 1, self.bandwidth_hz(period_s))


def hump_around(load: Array, top: int, noise_n: float, share: float) -> tuple[int, int]:
    """First sample and the one past the last around `top` where the load stays above a share of its and no other
    hump, higher by more than noise, begins."""
    high = float(load[top])
    away = np.flatnonzero((load[:top] < share * high - 4.0 * noise_n) | (load[:top] > high + 6.0 * noise_n))
    begin = int(away[-1]) + 1 if len(away) else 0
    later = load[top:]
    low = np.flatnonzero(later < share * high - 4.0 * noise_n)
    end = top + int(low[0]) if len(low) else len(load)
    higher = np.flatnonzero(later > high + 6.0 * noise_n)
    if len(higher) and top + int(higher[0]) < end:
        end = top + max(1, int(np.argmin(later[: int(higher[0])])))
    return begin, end


def find_crest(load: Array, noise_n: float, quiet: Array) -> Crest:
    """The crest of a stretch that has no sudden fall in it. quiet: samples of nothing, at the same rate."""
    top = int(np.argmax(load))
    best, own = Crest(float(load[top]), noise_n, top, 0), noise_n
    curves: list[tuple[Array, float, int]] = [(load, max(noise_n, scatter_of(quiet)), 0)]
    for half in HALF_WIDTHS:
        if 2 * half + 1 > len(load):
            break
        curve = _smoothed(load, half)
        white = noise_n * math.sqrt(9.0 / (4.0 * (2 * half + 1)))
        seen = scatter_of(_smoothed(quiet, half)[half:-half]) if len(quiet) >= 8 * half + 8 else white
        sure = max(white, seen)
        # A corner somewhere bears no smoothing; a wider curve may still do for the crest, away from it.
        fits = _not_contradicted(curve, curves, half)
        curves.append((curve, sure, half))
        if not fits.any():
            continue
        at = int(np.argmax(np.where(fits, curve, -np.inf)))
        if best.level_n - curve[at] > 0.8 * own * _excess(len(load), best.half_width):
            continue  # elsewhere it was higher than noise alone makes the largest of that number
        own = sure
        edge = at < half or at >= len(load) - half
        best = Crest(float(curve[at]), sure * (AT_THE_END if edge else 1.3), at, half)
    return best


def _not_contradicted(curve: Array, curves: list[tuple[Array, float, int]], half: int) -> NDArray[np.bool_]:
    """Where no narrower curve differs, within NEARBY half-widths, by more than noise explains."""
    reach = int(NEARBY * half)
    wrong = np.zeros(len(curve) + 1, dtype=np.intp)
    for narrow, standard, width in curves:
        away = np.flatnonzero(np.abs(curve - narrow) > _likely(standard, 2 * reach + 1, width))
        np.add.at(wrong, np.maximum(away - reach, 0), 1)
        np.add.at(wrong, np.minimum(away + reach + 1, len(curve)), -1)
    return np.asarray(np.cumsum(wrong[:-1]) == 0)


def _likely(standard: float, samples: int, half: int) -> float:
    """How far the largest of `samples` smoothed samples of noise may lie above its mean."""
    return 1.25 * standard * (_excess(samples, half) + 0.5)


def _excess(samples: int, half: int) -> float:
    """Largest of `samples` samples of white noise, smoothed so, on the average: sqrt(2 ln n) of n independent ones."""
    return math.sqrt(2.0 * math.log(max(samples / (half + 1), 1.0) + 2.0))


def _smoothed(load: Array, half: int) -> Array:
    """A parabola through the samples around each; at the ends the parabola through the last ones."""
    i, weight = np.arange(-half, half + 1), _weights(half)
    if len(load) < 2 * half + 1:
        return load
    answer = np.empty_like(load)
    answer[half : len(load) - half] = np.convolve(load, weight, mode="valid")
    for end, inner in (
        (slice(None, 2 * half + 1), slice(None, half)),
        (slice(-2 * half - 1, None), slice(-half, None)),
    ):
        fit = np.polynomial.polynomial.polyfit(i / half, load[end], min(2, 2 * half))
        answer[inner] = np.polynomial.polynomial.polyval(i[inner] / half, fit)
    return answer


def _weights(half: int) -> Array:
    """What each sample counts for in the middle of a parabola through 2 `half` + 1 of them; of three, a mean."""
    if half == 1:
        return np.array([0.25, 0.5, 0.25])
    i = np.arange(-half, half + 1)
    size = (2 * half - 1) * (2 * half + 1) * (2 * half + 3)
    return np.asarray((3.0 * (3 * half * half + 3 * half - 1) - 15.0 * i**2) / size)


def noise_where_quiet(quiet: Array, noise_n: float) -> float:
    """Noise of one sample: what the whole recording says, or less where its quiet part is so much quieter.

    Peeling, sliding and strokes are rough all along; that is the load, and not to be averaged out. A quiet part that
    never changes (a display that holds on to zero) says nothing.
    """
    seen = scatter_of(quiet) if len(quiet) >= FEWEST_QUIET else 0.0
    return min(noise_n, ROUGHER * seen) if seen > 0.0 else noise_n


def scatter_of(quiet: Array) -> float:
    """Standard deviation, robust against knocks; 0 of nothing."""
    if len(quiet) < 8:
        return 0.0
    return STEADY * float(np.median(np.abs(quiet - np.median(quiet))))
