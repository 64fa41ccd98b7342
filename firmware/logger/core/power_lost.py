"""The RUN_END of a run that lost its power: what the records found tell of it, taken record by record."""

import hashlib
from struct import unpack_from

from . import health, layout, record
from .run_scan import RunScan
from .timebase import MICROSECONDS
from .totals import Totals

_NUMBER_AT = 19  # of samples, in a SAMPLES record
_BARE = 24  # a SAMPLES record without its samples
_MEANS_AT = 21  # the first mean in a MEANS record
_MEANS_BARE = 25  # a MEANS record without its means
_U32 = 0xFFFFFFFF  # a sound checksum does not make sense of what it covers


class LostRun:
    """`take` what `scan` finds, in order, then `write_end`. `offset` is where to look for the next record."""

    def __init__(self, run: int, scan: RunScan) -> None:
        self.run = run
        self.offset = 0
        self._scan = scan
        self._digest = hashlib.sha256()
        self._totals = Totals()
        self._found = 0
        self._samples = 0
        self._windows = 0
        self._second = 0
        self._microsecond = 0
        self._index = -1
        scan.open(run)

    def take(self, size: int) -> bool:
        """Take the next record in `size` bytes; False when there is none."""
        scan = self._scan
        if not scan.next(self.offset, size):
            return False
        self.offset = scan.end
        raw = scan.record
        self._digest.update(memoryview(raw)[: scan.length])
        self._index = scan.index
        if raw[0] == layout.KIND_SAMPLES:
            first, self._second, low, high = unpack_from("<IIHB", raw, layout.HEADER)
            number = max(0, min(raw[_NUMBER_AT], (scan.length - _BARE) // layout.SAMPLE_BYTES))
            self._found += number
            self._samples = (first + number) & _U32
            self._microsecond = (high << 16 | low) + self._add(raw, number)
            self._second = (self._second + self._microsecond // MICROSECONDS) & _U32
            self._microsecond %= MICROSECONDS
        elif raw[0] == layout.KIND_MEANS and scan.length > _MEANS_BARE:
            self._take_means(raw, scan.length)
        elif raw[0] == layout.KIND_PEAK_WINDOW:
            self._windows += 1
        elif raw[0] == layout.KIND_RUN_BEGIN:
            self._second, self._microsecond = unpack_from("<II", raw, layout.HEADER + 13)
        return True

    def write_end(self, buffer: bytearray, reset_cause: int, cause: int = layout.END_POWER_LOST) -> int:
        """Write RUN_END, without frame; return its length, 0 when there was no record where there must be one.

        Missed conversions, overload, battery and memory are not known; the cause of the reset is that of the
        start that found the run.
        """
        if self._index < 0 and cause == layout.END_POWER_LOST:
            return 0
        totals = self._totals
        if not self._found:
            totals.lowest = totals.highest = 0
        at = record.begin(buffer, layout.KIND_RUN_END, self.run, self._index + 1)
        values = (
            cause,
            self._second,
            self._microsecond,
            self._samples,
            self._samples - self._found if self._samples > self._found else 0,
            0,
            totals.clipped,
            totals.doubtful,
            totals.lowest,
            totals.highest,
            self._windows,
            self._digest.digest(),
            layout.OVERLOAD_NONE,
            0,
            health.UNKNOWN,
            0,
            0,
            reset_cause,
        )
        return record.finish(buffer, record.pack(buffer, at, layout.FIELDS_RUN_END, values))

    def _take_means(self, raw: bytearray, length: int) -> None:
        first, self._second, self._microsecond = unpack_from("<III", raw, layout.HEADER)
        at = _MEANS_AT
        for _ in range(min(raw[_MEANS_AT - 1], (length - _MEANS_BARE) // 13)):
            stamp, step_ms = unpack_from("<HH", raw, at)
            self._found += stamp & layout.MAX_STEP
            first += stamp & layout.MAX_STEP
            self._microsecond += step_ms * 1000
            for place in (at + 7, at + 10):
                low, high = unpack_from("<Hb", raw, place)
                self._totals.add(high * 65536 + low, 0, 0)
            at += 13
        self._samples = first & _U32
        self._second = (self._second + self._microsecond // MICROSECONDS) & _U32
        self._microsecond %= MICROSECONDS

    def _add(self, raw: bytearray, number: int) -> int:
        # Counts the samples of a record; returns the time from its first to its last.
        add = self._totals.add
        span = 0
        at = _NUMBER_AT + 1
        for _ in range(number):
            counts = ((raw[at] | raw[at + 1] << 8 | raw[at + 2] << 16) ^ 0x800000) - 0x800000
            stamp = raw[at + 3] | raw[at + 4] << 8
            add(counts, stamp >> layout.QUALITY_SHIFT, 0)
            span += (stamp & layout.MAX_STEP) * layout.STEP_US
            at += layout.SAMPLE_BYTES
        return span
