"""The RUN_END of a run that lost its power: what the records found tell of it."""

import hashlib
from struct import unpack_from

from . import health, layout, record
from .run_scan import RunScan
from .timebase import MICROSECONDS
from .totals import Totals

_NUMBER_AT = 19  # of samples, in a SAMPLES record
_BARE = 24  # a SAMPLES record without its samples
_U32 = 0xFFFFFFFF  # a sound checksum does not make sense of what it covers


def write_end(buffer: bytearray, scan: RunScan, run: int, size: int, reset_cause: int) -> int:
    """Write the payload of RUN_END for a run whose records `scan` finds in `size` bytes; return its length.

    0 when there is no record. Missed conversions, overload, battery and memory are not known;
    the cause of the reset is that of the start that found the run.
    """
    digest = hashlib.sha256()
    totals = Totals()
    found = 0
    samples = 0
    windows = 0
    second = 0
    microsecond = 0
    index = -1
    offset = 0
    while scan.next(offset, size):
        offset = scan.end
        raw = scan.record
        digest.update(memoryview(raw)[: scan.length])
        index = scan.index
        if raw[0] == layout.KIND_SAMPLES:
            first, second, low, high = unpack_from("<IIHB", raw, layout.HEADER)
            microsecond = high << 16 | low
            number = max(0, min(raw[_NUMBER_AT], (scan.length - _BARE) // layout.SAMPLE_BYTES))
            found += number
            samples = (first + number) & _U32
            microsecond += _add(totals, raw, number)
            second = (second + microsecond // MICROSECONDS) & _U32
            microsecond %= MICROSECONDS
        elif raw[0] == layout.KIND_PEAK_WINDOW:
            windows += 1
        elif raw[0] == layout.KIND_RUN_BEGIN:
            second, microsecond = unpack_from("<II", raw, layout.HEADER + 13)
    if index < 0:
        return 0
    if not found:
        totals.lowest = totals.highest = 0
    at = record.begin(buffer, layout.KIND_RUN_END, run, index + 1)
    values = (
        layout.END_POWER_LOST,
        second,
        microsecond,
        samples,
        samples - found if samples > found else 0,
        0,
        totals.clipped,
        totals.doubtful,
        totals.lowest,
        totals.highest,
        windows,
        digest.digest(),
        layout.OVERLOAD_NONE,
        0,
        health.UNKNOWN,
        0,
        0,
        reset_cause,
    )
    return record.finish(buffer, record.pack(buffer, at, layout.FIELDS_RUN_END, values))


def _add(totals: Totals, raw: bytearray, number: int) -> int:
    # Counts the samples of a record; returns the time from its first to its last.
    span = 0
    at = _NUMBER_AT + 1
    for _ in range(number):
        counts = ((raw[at] | raw[at + 1] << 8 | raw[at + 2] << 16) ^ 0x800000) - 0x800000
        stamp = raw[at + 3] | raw[at + 4] << 8
        totals.add(counts, stamp >> layout.QUALITY_SHIFT, 0)
        span += (stamp & layout.MAX_STEP) * layout.STEP_US
        at += layout.SAMPLE_BYTES
    return span
