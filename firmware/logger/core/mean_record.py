"""The MEANS record that is being filled, for runs of hours: mean, lowest and highest of the samples of some time each.

Taking a sample allocates nothing and stays within 30 bits; a mean that is finished may allocate a little.
"""

from struct import pack_into

from micropython import const

from . import layout, record
from .timebase import elapsed_ms

_MEANS_AT = const(21)  # header, three fields and the number of means
_LONGEST_MS = const(60000)
_LOW_BITS = const(12)
_LOW_MASK = const(0xFFF)


class MeanRecord:
    """`count` finished means and `samples` in the one being made; `second` and `microsecond` begin the record."""

    def __init__(self) -> None:
        self.buffer = bytearray(layout.MAX_RECORD)
        self.count = 0
        self.samples = 0
        self.second = 0
        self.microsecond = 0
        self._first = 0  # number of the record's first sample
        self._mean_s = 0  # time of the first sample of the mean being made
        self._mean_us = 0
        self._step_ms = 0
        self._high = 0  # sum of the samples' counts, in two parts
        self._low = 0
        self._lowest = 0
        self._highest = 0
        self._quality = 0

    @property
    def empty(self) -> bool:
        """True when there is nothing to store."""
        return not self.count and not self.samples

    def due(self, second: int, microsecond: int, mean_ms: int) -> bool:
        """True when a sample of this time belongs to another mean."""
        if not self.samples:
            return False
        age_ms = elapsed_ms(second, microsecond, self._mean_s, self._mean_us)
        return age_ms >= mean_ms or age_ms > _LONGEST_MS or self.samples == layout.MAX_STEP

    def begin(self, number: int, second: int, microsecond: int) -> None:
        """Begin a mean with the sample of this number and time."""
        if self.count == 0:
            self._first = number
            self.second = second
            self.microsecond = microsecond
            self._step_ms = 0
        else:
            self._step_ms = elapsed_ms(second, microsecond, self._mean_s, self._mean_us)
        self._mean_s = second
        self._mean_us = microsecond
        self._high = self._low = self._quality = 0
        self._lowest = layout.RAIL_HIGH
        self._highest = layout.RAIL_LOW

    def add(self, counts: int, quality: int) -> None:
        """Add a sample to the mean."""
        self.samples += 1
        self._high += counts >> _LOW_BITS
        self._low += counts & _LOW_MASK
        if counts < self._lowest:
            self._lowest = counts
        if counts > self._highest:
            self._highest = counts
        if quality > self._quality:
            self._quality = quality

    def finish(self) -> None:
        """Put the mean being made, if there is one, into the record."""
        number = self.samples
        if not number:
            return
        mean = (2 * ((self._high << _LOW_BITS) + self._low) + number) // (2 * number)
        at = _MEANS_AT + 13 * self.count
        pack_into("<HH", self.buffer, at, (self._quality << layout.QUALITY_SHIFT) | number, self._step_ms)
        record.pack(self.buffer, at + 4, "iii", (mean, self._lowest, self._highest))
        self.count += 1
        self.samples = 0

    def close(self, run: int, index: int) -> int:
        """Write header and fields; return the end of the payload. The next `begin` begins another record."""
        at = record.begin(self.buffer, layout.KIND_MEANS, run, index)
        record.pack(self.buffer, at, "IIIB", (self._first, self.second, self.microsecond, self.count))
        end = _MEANS_AT + 13 * self.count
        self.count = 0
        return end
