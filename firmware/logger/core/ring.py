"""The latest samples, in fixed arrays: pre-trigger memory, queue of the run writer, source of peak windows.

A sample has a *position*, counted from 0 since the start; it lies at position modulo the size. The ring
must not know what a run is. `push` allocates nothing.
"""

from array import array

from micropython import const

from .layout import QUALITY_SETTLING
from .timebase import MICROSECONDS, elapsed_ms

RING_SIZE = const(1024)  # 8 s of pre-trigger at 92/s are 736; more would cost the heap 14 bytes a sample
_REBASE = const(0x10000000)
_RATE_SAMPLES = const(129)


def _arrays(size: int) -> tuple:  # type: ignore[type-arg]
    made = [array("i", bytearray(4 * size)) for _ in range(3)]
    return made[0], made[1], made[2], bytearray(size), bytearray(size)


# Those of the logger's one ring, made when this file is loaded: main.py does so first, while the heap is whole.
_first = [_arrays(RING_SIZE)]


class Ring:
    """`size` (a power of two) samples: counts, second, microsecond, quality, conversions missed before it."""

    def __init__(self, size: int = RING_SIZE) -> None:
        self.size = size
        self.mask = size - 1
        arrays = _first.pop() if _first and size == RING_SIZE else _arrays(size)
        self.counts: array[int] = arrays[0]
        self.second: array[int] = arrays[1]
        self.microsecond: array[int] = arrays[2]
        self.quality: bytearray = arrays[3]
        self.missed: bytearray = arrays[4]
        self.head = 0  # position of the next sample to come
        self.tail = 0  # position of the next sample for the reader
        self.floor = 0  # no run may begin before this position
        self.holding = False  # a reader is at work: overwriting what it has not read is an overrun
        self.overruns = 0
        self._more_missed = 0  # what did not fit into a byte is told with the samples that follow

    def push(self, counts: int, second: int, microsecond: int, quality: int, missed: int) -> None:
        """Add a sample; the oldest is overwritten."""
        head = self.head
        at = head & self.mask
        self.counts[at] = counts
        self.second[at] = second
        self.microsecond[at] = microsecond
        self.quality[at] = quality
        missed += self._more_missed
        self._more_missed = missed - 255 if missed > 255 else 0
        self.missed[at] = missed - self._more_missed
        self.head = head + 1
        if quality == QUALITY_SETTLING:
            self.floor = head + 1
        if self.holding and head - self.tail >= self.size:
            self.tail += 1
            self.overruns += 1

    def oldest(self) -> int:
        """Position of the oldest sample that a run may use."""
        oldest = self.head - self.size
        return oldest if oldest > self.floor else self.floor

    def position_before(self, position: int, milliseconds: int) -> int:
        """Position of the first usable sample at most `milliseconds` before the one at `position`.

        Not one of the oldest quarter: they would be overwritten before the reader has come so far.
        """
        second = self.second[position & self.mask]
        microsecond = self.microsecond[position & self.mask]
        low = self.head - self.size + (self.size >> 2)
        if low < self.floor:
            low = self.floor
        if low > position:
            return position
        high = position
        while low < high:
            middle = (low + high) // 2
            at = middle & self.mask
            if elapsed_ms(second, microsecond, self.second[at], self.microsecond[at]) <= milliseconds:
                high = middle
            else:
                low = middle + 1
        return low

    def rate_mhz(self) -> int:
        """Conversions per 1000 seconds over the latest samples, missed ones included; 0 when not known."""
        last = self.head - 1
        first = self.head - _RATE_SAMPLES
        oldest = self.oldest()
        if first < oldest:
            first = oldest
        if last - first < 8:
            return 0
        steps = last - first
        for position in range(first + 1, last + 1):
            steps += self.missed[position & self.mask]
        a = first & self.mask
        b = last & self.mask
        span = (self.second[b] - self.second[a]) * MICROSECONDS + self.microsecond[b] - self.microsecond[a]
        if span <= 0:
            return 0
        return (steps * 1000000000 + span // 2) // span

    def rebase(self) -> None:
        """Keep positions within 30 bits; call it only while no run holds a position."""
        if self.head >= _REBASE:
            shift = self.head - self.head % self.size - self.size
            self.head -= shift
            self.floor = self.floor - shift if self.floor > shift else 0
            self.tail = self.head
