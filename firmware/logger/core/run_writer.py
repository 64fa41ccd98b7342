"""From the ring to the records of one run, a few samples at a time.

Order in a run: RUN_BEGIN, IDENTITY, SETTINGS, then SAMPLES and MARK in time order, then the PEAK_WINDOWs
(largest first) and RUN_END. A SAMPLES record is closed when it is full, when its first sample is commit_ms
old, when a step does not fit or sample numbers are missing, and before a MARK.

The store is told to commit before the oldest sample that is not safe is commit_ms old, as a rule right after
a record was closed.

When the store is full, samples are counted but no longer kept; room for peak windows and totals was put
aside at the start. Taking a sample allocates nothing; closing a record allocates a few small objects.
"""

import hashlib

from micropython import const

from . import layout, record
from .health import Health
from .identity import ClockAnchor, Identity
from .peaks import Peaks
from .ring import Ring
from .sample_record import DOES_NOT_FIT, SAMPLES_AT, SampleRecord
from .settings import Settings
from .store import MemoryStore, framed
from .timebase import elapsed_ms
from .totals import Totals
from .window import pack_window

_IDLE = const(0)
_WAITING = const(1)  # begun, but the first sample has not come
_WRITING = const(2)
_ENDING = const(3)  # the last sample is known
_WINDOWS = const(4)
_SAVING = const(5)

_HELD = const(4 * 257 + 96)  # framed: the longest peak windows and RUN_END
_SMALLEST = const(2048)  # a run needs room for its first records and some samples
_MARK_WAIT_MS = const(50)


