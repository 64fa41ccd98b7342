"""The largest peaks of a run, each with the samples around it, kept whatever happens to the store.

A peak is a largest distance from the baseline. Two peaks are separate only when the load fell between them
by more than 1/16 of either, so a noisy ramp is one peak and not many; what stays below the floor (the
threshold of the trigger) is no peak at all. Samples that are settling or out of step are no peaks, but
stand in the windows with their quality.

Five buffers serve four peaks: one is always free for the peak that is just being made. A window is
copied when the last of its samples has come. Nothing here allocates after the start.
"""

from array import array

from micropython import const

from .layout import MAX_WINDOW_SAMPLES, QUALITY_RAIL
from .ring import Ring

KEPT = const(4)
_SLOTS = const(5)
BEFORE = const(30)
AFTER = const(12)
_FALL_SHIFT = const(4)  # 1/16
_NEVER = const(0x3FFFFFFF)


class Peaks:
    """Peaks by slot; `magnitude[slot]` is 0 for an unused one."""

    def __init__(self) -> None:
        size = _SLOTS * MAX_WINDOW_SAMPLES
        self.counts = array("i", bytearray(4 * size))
        self.second = array("i", bytearray(4 * size))
        self.microsecond = array("i", bytearray(4 * size))
        self.quality = bytearray(size)
        self.magnitude = array("i", bytearray(4 * _SLOTS))
        self.peak = array("i", bytearray(4 * _SLOTS))
        self.first = array("i", bytearray(4 * _SLOTS))
        self.length = bytearray(_SLOTS)
        self._due = array("i", bytearray(4 * _SLOTS))
        self._spare = 0
        self._soonest = _NEVER
        self._rising = False
        self._top = 0
        self._low = 0
        self._floor = 0
        self._baseline = 0
        self._run_first = 0
        self.begin(0, 0, 0)

    def begin(self, run_first: int, baseline: int, floor: int) -> None:
        """Forget all peaks; the run's samples start at position `run_first`."""
        for slot in range(_SLOTS):
            self.magnitude[slot] = 0
            self.length[slot] = 0
            self._due[slot] = _NEVER
        self._soonest = _NEVER
        self._rising = False
        self._top = 0
        self._low = 0
        self._run_first = run_first
        self._baseline = baseline
        self._floor = floor

    def sample(self, position: int, counts: int, quality: int, ring: Ring) -> None:
        """Look at the sample that was just pushed at `position`."""
        if quality <= QUALITY_RAIL:
            distance = counts - self._baseline
            if distance < 0:
                distance = -distance
            if self._rising:
                if distance > self._top:
                    self._move_top(position, distance)
                elif self._top - distance > self._top >> _FALL_SHIFT:
                    self._keep()
                    self._low = distance
            elif distance < self._low:
                self._low = distance
            elif distance > self._floor and distance - self._low > distance >> _FALL_SHIFT:
                self._rising = True
                self._move_top(position, distance)
        if position >= self._soonest:
            self._copy_due(position, ring)

    def finish(self, last: int, ring: Ring) -> int:
        """The run ended with the sample at `last`: complete all windows; return the number of peaks."""
        if self._rising:
            self._keep()
        self.magnitude[self._spare] = 0
        self._due[self._spare] = _NEVER
        for slot in range(_SLOTS):
            if self._due[slot] > last and self._due[slot] != _NEVER:
                self._due[slot] = last
        self._copy_due(last, ring)
        number = 0
        for slot in range(_SLOTS):
            if self.magnitude[slot]:
                number += 1
        return number

    def largest(self) -> int:
        """Slot of the largest peak (the earlier one of equals), or -1."""
        best = -1
        for slot in range(_SLOTS):
            size = self.magnitude[slot]
            if size and (
                best < 0
                or size > self.magnitude[best]
                or (size == self.magnitude[best] and self.peak[slot] < self.peak[best])
            ):
                best = slot
        return best

    def drop(self, slot: int) -> None:
        """Forget one peak, after it was written."""
        self.magnitude[slot] = 0

    def _move_top(self, position: int, distance: int) -> None:
        slot = self._spare
        self._top = distance
        self.magnitude[slot] = distance
        self.peak[slot] = position
        self._due[slot] = position + AFTER
        if position + AFTER < self._soonest:
            self._soonest = position + AFTER

    def _keep(self) -> None:
        # The peak in the spare slot is over: it takes its place if it is larger than the smallest kept one.
        spare = self._spare
        smallest = -1
        for slot in range(_SLOTS):
            if slot != spare and (smallest < 0 or self.magnitude[slot] < self.magnitude[smallest]):
                smallest = slot
        if self.magnitude[spare] > self.magnitude[smallest]:
            self._spare = smallest
        self.magnitude[self._spare] = 0
        self._due[self._spare] = _NEVER
        self._rising = False

    def _copy_due(self, position: int, ring: Ring) -> None:
        soonest = _NEVER
        for slot in range(_SLOTS):
            due = self._due[slot]
            if due <= position:
                self._copy(slot, due, ring)
                self._due[slot] = _NEVER
            elif due < soonest:
                soonest = due
        self._soonest = soonest

    def _copy(self, slot: int, last: int, ring: Ring) -> None:
        first = self.peak[slot] - BEFORE
        if first < self._run_first:
            first = self._run_first
        if first < ring.head - ring.size:
            first = ring.head - ring.size
        self.first[slot] = first
        self.length[slot] = last + 1 - first
        to = slot * MAX_WINDOW_SAMPLES
        for at in range(first, last + 1):
            source = at & ring.mask
            self.counts[to] = ring.counts[source]
            self.second[to] = ring.second[source]
            self.microsecond[to] = ring.microsecond[source]
            self.quality[to] = ring.quality[source]
            to += 1
