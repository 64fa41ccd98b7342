"""A recording of a hung mass that is cut loose -> the samples of each fall, as shares of the mass still seen.

Works on counts: what hung need not be known, and no calibration is needed.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.noise import noise_of

Array = NDArray[np.float64]

BEFORE_S: Final = 1.0
"""The level before the cut is the mean over this time; the mass must hang still in it."""

AFTER_S: Final = (0.6, 3.0)
"""The level after the cut is the mean between these times after it."""

STILL: Final = 0.005
"""Sway before the cut, as a share of the mass, that still counts as hanging still."""

LONGEST_FALL: Final = 24.0
"""A change that takes more conversions than this (0.3 s at the fast rate) is handling, not a cut."""

SAMPLES_BEFORE: Final = 8
SAMPLES_AFTER: Final = 14
"""Samples on either side of the fall that are looked at: those after it show the ringing."""

SMALLEST: Final = 60.0
"""A mass shows when its step is this many times the noise."""


@dataclass(frozen=True, slots=True)
class Cut:
    """One fall. `at`, `left`: shape (n,), read-only; one item per sample around it."""

    source: str
    time_s: float
    """When half of it was gone, in the recording's time."""
    period_s: float
    size_counts: float
    noise: float
    """Standard deviation of a sample, as a share of the mass."""
    at: Array
    """Time of each sample in conversions, from the moment at which half is left."""
    left: Array
    """Share of the mass that each sample still shows."""
    missing: int
    """Conversions that are missing in the fall or right beside it."""

    @property
    def phase(self) -> float:
        """Where between two conversions it fell, from 0 to 1."""
        return float(-self.at[0] % 1.0)


def find_cuts(time_s: Array, counts: Array, source: str) -> tuple[Cut, ...]:
    """Every sudden fall between two still levels, in order of time.

    time_s, counts: usable samples, shape (n,). Counts may fall or rise when the load goes: the way in which the
    sudden changes go is taken.
    """
    if len(counts) < 3 * (SAMPLES_BEFORE + SAMPLES_AFTER):
        return ()
    steps = np.diff(time_s)
    usual = float(np.median(steps))
    period = float(steps[np.abs(steps - usual) < 0.2 * usual].mean())  # finer than the steps of time stamps
    noise = noise_of(counts)
    width = max(4, round(0.25 / period))
    levels = np.median(counts[: len(counts) // width * width].reshape(-1, width), axis=1)
    span = float(np.ptp(levels))
    if span < SMALLEST * noise or span == 0.0:
        return ()
    found: dict[bool, list[Cut]] = {True: [], False: []}
    for first, past in _changes(time_s, counts, period, span):
        cut = _cut(time_s, counts, first, past, period, noise, source)
        if cut is not None:
            found[cut.size_counts > 0].append(cut)
    return tuple(found[True] if len(found[True]) >= len(found[False]) else found[False])


def _changes(time_s: Array, counts: Array, period: float, span: float) -> list[tuple[int, int]]:
    """Stretches, as indices, around changes of more than half the span within six samples."""
    big = np.flatnonzero(np.abs(counts[6:] - counts[:-6]) > 0.5 * span)
    if not len(big):
        return []
    edges = np.flatnonzero(time_s[big[1:]] - time_s[big[:-1]] > 0.5) + 1
    return [(int(part[0]), int(part[-1]) + 6) for part in np.split(big, edges)]


def _cut(
    time_s: Array, counts: Array, first: int, past: int, period: float, noise: float, source: str
) -> Cut | None:
    """The fall in one stretch; None if it is no fall between two still levels."""
    before = counts[np.searchsorted(time_s, time_s[first] - BEFORE_S) : max(first - 2, 0)]
    early, late = np.searchsorted(time_s, time_s[past] + np.array(AFTER_S))
    after = counts[early:late]
    if len(before) < SAMPLES_BEFORE or len(after) < SAMPLES_AFTER:
        return None
    high, low = float(before.mean()), float(np.median(after))
    size = high - low
    if abs(size) < SMALLEST * noise or float(np.std(before)) > max(4.0 * noise, STILL * abs(size)):
        return None
    left = (counts - low) / size
    falling = first + int(np.argmax(left[first : past + 1] < 0.5))
    start = falling - int(np.argmax(left[falling::-1] > 0.95))
    gone = np.flatnonzero(left[falling : falling + 2 * int(LONGEST_FALL)] < 0.05)
    if not len(gone) or time_s[falling + gone[0]] - time_s[start] > LONGEST_FALL * period:
        return None
    begin, end = falling - SAMPLES_BEFORE, falling + SAMPLES_AFTER
    if begin < 0 or end > len(counts):
        return None
    near = slice(max(falling - 6, 0), falling + 7)
    gaps = np.rint(np.diff(time_s[near]) / period).astype(int) - 1
    # Where each conversion averages over a whole one, the shares left sum up to the time from the first sample to
    # the half-way moment, whatever else the filter does.
    half_way = float(time_s[near][0]) + period * (float(left[near].sum()) - 0.5)
    at, share = (time_s[begin:end] - half_way) / period, left[begin:end].copy()
    at.flags.writeable = share.flags.writeable = False
    return Cut(source, half_way, period, size, noise / abs(size), at, share, int(np.maximum(gaps, 0).sum()))
