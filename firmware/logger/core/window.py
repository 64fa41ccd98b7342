"""One PEAK_WINDOW record out of the peak buffer."""

from . import layout, record
from .peaks import Peaks
from .timebase import MICROSECONDS

_SAMPLES_AT = 30  # header, seven fields and the number of samples


def pack_window(buffer: bytearray, peaks: Peaks, slot: int, run_first: int, rank: int, of: int) -> int:
    """Write the payload of a peak in a slot after the header; return its end.

    A pause that does not fit into a step ends the window on that side, because no time may be wrong.
    """
    base = slot * layout.MAX_WINDOW_SAMPLES
    peak_at = base + peaks.peak[slot] - peaks.first[slot]
    start = peak_at
    while start > base and _fits(peaks, start):
        start -= 1
    end = peak_at + 1
    while end < base + peaks.length[slot] and _fits(peaks, end):
        end += 1
    second = peaks.second[start]
    microsecond = peaks.microsecond[start]
    peak = peaks.peak[slot] - run_first
    record.pack(
        buffer,
        layout.HEADER,
        "BBIiIIIB",
        (rank, of, peak, peaks.counts[peak_at], peak - (peak_at - start), second, microsecond, end - start),
    )
    to = _SAMPLES_AT
    for i in range(start, end):
        step = 0
        if i > start:
            step = (peaks.second[i] - second) * MICROSECONDS + peaks.microsecond[i] - microsecond
            step = (step + layout.STEP_US // 2) // layout.STEP_US
        to = record.put_sample(buffer, to, peaks.counts[i], peaks.quality[i], step)
        microsecond += step * layout.STEP_US  # the time as its steps add up to
        if microsecond >= MICROSECONDS:
            microsecond -= MICROSECONDS
            second += 1
    return to


def _fits(peaks: Peaks, at: int) -> bool:
    # Does the step from the sample before fit, rounded up as it may be?
    seconds = peaks.second[at] - peaks.second[at - 1]
    if not 0 <= seconds < 2:
        return False
    step = seconds * MICROSECONDS + peaks.microsecond[at] - peaks.microsecond[at - 1]
    return 0 <= step // layout.STEP_US < layout.MAX_STEP
