"""A calibration recording -> plateaus: the stretches where a mass hung still.

Plan: average the counts over short bins; call a window of bins steady when its bins agree within a
tolerance; join steady windows of one level into a plateau; keep the calmest part of each. The tolerance
is not known beforehand (a mass in the wind never hangs as still as one in a shed), so it is raised from
the recording's own quietest level until as many plateaus appear as masses were stated.

A swinging mass pulls harder than a still one: on a pendulum of amplitude a (radians) the line carries
m g (1 + a^2/4) on average and swings by 3 a^2/4 about that, so what still swings tells the size of its own
bias, a third of its amplitude (small angles, conservation of energy). It goes into the uncertainty.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from breakyard.calibration.known_loads import KnownLoad
from breakyard.calibration.points import Point
from breakyard.errors import CalibrationError
from breakyard.wire.layout import RAIL_HIGH, RAIL_LOW

Floats = NDArray[np.float64]

BIN_S: Final = 0.25
WINDOW_S: Final = 2.0
"""One period of a swing on a 4 m line is 4 s, its pull repeats every 2 s."""
LOOSEST: Final = 0.02
"""Of the span of the recording: bins that differ by more are not one plateau."""
SAME_LEVEL: Final = 0.01
"""Of the span: neighbouring steady stretches closer than this are one plateau, interrupted."""


class CountsRecording(Protocol):
    """What is needed of a run."""

    @property
    def counts(self) -> NDArray[np.int32]: ...
    @property
    def time_s(self) -> Floats: ...
    @property
    def usable(self) -> NDArray[np.bool_]: ...


@dataclass(frozen=True, slots=True)
class CalibrationPlateau:
    """One steady stretch: mean counts, their standard uncertainty, how much they wandered.

    `spread_counts` is the standard deviation of the bins, `drift_counts_per_s` their slope, `noise_counts`
    that of single samples about their bins.
    """

    start_s: float
    end_s: float
    counts: float
    standard_counts: float
    samples: int
    spread_counts: float
    drift_counts_per_s: float
    noise_counts: float


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationPlateaus:
    """All plateaus in order of time; `used` (n,) marks the samples that went into them, read-only.

    `tolerance_counts` is how far the bins of a steady window may differ.
    """

    found: tuple[CalibrationPlateau, ...]
    used: NDArray[np.bool_]
    tolerance_counts: float

    @property
    def noise_counts(self) -> float:
        """Standard deviation of single samples, the median over the plateaus; 0 without any."""
        return float(np.median([plateau.noise_counts for plateau in self.found])) if self.found else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Bins:
    """Means over bins that have samples: middle (s), mean, first and last-plus-one sample index."""

    middle: Floats
    mean: Floats
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    width_s: float


def find_plateaus(
    time_s: ArrayLike,
    counts: ArrayLike,
    *,
    usable: ArrayLike | None = None,
    expected: int | None = None,
    same_level: float = SAME_LEVEL,
) -> CalibrationPlateaus:
    """Find where the counts stood still. `expected` is how many plateaus were stated.

    `same_level` is the fraction of the recording's span below which two levels are one.
    When no tolerance gives the expected number, the closest is returned; compare the lengths.
    Raises: CalibrationError when the recording is too short to hold a plateau.
    """
    time = np.asarray(time_s, dtype=np.float64)
    values = np.asarray(counts, dtype=np.float64)
    good = np.ones(len(time), dtype=bool) if usable is None else np.asarray(usable, dtype=bool)
    index = np.flatnonzero(good)
    if len(index) < 16 or time[index[-1]] - time[index[0]] < 2.0 * WINDOW_S:
        raise CalibrationError(
            f"the calibration recording has {len(index)} usable samples, too few for a plateau: record each load for "
            "10 s or longer"
        )
    bins = _bin(time[index], values[index])
    ladder = _ladder(bins)
    best: tuple[int, float, list[NDArray[np.int64]]] | None = None
    for tolerance in ladder:
        groups = _groups(bins, tolerance, same_level)
        miss = 0 if expected is None and groups else abs(len(groups) - (expected or 1))
        if best is None or miss < best[0]:
            best = (miss, tolerance, groups)
        if miss == 0 and (expected is not None or tolerance >= 3.0 * ladder[0]):
            best = (miss, tolerance, groups)
            break
    assert best is not None
    used = np.zeros(len(time), dtype=bool)
    found = []
    for group in best[2]:
        calm = _calmest(bins, group, ladder[0])
        samples = np.concatenate([np.arange(bins.first[i], bins.last[i]) for i in calm])
        used[index[samples]] = True
        found.append(_plateau(time[index[samples]], values[index[samples]], bins, calm))
    used.setflags(write=False)
    return CalibrationPlateaus(tuple(found), used, best[1])


def points_from_run(
    run: CountsRecording, loads: Sequence[KnownLoad]
) -> tuple[tuple[Point, ...], CalibrationPlateaus]:
    """Find the plateaus of a calibration run and pair them with the loads in the order they were hung.

    Raises: CalibrationError when the run does not show as many plateaus as loads were stated.
    """
    weights = [load.kilograms * load.ratio + load.reference_n for load in loads]
    span = max(weights, default=0.0) - min(weights, default=0.0)
    steps = [abs(b - a) for a, b in pairwise(weights) if b != a]
    smallest = min(steps) / span if steps and span > 0.0 else 1.0
    found = find_plateaus(
        run.time_s,
        run.counts,
        usable=run.usable,
        expected=len(loads),
        same_level=min(SAME_LEVEL, 0.3 * smallest),
    )
    if len(found.found) != len(loads) and (stretches := off_scale(run)):
        where = ", ".join(f"{begin:.0f}..{end:.0f} s" for begin, end in stretches)
        raise CalibrationError(
            f"{len(loads)} loads were stated, but the recording shows {len(found.found)} plateaus that can be used: at "
            f"{where} the converter was off scale. Hang less, or use a lower gain, and record again"
        )
    return pair(found, loads), found


def off_scale(run: CountsRecording) -> tuple[tuple[float, float], ...]:
    """Stretches (begin, end) in seconds, as long as a plateau or longer, in which the counts stood at a rail."""
    at_rail = (run.counts <= RAIL_LOW) | (run.counts >= RAIL_HIGH)
    edges = np.flatnonzero(np.diff(at_rail.astype(np.int8), prepend=0, append=0))
    stretches = (
        (float(run.time_s[a]), float(run.time_s[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)
    )
    return tuple((begin, end) for begin, end in stretches if end - begin >= WINDOW_S)


def pair(plateaus: CalibrationPlateaus, loads: Sequence[KnownLoad]) -> tuple[Point, ...]:
    """Give each plateau its load, in order.

    Raises: CalibrationError that says how many of each there are and where the plateaus lie.
    """
    found = plateaus.found
    if len(found) != len(loads):
        where = "; ".join(f"{p.start_s:.0f}..{p.end_s:.0f} s at {p.counts:.0f}" for p in found) or "none"
        raise CalibrationError(
            f"{len(loads)} loads were stated, but the recording shows {len(found)} plateaus (counts: {where}): "
            "state every load that hung still, in order, zeros too, or record again with 10 s of rest at each"
        )
    return tuple(
        Point(load, p.counts, p.standard_counts, p.samples, p.start_s, p.end_s, p.drift_counts_per_s)
        for p, load in zip(found, loads, strict=True)
    )


def _bin(time: Floats, values: Floats) -> _Bins:
    """Means over bins of BIN_S, or of eight samples where the rate is low."""
    width = max(BIN_S, 8.0 * float(np.median(np.diff(time))))
    number = ((time - time[0]) / width).astype(np.int64)
    first = np.flatnonzero(np.diff(number, prepend=-1))
    last = np.append(first[1:], len(time))
    total = np.add.reduceat(values, first)
    middle = np.add.reduceat(time, first) / (last - first)
    return _Bins(middle, total / (last - first), first, last, width)


def _spread(bins: _Bins) -> tuple[Floats, int]:
    """Largest less smallest bin in each window of WINDOW_S that starts at a bin, shape (m - size + 1,).

    Windows across missing time count as unsteady.
    """
    size = max(3, round(WINDOW_S / bins.width_s))
    if len(bins.mean) < size:
        return np.empty(0), size
    windows = np.lib.stride_tricks.sliding_window_view(bins.mean, size)
    length = bins.middle[size - 1 :] - bins.middle[: len(windows)]
    spread = windows.max(axis=1) - windows.min(axis=1)
    return np.where(length <= 1.5 * size * bins.width_s, spread, np.inf), size


def _ladder(bins: _Bins) -> list[float]:
    """Tolerances to try, from twice the quietest tenth of the recording to the loosest."""
    spread, _ = _spread(bins)
    span = float(np.ptp(bins.mean))
    if not len(spread) or span == 0.0:
        raise CalibrationError("the calibration recording shows no change at all: is the cell connected?")
    finite = spread[np.isfinite(spread)]
    quiet = float(np.quantile(finite, 0.1)) if len(finite) else 0.0
    low = max(2.0 * quiet, 1.0)
    high = max(LOOSEST * span, low)
    steps = max(2, math.ceil(math.log(high / low) / math.log(1.4)) + 1)
    return [float(value) for value in np.geomspace(low, high, steps)]


def _groups(bins: _Bins, tolerance: float, same_level: float) -> list[NDArray[np.int64]]:
    """Bins of each plateau: steady windows joined, neighbours of one level merged."""
    spread, size = _spread(bins)
    steady = np.zeros(len(bins.mean), dtype=bool)
    for start in np.flatnonzero(spread <= tolerance):
        steady[start : start + size] = True
    edges = np.flatnonzero(np.diff(steady.astype(np.int8), prepend=0, append=0))
    runs = [np.arange(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    same = max(same_level * float(np.ptp(bins.mean)), 2.0 * tolerance)
    groups: list[NDArray[np.int64]] = []
    for run in runs:
        for part in _split(bins, run, same):
            level = float(np.median(bins.mean[part]))
            if groups and abs(level - float(np.median(bins.mean[groups[-1]]))) < same:
                groups[-1] = np.concatenate([groups[-1], part])
            else:
                groups.append(part)
    return groups


def _split(bins: _Bins, run: NDArray[np.int64], same: float) -> list[NDArray[np.int64]]:
    """Cut a steady run at its steps (windows may touch across one), or once where it crept to another level."""
    if len(run) < 2 or float(np.ptp(bins.mean[run])) < same:
        return [run]
    jumps = np.abs(np.diff(bins.mean[run]))
    cuts = np.flatnonzero(jumps >= same) + 1
    if not len(cuts):
        cuts = np.array([int(np.argmax(jumps)) + 1])
    return [part for part in np.split(run, cuts) if len(part) >= 3]


def _calmest(bins: _Bins, group: NDArray[np.int64], quiet: float) -> NDArray[np.int64]:
    """The bins of a plateau in windows not much rougher than its best one."""
    spread, size = _spread(bins)
    inside = set(group.tolist())
    starts = [i for i in group if i < len(spread) and i + size - 1 in inside]
    if not starts:
        return group
    limit = max(1.5 * float(min(spread[i] for i in starts)), quiet)
    # The first and last bin of a window may reach a little into the handling before and after.
    keep = {j for i in starts if spread[i] <= limit for j in range(i + 1, i + size - 1) if j in inside}
    return np.array(sorted(keep), dtype=np.int64)


def _plateau(time: Floats, values: Floats, bins: _Bins, calm: NDArray[np.int64]) -> CalibrationPlateau:
    """Mean and uncertainty: blocks of a window see slow wandering, the samples see noise."""
    means, middle = bins.mean[calm], bins.middle[calm]
    size = max(1, round(WINDOW_S / 2.0 / bins.width_s))
    number = len(means) // size
    blocks = means[: number * size].reshape(number, size).mean(axis=1) if number else means
    slow = float(np.std(blocks, ddof=1)) / math.sqrt(len(blocks)) if len(blocks) > 1 else 0.0
    inside = values - np.repeat(means, (bins.last - bins.first)[calm])
    noise = math.sqrt(float(inside @ inside) / max(1, len(values) - len(means)))
    white = noise / math.sqrt(len(values))
    spread = float(np.std(means, ddof=1)) if len(means) > 1 else 0.0
    per_bin = noise / math.sqrt(max(1.0, len(values) / len(means)))
    swinging = math.sqrt(max(spread**2 - per_bin**2, 0.0))
    bias = math.sqrt(2.0) * swinging / 3.0
    centred = middle - middle.mean()
    power = float(centred @ centred)
    drift = float(centred @ means) / power if power > 0.0 else 0.0
    return CalibrationPlateau(
        start_s=float(time[0]),
        end_s=float(time[-1]),
        counts=float(values.mean()),
        standard_counts=math.hypot(max(slow, white), bias),
        samples=len(values),
        spread_counts=spread,
        drift_counts_per_s=drift,
        noise_counts=noise,
    )