class RunWriter:
    """Writes one run after another; `begin`, then `drain` until it is no longer `active`."""

    def __init__(
        self,
        ring: Ring,
        peaks: Peaks,
        store: MemoryStore,
        identity: Identity,
        settings: Settings,
        clock: ClockAnchor,
        health: Health,
    ) -> None:
        self._ring = ring
        self._peaks = peaks
        self._store = store
        self._identity = identity
        self._settings = settings
        self._clock = clock
        self._health = health
        self._samples = SampleRecord()
        self._means = None  # a MeanRecord in place of samples, when mean_ms asks for it
        self._mean_ms = 0
        self._other = bytearray(layout.MAX_RECORD)
        self._hash = hashlib.sha256()
        self._stage = _IDLE
        self._marks: list = []  # type: ignore[type-arg]
        self._marks_size = 0
        self.run = 0
        self.records = 0
        self.full = False
        self._cause = 0
        self._trigger_s = 0
        self._trigger_us = 0
        self._baseline = 0
        self._rate_mhz = 0
        self._end_position = 0
        self._end_cause = 0
        self._end_s = 0
        self._end_us = 0
        self.first = 0
        self._number = 0  # of the next sample within the run
        self._not_stored = 0
        self._totals = Totals()
        self._windows = 0
        self._rank = 0
        self._digest = b""
        self._unsafe = False  # something was appended since the latest commit
        self._safe_s = 0
        self._safe_us = 0
        self._record_ms = 0  # span of the latest full record

    @property
    def active(self) -> bool:
        """True until the run's RUN_END is stored."""
        return self._stage != _IDLE

    @property
    def samples(self) -> int:
        """Samples of the run taken from the ring so far."""
        return self._number

    def has_room(self) -> bool:
        """True when the store has room for a run worth beginning."""
        return self._store.room() >= _HELD + _SMALLEST

    def seconds_left(self, rate_mhz: int) -> int:
        """Seconds of samples for which the store has room, at this rate (80/s when it is not known)."""
        rate = rate_mhz if rate_mhz else 80000
        number = rate * self._settings.commit_ms // 1000000 + 1
        if number > layout.MAX_SAMPLES:
            number = layout.MAX_SAMPLES
        room = self._store.room() - (0 if self.active else _HELD + 300)
        if room <= 0:
            return 0
        mean_ms = self._settings.mean_ms
        if mean_ms:
            return room // layout.MAX_RECORD * layout.MAX_MEANS * mean_ms // 1000
        size = framed(SAMPLES_AT + layout.TRAILER + layout.SAMPLE_BYTES * number)
        return room * number // size * 1000 // rate

    def begin(
        self, run: int, cause: int, first: int, trigger_s: int, trigger_us: int, baseline: int, rate_mhz: int
    ) -> None:
        """Begin a run with the sample at position `first`, which may still be to come."""
        self._store.begin(run)
        self._store.hold(_HELD)
        self.run = run
        self.records = 0
        self.full = False
        self._cause = cause
        self._trigger_s = trigger_s
        self._trigger_us = trigger_us
        self._baseline = baseline
        self._rate_mhz = rate_mhz
        self.first = first
        self._end_position = -1
        self._number = 0
        self._not_stored = 0
        self._totals.clear()
        self._rank = 0
        self._samples.count = 0
        self._mean_ms = self._settings.mean_ms
        self._means = None
        if self._mean_ms:
            from .mean_record import MeanRecord  # few runs are so slow: its code is loaded when asked for

            self._means = MeanRecord()  # type: ignore[assignment]
        self._marks = []
        self._marks_size = 0
        self._hash = hashlib.sha256()
        self._unsafe = False
        self._safe_s = trigger_s
        self._safe_us = trigger_us
        self._record_ms = 0
        self._ring.tail = first
        self._ring.holding = True
        self._stage = _WAITING

    def end(self, cause: int, second: int, microsecond: int) -> None:
        """End the run with the latest sample in the ring; `drain` does the rest."""
        self._end_position = self._ring.head
        self._end_cause = cause
        self._end_s = second
        self._end_us = microsecond
        self._windows = self._peaks.finish(self._ring.head - 1, self._ring)

    def mark(self, second: int, microsecond: int, code: int, text: bytes) -> bool:
        """Queue a MARK; False when the store has no room for it."""
        # A record of samples may have to be closed before it.
        size = framed(layout.MIN_RECORD + 10 + len(text))
        if self._store.room() < self._marks_size + size + layout.MAX_FRAME:
            return False
        self._marks.append((second, microsecond, code, text))
        self._marks_size += size
        return True

    def drain(self, limit: int) -> bool:
        """Take up to `limit` samples, or do one step of the ending; False when there was nothing to do."""
        if self._stage == _IDLE:
            return False
        if self._stage == _WAITING and not self._write_beginning():
            return False
        if self._stage == _WRITING:
            ring = self._ring
            last = ring.head if self._end_position < 0 else self._end_position
            if ring.tail >= last and self._end_position < 0:
                return False
            while limit and ring.tail < last:
                self.take()
                limit -= 1
            if self._end_position >= 0 and ring.tail >= last:
                self._stage = _ENDING
            return True
        if self._stage == _ENDING:
            self._close()
            self._write_marks(-1, 0)
            self._ring.holding = False
            self._stage = _WINDOWS
        elif self._stage == _SAVING:
            if not self._store.step():
                self._store.end(self._digest)
                self._stage = _IDLE
        elif self._rank < self._windows:
            self._write_window()
        else:
            self._write_end()
            self._stage = _SAVING
        return True

    def commit(self, second: int, microsecond: int, may_save: bool = True) -> None:
        """Close the record being filled if its first sample is old enough; make safe what is due, if it may be."""
        if self._stage == _WRITING:
            samples = self._samples
            means = self._means
            if means:
                age_ms = elapsed_ms(second, microsecond, means.second, means.microsecond)
                if not means.empty and age_ms >= 10 * self._mean_ms and age_ms >= self._settings.commit_ms:
                    self._close()
            if samples.count:
                age_ms = elapsed_ms(second, microsecond, samples.second, samples.microsecond)
                if age_ms >= self._settings.commit_ms:
                    self._close()
            # A mark waits for samples from before it that may still be unread.
            if self._marks and self._ring.tail >= self._ring.head:
                mark = self._marks[0]
                if elapsed_ms(second, microsecond, mark[0], mark[1]) >= _MARK_WAIT_MS:
                    self._write_marks(mark[0], mark[1])
            if self._unsafe:
                since_ms = elapsed_ms(second, microsecond, self._safe_s, self._safe_us)
                # Wait for another record only if it will be there in time.
                if self._ring.head - self._ring.tail < layout.MAX_SAMPLES:
                    since_ms += self._record_ms
                if since_ms >= self._settings.commit_ms and may_save:
                    self._store.commit()
                    self._unsafe = False
                    self._safe_s = second
                    self._safe_us = microsecond

    def take(self) -> None:
        """Move one sample from the ring into the record being filled."""
        ring = self._ring
        position = ring.tail
        at = position & ring.mask
        second = ring.second[at]
        microsecond = ring.microsecond[at]
        counts = ring.counts[at]
        quality = ring.quality[at]
        number = position - self.first
        if self._marks:
            self._write_marks(second, microsecond)
        if number != self._number:  # the ring was overrun
            self._close()
            self._not_stored += number - self._number
            self._number = number
        samples = self._samples
        step = 0
        if self._means:
            self._take_mean(self._means, number, second, microsecond, counts, quality)
        elif samples.count:
            step = samples.step(second, microsecond)
            if step == DOES_NOT_FIT:
                self._close()
                step = 0
        if self._means:
            pass
        elif samples.count == 0 and not self._open(second, microsecond):
            self._not_stored += 1
        else:
            samples.put(counts, quality, step)
        self._totals.add(counts, quality, ring.missed[at] if number else 0)
        self._number = number + 1
        ring.tail = position + 1
        if samples.count == layout.MAX_SAMPLES:
            self._close()

    def _take_mean(  # type: ignore[no-untyped-def]
        self, means, number: int, second: int, microsecond: int, counts: int, quality: int
    ) -> None:
        if means.due(second, microsecond, self._mean_ms):
            means.finish()
            if means.count == layout.MAX_MEANS:
                self._close()
        if not means.samples:
            if not means.count and not self._has_room():
                self._not_stored += 1
                return
            means.begin(number, second, microsecond)
        means.add(counts, quality)

    def _has_room(self) -> bool:
        if self.full or self._store.room() < self._marks_size + layout.MAX_FRAME:
            self.full = True
            return False
        return True

    def _open(self, second: int, microsecond: int) -> bool:
        if not self._has_room():
            return False
        self._samples.open(second, microsecond)
        return True

    def _close(self) -> None:
        means = self._means
        if means and not means.empty:
            means.finish()
            self._append(means.buffer, means.close(self.run, self.records), False)
        samples = self._samples
        if samples.count:
            self._record_ms = samples.span_ms()
            end = samples.close(self.run, self.records, self._number - samples.count)
            self._append(samples.buffer, end, False)

    def _append(self, buffer: bytearray, end: int, held: bool) -> bool:
        length = record.finish(buffer, end)
        if not self._store.append(buffer, length, held):
            return False
        if buffer[0] != layout.KIND_RUN_END:
            self._hash.update(memoryview(buffer)[:length])
        self._unsafe = True
        self.records += 1
        return True

    def _write(self, kind: int, fields: str, values: tuple, held: bool = False) -> bool:  # type: ignore[type-arg]
        at = record.begin(self._other, kind, self.run, self.records)
        return self._append(self._other, record.pack(self._other, at, fields, values), held)

    def _write_beginning(self) -> bool:
        ring = self._ring
        if ring.head > self.first:
            at = self.first & ring.mask
            first_s = ring.second[at]
            first_us = ring.microsecond[at]
        elif self._end_position >= 0:  # stopped before the first sample came
            first_s = self._trigger_s
            first_us = self._trigger_us
        else:
            return False
        clock = self._clock
        self._write(
            layout.KIND_RUN_BEGIN,
            layout.FIELDS_RUN_BEGIN,
            (
                self._identity.boot,
                self._cause,
                first_s,
                first_us,
                self._trigger_s,
                self._trigger_us,
                self._baseline,
                self._rate_mhz,
                self._settings.input,
                clock.device_s,
                clock.device_us,
                clock.utc_s,
                clock.utc_us,
                clock.uncertainty_us,
            ),
        )
        self._write(layout.KIND_IDENTITY, layout.FIELDS_IDENTITY, self._identity.values())
        self._write(layout.KIND_SETTINGS, layout.FIELDS_SETTINGS, self._settings.values())
        self._stage = _WRITING
        return True

    def _write_marks(self, second: int, microsecond: int) -> None:
        # Those at or before a moment, or all when second is negative.
        while self._marks:
            mark = self._marks[0]
            if second >= 0 and (mark[0] > second or (mark[0] == second and mark[1] > microsecond)):
                return
            self._close()
            self._marks.pop(0)
            self._marks_size -= framed(layout.MIN_RECORD + 10 + len(mark[3]))
            self._write(layout.KIND_MARK, layout.FIELDS_MARK, mark)

    def _write_window(self) -> None:
        slot = self._peaks.largest()
        record.begin(self._other, layout.KIND_PEAK_WINDOW, self.run, self.records)
        end = pack_window(self._other, self._peaks, slot, self.first, self._rank, self._windows)
        self._append(self._other, end, True)
        self._peaks.drop(slot)
        self._rank += 1

    def _write_end(self) -> None:
        cause = layout.END_STORE_FULL if self.full else self._end_cause
        totals = self._totals
        health = self._health
        if self._number == 0:
            totals.lowest = 0
            totals.highest = 0
        digest = self._hash.digest()
        self._write(
            layout.KIND_RUN_END,
            layout.FIELDS_RUN_END,
            (
                cause,
                self._end_s,
                self._end_us,
                self._number,
                self._not_stored,
                totals.missed,
                totals.clipped,
                totals.doubtful,
                totals.lowest,
                totals.highest,
                self._windows,
                digest,
                health.overload,
                health.lowest_battery_mv,
                health.temperature_cdeg,
                health.ring_high,
                health.free_memory,
                health.reset_cause,
            ),
            True,
        )
        self._digest = digest
