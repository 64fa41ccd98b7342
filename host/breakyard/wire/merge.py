"""The samples of one run in order of their number, each once: stored ones first, peak windows fill the holes.

A sample whose time is not later than that of every sample before it contradicts them and is left out; so is one of a
peak window whose time does not fit between its neighbours.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from breakyard.wire.bulk import Decoded, Ints
from breakyard.wire.collect import RunRecords
from breakyard.wire.layout import RAIL_HIGH, RAIL_LOW, STEP_US, Quality
from breakyard.wire.means import Coverage, MeanColumns, columns
from breakyard.wire.records import PeakWindow

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StoredTotals:
    """What RUN_END counts, of the samples in SAMPLES records: each number once, whatever their times.

    `lowest` and `highest` are 0 without samples, `last` (the highest number) is -1.
    """

    samples: int
    clipped: int
    doubtful: int
    lowest: int
    highest: int
    last: int

    def with_means(self, means: MeanColumns, coverage: Coverage, number: Ints) -> "StoredTotals":
        """The same with what MEANS tell: their samples are stored too, how many of them are clipped is not known."""
        if not len(means.number):
            return self
        more = coverage.total - coverage.count_of(number)
        lowest, highest = int(means.lowest.min()), int(means.highest.max())
        return replace(
            self,
            samples=self.samples + more,
            lowest=min(self.lowest, lowest) if self.samples else lowest,
            highest=max(self.highest, highest) if self.samples else highest,
            last=max(self.last, coverage.last),
        )


@dataclass(frozen=True, slots=True)
class MergedSamples:
    """All arrays (n,), in increasing order of the samples' numbers within the run, and of their times.

    `time_us` counts from `origin_us` of device time, in whole microseconds; `step_us` (n - 1,) is its difference.
    `number` is None when the numbers are 0, 1, 2 ... without a hole. `totals` are those of the stored samples,
    `from_windows` samples came in peak windows only, `left_out` were left out as their times contradict others.
    """

    origin_us: int
    time_us: Floats
    step_us: NDArray[np.int32] | Floats
    counts: NDArray[np.int32]
    quality: NDArray[np.uint8]
    number: Ints | None
    totals: StoredTotals
    from_windows: int
    left_out: int
    means: MeanColumns
    coverage: Coverage

    @property
    def last(self) -> int:
        """The highest number of a sample; -1 when there are none."""
        if self.number is None or not len(self.number):
            return len(self.counts) - 1
        return int(self.number[-1])

    @property
    def first(self) -> int:
        """The lowest number of a sample; 0 when there are none."""
        return 0 if self.number is None or not len(self.number) else int(self.number[0])


def merge(decoded: Decoded, records: RunRecords) -> MergedSamples:
    """Put the samples of a run together."""
    means = columns(records.means)
    coverage = Coverage(means)
    table = decoded.samples
    rows = np.searchsorted(table.position, records.positions)
    rows = rows[np.append(table.position, -1)[rows] == records.positions]
    # numpy.repeat takes no wider counts than the machine's own (32-bit Raspberry Pi OS, WebAssembly).
    length = table.number[rows].astype(np.intp)
    first, first_us = table.first_sample[rows], table.first_us[rows]
    counts, steps, quality = table.counts, table.step, table.quality
    start = np.cumsum(length) - length
    if not np.array_equal(rows, np.arange(len(table.number))):
        pick = np.repeat(table.start[rows] - start, length) + np.arange(int(length.sum()))
        counts, steps, quality = counts[pick], steps[pick], quality[pick]

    step: NDArray[np.int32] | Floats = steps.astype(np.int32)
    step *= STEP_US
    origin_us = int(first_us[0]) if len(rows) else 0
    # The sum of all steps wraps after 36 minutes, the time since a row's beginning cannot.
    since = np.cumsum(step, dtype=np.int32)
    since -= np.repeat(since[start], length)
    # Whole microseconds are exact in float64 for 285 years, and one array less is made.
    time_us = np.repeat((first_us - origin_us).astype(np.float64), length)
    time_us += since
    if len(rows):
        between = np.diff(first_us) - since[start + length - 1][:-1]
        if (np.abs(between) > np.iinfo(np.int32).max).any():
            step = step.astype(np.float64)
        step[start[1:]] = between
    step = step[1:]
    whole = len(rows) > 0 and first[0] == 0 and bool((first[1:] == first[:-1] + length[:-1]).all())
    if whole and not records.windows and not (len(step) and step.min() <= 0):
        totals = _totals(counts, quality, len(counts) - 1)
        if len(means.number):
            totals = totals.with_means(means, coverage, np.arange(len(counts)))
        return MergedSamples(origin_us, time_us, step, counts, quality, None, totals, 0, 0, means, coverage)

    number = np.repeat(first - start, length) + np.arange(len(counts))
    if not (np.diff(number) > 0).all():
        number, order = np.unique(number, return_index=True)
        time_us, counts, quality = time_us[order], counts[order], quality[order]
    totals = _totals(counts, quality, int(number[-1]) if len(number) else -1)
    totals = totals.with_means(means, coverage, number)
    later = _later(time_us)
    left_out = len(number) - int(np.count_nonzero(later))
    kept = _Columns(number[later], time_us[later], counts[later], quality[later])
    from_windows = 0
    if records.windows:
        if not len(rows):
            origin_us = records.windows[0].first_s * 1_000_000 + records.windows[0].first_us
        kept, from_windows, odd = _fill(kept, _offered(records.windows, origin_us))
        left_out += odd
    if not len(kept.number) and len(means.first_us):
        origin_us = int(means.first_us[0])
    return MergedSamples(
        origin_us,
        kept.time_us,
        np.diff(kept.time_us),
        kept.counts,
        kept.quality,
        kept.number,
        totals,
        from_windows,
        left_out,
        means,
        coverage,
    )


@dataclass(frozen=True, slots=True)
class _Columns:
    number: Ints
    time_us: Floats
    counts: NDArray[np.int32]
    quality: NDArray[np.uint8]

    def take(self, which: NDArray[Any]) -> "_Columns":
        return _Columns(self.number[which], self.time_us[which], self.counts[which], self.quality[which])


def _later(time_us: Floats) -> NDArray[np.bool_]:
    """Which are later than every one before."""
    later = np.ones(len(time_us), dtype=np.bool_)
    later[1:] = time_us[1:] > np.maximum.accumulate(time_us)[:-1]
    return later


def _totals(counts: NDArray[np.int32], quality: NDArray[np.uint8], last: int) -> StoredTotals:
    if not len(counts):
        return StoredTotals(0, 0, 0, 0, 0, -1)
    lowest, highest = int(counts.min()), int(counts.max())
    doubtful = int(np.count_nonzero(quality))
    clipped = 0
    if doubtful or lowest <= RAIL_LOW or highest >= RAIL_HIGH:
        clipped = int(
            np.count_nonzero((quality == Quality.RAIL) | (counts <= RAIL_LOW) | (counts >= RAIL_HIGH))
        )
    return StoredTotals(len(counts), clipped, doubtful, lowest, highest, last)


def _offered(windows: tuple[PeakWindow, ...], origin_us: int) -> _Columns:
    """The samples of all windows in order of number; the earlier window's where two have the same."""
    length = np.array([len(window.counts) for window in windows], dtype=np.intp)
    start = np.cumsum(length) - length
    begin_us = [window.first_s * 1_000_000 + window.first_us - origin_us for window in windows]
    since = np.cumsum(np.concatenate([window.step_us for window in windows]), dtype=np.float64)
    time_us = since + np.repeat(np.array(begin_us, dtype=np.float64) - since[start], length)
    first = np.array([window.first_sample for window in windows])
    number = np.repeat(first - start, length) + np.arange(int(length.sum()))
    number, order = np.unique(number, return_index=True)
    counts = np.concatenate([window.counts for window in windows])[order]
    quality = np.concatenate([window.quality for window in windows])[order]
    return _Columns(number, time_us[order], counts, quality)


def _fill(stored: _Columns, offered: _Columns) -> tuple[_Columns, int, int]:
    """Add those samples of windows that are not there and whose time fits: (all, added, lacking but left out)."""
    place = np.searchsorted(stored.number, offered.number)
    lacking = np.append(stored.number, -1)[place] != offered.number
    before_us = np.append(-np.inf, stored.time_us)[place]
    after_us = np.append(stored.time_us, np.inf)[place]
    fits = lacking & (before_us < offered.time_us) & (offered.time_us < after_us)
    place, new = place[fits], offered.take(fits)
    mixed = _Columns(
        np.insert(stored.number, place, new.number),
        np.insert(stored.time_us, place, new.time_us),
        np.insert(stored.counts, place, new.counts),
        np.insert(stored.quality, place, new.quality),
    )
    # What is left to contradict are samples of two windows in the same hole; stored ones all stay.
    all_of_it = mixed.take(_later(mixed.time_us))
    added = len(all_of_it.number) - len(stored.number)
    return all_of_it, added, int(np.count_nonzero(lacking)) - added
