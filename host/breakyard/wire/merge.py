"""The samples of one run in order of their number, each once: stored ones first, peak windows fill the holes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from breakyard.wire.bulk import Decoded, Ints
from breakyard.wire.collect import RunRecords
from breakyard.wire.records import PeakWindow


@dataclass(frozen=True, slots=True)
class MergedSamples:
    """All arrays (n,). `number` is that within the run, strictly increasing; `time_us` is device time.

    `stored` samples came in SAMPLES records, the rest (`from_windows`) in peak windows only.
    """

    number: Ints
    time_us: Ints
    counts: NDArray[np.int32]
    quality: NDArray[np.uint8]
    stored: int
    from_windows: int


def merge(decoded: Decoded, records: RunRecords) -> MergedSamples:
    """Put the samples of a run together."""
    table = decoded.samples
    row_of = np.full(len(decoded.raw), -1, dtype=np.int64)
    row_of[table.position] = np.arange(len(table.position))
    rows = row_of[records.positions]
    rows = rows[rows >= 0]
    length, first = table.number[rows], table.first_sample[rows]
    counts, step_us, quality = table.counts, table.step_us, table.quality
    start = np.cumsum(length) - length
    if not np.array_equal(rows, np.arange(len(table.number))):
        pick = np.repeat(table.start[rows] - start, length) + np.arange(int(length.sum()))
        counts, step_us, quality = counts[pick], step_us[pick], quality[pick]

    # A row's first step is 0, so the sum up to its start is that of the rows before it.
    time_us = np.cumsum(step_us, dtype=np.int64)
    time_us += np.repeat(table.first_us[rows] - time_us[start], length)
    number = np.arange(len(counts))
    follows = first[1:] == first[:-1] + length[:-1]
    if len(rows) and follows.all():
        number += first[0]
    else:
        number += np.repeat(first - start, length)
        if (first[1:] < first[:-1] + length[:-1]).any():
            number, order = np.unique(number, return_index=True)
            time_us, counts, quality = time_us[order], counts[order], quality[order]
    stored = len(number)
    for window in records.windows:
        number, time_us, counts, quality = _fill(window, number, time_us, counts, quality)
    return MergedSamples(number, time_us, counts, quality, stored, len(number) - stored)


def _fill(
    window: PeakWindow,
    number: Ints,
    time_us: Ints,
    counts: NDArray[np.int32],
    quality: NDArray[np.uint8],
) -> tuple[Ints, Ints, NDArray[np.int32], NDArray[np.uint8]]:
    """Add those samples of a window that are not there yet."""
    offered = window.first_sample + np.arange(len(window.counts))
    place = np.searchsorted(number, offered)
    new = np.ones(len(offered), dtype=np.bool_)
    inside = place < len(number)
    new[inside] = number[place[inside]] != offered[inside]
    if not new.any():
        return number, time_us, counts, quality
    when = window.first_s * 1_000_000 + window.first_us + np.cumsum(window.step_us, dtype=np.int64)
    at = place[new]
    return (
        np.insert(number, at, offered[new]),
        np.insert(time_us, at, when[new]),
        np.insert(counts, at, window.counts[new]),
        np.insert(quality, at, window.quality[new]),
    )
