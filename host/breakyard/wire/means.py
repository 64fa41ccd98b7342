"""The MEANS of one run as columns, and which samples they stand for."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from breakyard.wire.bulk import Ints
from breakyard.wire.records import Means


@dataclass(frozen=True, slots=True)
class MeanColumns:
    """All arrays (n,), in order of index.

    `first_us` is the device time of the first sample of each mean, `first_sample` its number, `number` how many samples
    it is the mean of; `quality` is the worst of them.
    """

    first_us: Ints
    first_sample: Ints
    number: Ints
    quality: NDArray[np.uint8]
    mean: NDArray[np.int32]
    lowest: NDArray[np.int32]
    highest: NDArray[np.int32]


def columns(records: tuple[Means, ...]) -> MeanColumns:
    """Put the means of a run together."""
    empty = np.empty(0, dtype=np.int64)
    time, first = [empty], [empty]
    for record in records:
        since_ms = np.cumsum(record.step_ms)
        time.append(record.first_s * 1_000_000 + record.first_us + since_ms * 1000)
        first.append(record.first_sample + np.cumsum(record.number) - record.number)

    def joined(name: str) -> Ints:
        return np.concatenate([empty, *(getattr(record, name) for record in records)])

    return MeanColumns(
        first_us=np.concatenate(time),
        first_sample=np.concatenate(first),
        number=joined("number"),
        quality=joined("quality").astype(np.uint8),
        mean=joined("mean").astype(np.int32),
        lowest=joined("lowest").astype(np.int32),
        highest=joined("highest").astype(np.int32),
    )


class Coverage:
    """Which numbers of samples some means stand for."""

    def __init__(self, means: MeanColumns) -> None:
        order = np.argsort(means.first_sample, kind="stable")
        starts = means.first_sample[order]
        ends = np.maximum.accumulate(starts + means.number[order]) if len(order) else starts
        starts = np.maximum(starts, np.append(0, ends[:-1])) if len(order) else starts
        self._starts = starts
        self._ends = np.maximum(ends, starts)
        self._before = np.append(0, np.cumsum(self._ends - self._starts))

    def below(self, number: int) -> int:
        """How many numbers below this one they stand for."""
        place = int(np.searchsorted(self._starts, number))
        if not place:
            return 0
        beyond = max(0, int(self._ends[place - 1]) - number)
        return int(self._before[place]) - beyond

    def between(self, low: int, high: int) -> int:
        """How many numbers from `low` up to, without, `high`."""
        return self.below(high) - self.below(low)

    def count_of(self, numbers: Ints) -> int:
        """How many of these numbers they stand for."""
        place = np.searchsorted(self._starts, numbers, side="right")
        return int(np.count_nonzero(np.append(0, self._ends)[place] > numbers))

    @property
    def total(self) -> int:
        """How many numbers in all."""
        return int(self._before[-1])

    @property
    def last(self) -> int:
        """The highest of them, -1 when there are none."""
        return int(self._ends[-1]) - 1 if len(self._ends) else -1
