"""Zero, noise and onset from the quiet part before a pull, and the zero after it.

Nothing is compared with a fixed load. What counts as quiet follows from the recording's own noise, and the
onset is the corner of the best hinge through the samples around the departure from zero.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.noise import STEADY, noise_of
from breakyard.errors import NoPull

Array = NDArray[np.float64]

BLOCK_S: Final = 0.25
"""Quiet is judged by medians over this time, so that a knock of a hand does not end it."""

STAY_BLOCKS: Final = 3
"""A quiet stretch has at least so many blocks in a row; a shorter one amid a jerky pull is slack."""

ZERO_SPAN_S: Final = 30.0
"""The zero line is drawn through at most this much quiet time before the onset."""

GUARD_S: Final = 0.1
"""Left out before the onset: the filter looks ahead of no event, but the hinge has an error."""

PLAUSIBLE_DRIFT_PER_S: Final = 0.001 / 60
"""Fraction of the peak per second. Steeper lines in the quiet part are slack being drawn in, not drift of the
instrument (0.05 % of capacity per minute is a bad one), and are not extended to the peak. Common practice."""

SHIFT_FRACTION: Final = 0.002
"""A zero that moved by more than this fraction of the peak raises a flag (0.1 % of rated output is the usual
sign of an overloaded cell; a cell is commonly loaded to half of its rating)."""


@dataclass(frozen=True, slots=True)
class ZeroLine:
    """Load of nothing: level_n at `at_s`, changing by drift_n_per_s. Standard uncertainties beside them."""

    level_n: float
    standard_n: float
    drift_n_per_s: float
    drift_standard_n_per_s: float
    at_s: float
    noise_n: float
    onset_s: float
    onset: int
    """Index of the first sample after the onset."""
    start_s: float
    end_s: float
    quiet: bool
    """False when the recording began under load, so that the zero is a guess."""

    def load_n(self, time_s: Array) -> Array:
        """The zero at these times."""
        return self.level_n + self.drift_n_per_s * (time_s - self.at_s)

    def at_n(self, time_s: float) -> float:
        """The zero at one time."""
        return self.level_n + self.drift_n_per_s * (time_s - self.at_s)

    def standard_at_n(self, time_s: float) -> float:
        """Standard uncertainty of the zero at a time: it grows with the distance from the quiet part."""
        return float(np.hypot(self.standard_n, self.drift_standard_n_per_s * (time_s - self.at_s)))


def find_zero(time: Array, load: Array, *, force_zero_known: bool = False) -> ZeroLine:
    """Find the zero line, the noise and the onset of the pull whose largest sample is the recording's largest.

    time, load: usable samples without glitches, shape (n,). force_zero_known: the instrument gave forces, so
    that a recording which begins under load has its zero at 0.
    Raises: NoPull if nothing rises above the noise.
    """
    top = int(np.argmax(load))
    noise = noise_of(load)
    early = np.median(load[: max(3, min(top, 20))]) if top else load[0]
    height = float(load[top] - early)
    if height <= 8.0 * noise or height <= 0.0:
        raise NoPull("the load never rises clearly above its own noise; was the right channel recorded?")
    last_quiet = _last_quiet(time[: top + 1], load[: top + 1], noise, height)
    if last_quiet < 4:
        level = 0.0 if force_zero_known else float(load[: max(1, min(4, top))].min())
        doubt = 0.0 if force_zero_known else 0.005 * height
        return ZeroLine(
            level,
            doubt,
            0.0,
            0.0,
            float(time[0]),
            noise,
            float(time[0]),
            0,
            float(time[0]),
            float(time[0]),
            False,
        )
    onset_s = _hinge(time[: top + 1], load[: top + 1], last_quiet, height)
    begin, end = np.searchsorted(time, [onset_s - GUARD_S - ZERO_SPAN_S, onset_s - GUARD_S])
    if end - begin < 4:
        begin, end = max(0, int(last_quiet) - 8), int(last_quiet)
    return _line(
        time[begin:end], load[begin:end], noise, height, onset_s, int(np.searchsorted(time, onset_s))
    )


def zero_after(time: Array, load: Array, zero: ZeroLine, from_s: float, peak_n: float) -> float | None:
    """Unloaded reading after the pull minus the zero line; None if nothing unloaded and steady was recorded.

    Takes the last second (at least half a second) of samples after `from_s`, if they are steady and lie within
    5 % of the peak around zero.
    """
    tail = (time >= from_s) & (time >= time[-1] - 1.0)
    if tail.sum() < 5 or time[-1] - max(from_s, float(time[-1]) - 1.0) < 0.5:
        return None
    rest = load[tail] - zero.load_n(time[tail])
    level = float(np.median(rest))
    half = len(rest) // 2
    creeping = abs(float(np.median(rest[:half]) - np.median(rest[half:])))
    if abs(level) > 0.05 * peak_n or creeping > max(0.001 * peak_n, 4.0 * zero.noise_n):
        return None
    return level


def _last_quiet(time: Array, load: Array, noise: float, height: float) -> int:
    """Index after the last quiet stretch before the largest sample; 0 if there is none."""
    width = max(4, round(BLOCK_S * (len(time) - 1) / max(time[-1] - time[0], 1e-9)))
    count = len(load) // width
    if count < 1:
        return 0
    medians = np.median(load[: count * width].reshape(count, width), axis=1)
    # The zero may drift over an hour: each block is judged against the quiet ones before it.
    first = medians[: min(count, 8)]
    level = float(first.min() if count < 4 else np.median(first))
    sway = STEADY * float(np.median(np.abs(first - level)))
    near = min(max(6.0 * noise, 6.0 * sway), max(6.0 * noise, 0.01 * height))
    if level > medians.min() + 0.2 * height:
        return 0
    ends, stay = 0, 0
    for i, median in enumerate(medians):
        if abs(median - level) <= near:
            stay += 1
            level += 0.2 * float(median - level)
            if stay >= STAY_BLOCKS or (ends == 0 and i == stay - 1):
                ends = (i + 1) * width
        else:
            stay = 0
    return ends


def _hinge(time: Array, load: Array, last_quiet: int, height: float) -> float:
    """Onset: corner of the best "level, then rising" curve (straight or bending up) around the departure."""
    level = float(np.median(load[max(0, last_quiet - 40) : last_quiet]))
    risen = np.flatnonzero(load[last_quiet:] > level + 0.05 * height)
    stop = last_quiet + (int(risen[0]) + 1 if len(risen) else 1)
    start = int(np.searchsorted(time, time[last_quiet - 1] - 1.5))
    stop = min(stop, int(np.searchsorted(time, time[last_quiet - 1] + 1.0)) + 1)
    step = max(1, (stop - start) // 400)
    stop = max(stop, min(last_quiet + 4, len(time)))
    t, y = time[start:stop:step], load[start:stop:step]
    if len(t) < 6:
        return float(time[last_quiet - 1])
    corners = np.linspace(t[2], t[-2], 60)
    best, best_error = float(t[2]), np.inf
    for power in (1.0, 2.0):
        basis = np.maximum(t[None, :] - corners[:, None], 0.0) ** power
        centred = basis - basis.mean(1, keepdims=True)
        rest = y - y.mean()
        size = (centred**2).sum(1)
        gain = np.maximum((centred * rest).sum(1), 0.0) ** 2 / np.maximum(size, 1e-300)
        error = (rest**2).sum() - gain
        at = int(np.argmin(error))
        if error[at] < best_error:
            best, best_error = float(corners[at]), float(error[at])
    return best


def _line(time: Array, load: Array, noise: float, height: float, onset_s: float, onset: int) -> ZeroLine:
    """Robust line through the quiet samples: knocks and their neighbours are left out."""
    keep = np.ones(len(time), dtype=np.bool_)
    middle = float(time.mean())
    level, slope = float(np.median(load)), 0.0
    for _ in range(4):
        rest = load - level - slope * (time - middle)
        spread = max(
            STEADY * float(np.median(np.abs(rest[keep] - np.median(rest[keep])))), noise, 1e-12 * height
        )
        away = np.abs(rest - np.median(rest[keep])) > 4.0 * spread
        away[2:] |= away[:-2].copy()
        away[:-2] |= away[2:].copy()
        if (~away).sum() < 4:
            break
        keep = ~away
        t, y = time[keep] - middle, load[keep]
        if len(t) >= 12 and np.ptp(t) > 0:
            slope = float(((t - t.mean()) * (y - y.mean())).sum() / ((t - t.mean()) ** 2).sum())
        level = float(y.mean() - slope * t.mean())
    t, y = time[keep] - middle, load[keep]
    rest = y - level - slope * t
    # Neighbouring samples may sway together: the scatter of block means tells what a mean is worth.
    blocks = min(8, len(rest) // 3)
    means = np.array([part.mean() for part in np.array_split(rest, max(blocks, 1))])
    scatter = max(
        float(np.std(means)) if blocks > 2 else 0.0, noise / np.sqrt(max(len(rest) / max(blocks, 1), 1))
    )
    standard = scatter / np.sqrt(max(blocks, 1)) if blocks > 2 else float(np.std(rest) + noise)
    span = float(np.ptp(t)) if len(t) > 1 else 1.0
    drift_standard = standard * np.sqrt(12.0) / max(span, 1e-9)
    plausible = PLAUSIBLE_DRIFT_PER_S * height
    if abs(slope) > 4.0 * np.hypot(plausible, drift_standard):
        standard = float(np.hypot(standard, abs(slope) * span / np.sqrt(12.0)))
        slope = 0.0
    trust = plausible**2 / (plausible**2 + drift_standard**2) if plausible > 0 else 0.0
    slope *= trust
    drift_standard = plausible * drift_standard / max(float(np.hypot(plausible, drift_standard)), 1e-300)
    return ZeroLine(
        level_n=level,
        standard_n=standard,
        drift_n_per_s=slope,
        drift_standard_n_per_s=drift_standard,
        at_s=middle,
        noise_n=max(noise, STEADY * float(np.median(np.abs(rest - np.median(rest))))),
        onset_s=onset_s,
        onset=onset,
        start_s=float(time[0]),
        end_s=float(time[-1]),
        quiet=True,
    )
