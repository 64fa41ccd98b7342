"""The SAMPLES record that is being filled.

`step` and `put` allocate nothing; header and CRC are written when the record is closed.
"""

from micropython import const

from . import layout, record
from .timebase import MICROSECONDS, elapsed_ms

SAMPLES_AT = const(20)  # header, three fields and the number of samples

DOES_NOT_FIT = const(-1)


class SampleRecord:
    """`count` samples so far; `second` and `microsecond` are the time of the first."""

    def __init__(self) -> None:
        self.buffer = bytearray(layout.MAX_RECORD)
        self.count = 0
        self.second = 0
        self.microsecond = 0
        self._at = SAMPLES_AT
        self._sent_s = 0  # time of the latest sample as the steps add up to
        self._sent_us = 0

    def open(self, second: int, microsecond: int) -> None:
        """Begin a record whose first sample has this time."""
        self.count = 0
        self.second = second
        self.microsecond = microsecond
        self._at = SAMPLES_AT
        self._sent_s = second
        self._sent_us = microsecond

    def step(self, second: int, microsecond: int) -> int:
        """Step to a sample of this time, or DOES_NOT_FIT: the record must be closed first."""
        seconds = second - self._sent_s
        if self.count == layout.MAX_SAMPLES or seconds > 1:
            return DOES_NOT_FIT
        # From the sum of the steps so far, so that rounding does not pile up.
        step = seconds * MICROSECONDS + microsecond - self._sent_us
        step = (step + layout.STEP_US // 2) // layout.STEP_US
        if step > layout.MAX_STEP:
            return DOES_NOT_FIT
        return step if step > 0 else 0

    def put(self, counts: int, quality: int, step: int) -> None:
        """Add a sample."""
        self._at = record.put_sample(self.buffer, self._at, counts, quality, step)
        self.count += 1
        self._sent_us += step * layout.STEP_US
        if self._sent_us >= MICROSECONDS:
            self._sent_us -= MICROSECONDS
            self._sent_s += 1

    def span_ms(self) -> int:
        """Time from the first sample to the latest."""
        return elapsed_ms(self._sent_s, self._sent_us, self.second, self.microsecond)

    def close(self, run: int, index: int, first_sample: int) -> int:
        """Write header and fields; return the end of the payload. The next `open` begins another."""
        at = record.begin(self.buffer, layout.KIND_SAMPLES, run, index)
        record.pack(self.buffer, at, "IIiB", (first_sample, self.second, self.microsecond, self.count))
        self.count = 0
        return self._at
