"""The samples of one run in order of their number, each once: stored ones first, peak windows fill the holes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from breakyard.wire.bulk import Decoded, Ints
from breakyard.wire.collect import RunRecords
from breakyard.wire.layout import STEP_US
from breakyard.wire.records import PeakWindow


@dataclass(frozen=True, slots=True)
class MergedSamples:
    """All arrays (n,), in increasing order of the samples' numbers within the run.

    `time_us` counts from `origin_us` of device time, in whole microseconds; `step_us` is its difference, with 0 before
    the first sample. `number` is None when the numbers are 0, 1, 2 ... without a hole. `stored` samples came in SAMPLES
    records, the rest (`from_windows`) in peak windows only.
    """

    origin_us: int
    time_us: NDArray[np.float64]
    step_us: NDArray[np.int32] | NDArray[np.float64]
    counts: NDArray[np.int32]
    quality: NDArray[np.uint8]
    number: Ints | None
    stored: int
    from_windows: int


def merge(decoded: Decoded, records: RunRecords) -> MergedSamples:
    """Put the samples of a run together."""
    table = decoded.samples
    row_of = np.full(len(decoded.begin), -1, dtype=np.int64)
    row_of[table.position] = np.arange(len(table.position))
    rows = row_of[records.positions]
    rows = rows[rows >= 0]
    length, first, first_us = table.number[rows], table.first_sample[rows], table.first_us[rows]
    counts, steps, quality = table.counts, table.step, table.quality
    start = np.cumsum(length) - length
    if not np.array_equal(rows, np.arange(len(table.number))):
        pick = np.repeat(table.start[rows] - start, length) + np.arange(int(length.sum()))
        counts, steps, quality = counts[pick], steps[pick], quality[pick]

    step: NDArray[np.int32] | NDArray[np.float64] = steps.astype(np.int32)
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
    windows = [window for window in records.windows if _offers(window, first, length)]
    whole = len(rows) > 0 and first[0] == 0 and bool((first[1:] == first[:-1] + length[:-1]).all())
    if whole and not windows:
        return MergedSamples(origin_us, time_us, step, counts, quality, None, len(counts), 0)

    number = np.repeat(first - start, length) + np.arange(len(counts))
    number, order = np.unique(number, return_index=True)
    time_us, counts, quality = time_us[order], counts[order], quality[order]
    stored = len(number)
    for window in windows:
        if not len(number):
            origin_us = window.first_s * 1_000_000 + window.first_us
        number, time_us, counts, quality = _fill(window, origin_us, number, time_us, counts, quality)
    step = np.diff(time_us, prepend=time_us[:1])
    return MergedSamples(origin_us, time_us, step, counts, quality, number, stored, len(number) - stored)


def _offers(window: PeakWindow, first: Ints, length: Ints) -> bool:
    """True if the window has samples that the rows, taken as they come, may lack."""
    low, high = window.first_sample, window.first_sample + len(window.counts)
    overlap = np.minimum(first + length, high) - np.maximum(first, low)
    return int(np.clip(overlap, 0, None).sum()) < high - low


def _fill(
    window: PeakWindow,
    origin_us: int,
    number: Ints,
    time_us: NDArray[np.float64],
    counts: NDArray[np.int32],
    quality: NDArray[np.uint8],
) -> tuple[Ints, NDArray[np.float64], NDArray[np.int32], NDArray[np.uint8]]:
    """Add those samples of a window that are not there yet."""
    offered = window.first_sample + np.arange(len(window.counts))
    place = np.searchsorted(number, offered)
    new = np.ones(len(offered), dtype=np.bool_)
    inside = place < len(number)
    new[inside] = number[place[inside]] != offered[inside]
    begin_us = window.first_s * 1_000_000 + window.first_us - origin_us
    when = begin_us + np.cumsum(window.step_us, dtype=np.float64)
    at = place[new]
    return (
        np.insert(number, at, offered[new]),
        np.insert(time_us, at, when[new]),
        np.insert(counts, at, window.counts[new]),
        np.insert(quality, at, window.quality[new]),
    )
