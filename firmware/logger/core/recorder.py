"""The path of a sample and the state of the logger: time, ring, trigger, peaks, run writer.

`push` runs once per sample and allocates nothing, except that the sample which starts a run opens it.
`service` runs every few milliseconds between samples and does the writing in small steps.
"""

from micropython import const

from . import faults, layout
from .health import Health
from .identity import ClockAnchor, Identity
from .layout import QUALITY_RAIL, STATE_ARMED, STATE_IDLE, STATE_RECORDING
from .peaks import Peaks
from .ring import Ring
from .run_writer import RunWriter
from .settings import Settings
from .store import MemoryStore
from .timebase import Timebase, elapsed_ms
from .trigger import BEGAN, ENDED, EVENT_BACK, EVENT_FULL, EVENT_LOST, EVENT_STOP, Trigger

_DRAIN_SAMPLES = const(8)  # per call of service: 800 a second at 10 ms, five times what can come in
_FLASH_SHARE = const(4)  # counted from before the write
_SLOW_MS = const(20)
# of a longer queue a quarter, so that a loop that was held up catches up in a few turns
_DRAIN_PART = const(4)
_LOG_LINES = const(8)
_NEVER = const(0x3FFFFFFF)
_OVERLOAD_SAMPLES = const(2)  # one alone may be a glitch
_CAUGHT_UP = const(16)  # samples that wait in the ring as a rule


class Recorder:
    """Samples in, runs in the store out."""

    def __init__(
        self, timebase: Timebase, store: MemoryStore, identity: Identity, settings: Settings
    ) -> None:
        self.timebase = timebase
        self.store = store
        self.identity = identity
        self.settings = settings
        self.clock = ClockAnchor(layout.CLOCK_NEVER_SET)
        self.ring = Ring()
        self.trigger = Trigger()
        self.peaks = Peaks()
        self.health = Health()
        self.writer = RunWriter(self.ring, self.peaks, store, identity, settings, self.clock, self.health)
        self.missed = 0
        self.extreme = 0
        self.worst_quality = 0
        self._extreme_distance = -1
        self._alarm_at = _NEVER  # distance from the baseline that raises the next alarm
        self._over_alarm = 0
        self._told_overload = 0
        self._caught_up = False
        self.faults = faults.Faults()
        self._resting = False  # the store has taken much time; samples come first for a while
        self._rest_s = 0
        self._rest_us = 0
        self._rest_ms = 0
        self.repairing = False  # the store has work left while nothing is recorded
        self.unread = 0  # conversions that wait for the sampling task; kept up by the owner
        self.line = -1  # level of the converter's data line, -1 when not known; kept up by the owner
        self._fault_told_s = 0
        self._told_full = False
        self.log: list[tuple[int, str]] = []  # lines for people, taken away by the outbox
        for line in store.notes:
            self.say(layout.LEVEL_WARNING, line)

    @property
    def state(self) -> int:
        """One of the STATE numbers; RECORDING until the whole run is stored."""
        return STATE_RECORDING if self.writer.active else self.trigger.state

    def push(self, counts: int, ticks: int, quality: int, missed: int) -> None:
        """Take a sample: counts, counter reading of its conversion, quality, conversions missed before it."""
        timebase = self.timebase
        timebase.read(ticks)
        second = timebase.second
        microsecond = timebase.microsecond
        quality = self.faults.sample(counts, second, microsecond, quality, missed)
        self.missed += missed
        if quality > self.worst_quality:
            self.worst_quality = quality
        ring = self.ring
        position = ring.head
        ring.push(counts, second, microsecond, quality, missed)
        trigger = self.trigger
        idle = trigger.state == STATE_IDLE
        if quality <= QUALITY_RAIL and trigger.has_baseline:
            distance = counts - trigger.baseline
            if distance < 0:
                distance = -distance
            if distance <= self._alarm_at:
                self._over_alarm = 0
            else:
                self._over_alarm += 1
                if self._over_alarm >= _OVERLOAD_SAMPLES:
                    self._raise_alarm(distance)
            if distance > self._extreme_distance and not idle:
                self._extreme_distance = distance
                self.extreme = counts
        if idle:
            return
        was_recording = trigger.state == STATE_RECORDING
        outcome = trigger.sample(position, counts, second, microsecond, quality)
        if was_recording:
            self.peaks.sample(position, counts, quality, ring)
        if outcome == BEGAN:
            self._begin_triggered(position)
        elif outcome == ENDED:
            self._end(layout.END_HANG, second, microsecond)

    def service(self, ticks: int) -> None:
        """Do a little of what is not done per sample: keep the time, write records, watch the converter."""
        timebase = self.timebase
        timebase.read(ticks)
        second = timebase.second
        microsecond = timebase.microsecond
        writer = self.writer
        if self.overload != self._told_overload:
            self._tell_overload()
        if writer.active:
            self._note_waiting()
            waiting = self.ring.head - self.ring.tail
            writer.drain(max(_DRAIN_SAMPLES, waiting // _DRAIN_PART))
            if (
                self._resting
                and elapsed_ms(second, microsecond, self._rest_s, self._rest_us) >= self._rest_ms
            ):
                self._resting = False
            writer.commit(second, microsecond, not self._resting)
            if writer.full and not self._told_full:
                self._told_full = True
                self.say(layout.LEVEL_WARNING, "store full: from now on only the peaks are kept")
                if self.trigger.by_command and self.trigger.event(EVENT_FULL):
                    self._end(layout.END_STORE_FULL, second, microsecond)
            self._tell_problem()
            if not writer.active:
                self._ended()
        else:
            self.repairing = self.store.repair()
            if self.trigger.state != STATE_ARMED:
                self.store.rest()
            self._tell_problem()
            if self.trigger.state == STATE_IDLE:
                self.ring.rebase()
        watched = self.faults
        # Conversions that wait to be read are none that were not delivered.
        if not self.unread and watched.watch(second, microsecond, self.line):
            if watched.fault:
                self._tell_fault(second)
            else:
                self.trigger.event(EVENT_BACK)
                self.say(layout.LEVEL_INFO, "converter delivers again")
        if watched.fault:
            if second - self._fault_told_s >= faults.REPEAT_S and not self.log:
                self._tell_fault(second)
            # A run goes on until its hang time is over; then the fault shows.
            if self.trigger.quiet(second, microsecond) == ENDED:
                self._end(layout.END_HANG, second, microsecond)
            if not writer.active:
                self.trigger.event(EVENT_LOST)

    def took(self, milliseconds: int) -> None:
        """So long did the latest `service` take: flash, as a rule. The store has at most a quarter of the time."""
        if milliseconds >= _SLOW_MS and not self._resting:
            self._resting = True
            self._rest_s = self.timebase.second
            self._rest_us = self.timebase.microsecond
            self._rest_ms = milliseconds * _FLASH_SHARE

    def arm(self) -> int:
        """Wait for the trigger; return an ERROR number."""
        error = self._may_begin()
        if error:
            return error
        settings = self.settings
        if not self.trigger.arm(settings.threshold_counts, settings.trigger_samples, settings.hang_ms):
            return layout.ERROR_BAD_STATE
        self._watch_anew()
        return layout.ERROR_OK

    def start(self, ticks: int) -> int:
        """Record from the next sample on; return an ERROR number."""
        error = self._may_begin()
        if error:
            return error
        baseline = self._recent_mean()
        if not self.trigger.start(self.settings.threshold_counts, baseline):
            return layout.ERROR_BAD_STATE
        self.timebase.read(ticks)
        self._begin(
            layout.BEGIN_COMMAND, self.ring.head, self.timebase.second, self.timebase.microsecond, baseline
        )
        self._watch_anew()
        return layout.ERROR_OK

    def stop(self, ticks: int) -> int:
        """End the run or disarm; return the run that was ended, or 0."""
        recording = self.trigger.state == STATE_RECORDING
        self.trigger.event(EVENT_STOP)
        if not recording:
            return 0
        self.timebase.read(ticks)
        self._end(layout.END_COMMAND, self.timebase.second, self.timebase.microsecond)
        return self.writer.run

    def next_run(self) -> int:
        """Number of the run being recorded, or else of the next one."""
        return self.writer.run if self.writer.active else self.store.last_run + 1

    def awaits(self, run: int) -> bool:
        """True when ARM or START has promised this run and it is not in the store yet."""
        return self.trigger.state in (STATE_ARMED, STATE_RECORDING) and run == self.next_run()

    @property
    def overload(self) -> int:
        """One of the OVERLOAD numbers: the highest since arming."""
        return self.health.overload

    def _watch_anew(self) -> None:
        # A run, or waiting for one, begins.
        self._extreme_distance = -1
        self.extreme = 0
        self.health.overload = layout.OVERLOAD_NONE
        self._told_overload = layout.OVERLOAD_NONE
        self._raise_alarm(-1)

    def _raise_alarm(self, distance: int) -> None:
        """Note the highest overload of this distance from the baseline, and where the next one begins."""
        alarm = self.settings.alarm_counts
        capacity = self.settings.capacity_counts
        higher = capacity + capacity // 5
        level = self.health.overload
        if capacity and distance > higher:
            level = layout.OVERLOAD_ABOVE_120_PERCENT
        elif capacity and distance > capacity:
            level = max(level, layout.OVERLOAD_CAPACITY)
        elif alarm and distance > alarm:
            level = max(level, layout.OVERLOAD_ALARM)
        self.health.overload = level
        next_at = _NEVER
        if capacity and level < layout.OVERLOAD_ABOVE_120_PERCENT:
            next_at = higher if level == layout.OVERLOAD_CAPACITY else capacity
        if alarm and level < layout.OVERLOAD_ALARM and alarm < next_at:
            next_at = alarm
        self._alarm_at = next_at
        self._over_alarm = 0

    def _tell_overload(self) -> None:
        self._told_overload = self.overload
        if self.overload == layout.OVERLOAD_ALARM:
            self.say(layout.LEVEL_ERROR, "STOP LOAD reached: break the pull off")
            return
        percent = 120 if self.overload == layout.OVERLOAD_ABOVE_120_PERCENT else 100
        self.say(layout.LEVEL_ERROR, f"OVERLOAD: over {percent} % of the cell's capacity")

    def _note_waiting(self) -> None:
        # Samples from before the trigger wait when a run begins; that says nothing.
        waiting = self.ring.head - self.ring.tail
        if waiting < _CAUGHT_UP:
            self._caught_up = True
        if self._caught_up and waiting > self.health.ring_high:
            self.health.ring_high = waiting

    def _may_begin(self) -> int:
        if self.trigger.state != STATE_IDLE:
            return layout.ERROR_BAD_STATE
        # The run before may not be written out yet; there is little left of it as a rule.
        while self.writer.active:
            self.writer.drain(_DRAIN_SAMPLES)
            if not self.writer.active:
                self._ended()
        self.store.prepare()
        self._tell_problem()
        if self.store.last_run >= layout.MAX_RUN or not self.writer.has_room():
            self.store.rest()
            return layout.ERROR_STORE_FULL
        return layout.ERROR_OK

    def _begin_triggered(self, position: int) -> None:
        trigger = self.trigger
        ring = self.ring
        over = trigger.over_position
        at = over & ring.mask
        first = ring.position_before(over, self.settings.pre_trigger_ms)
        baseline = trigger.baseline
        self._begin(layout.BEGIN_TRIGGER, first, ring.second[at], ring.microsecond[at], baseline)
        for earlier in range(over, position + 1):
            at = earlier & ring.mask
            self.peaks.sample(earlier, ring.counts[at], ring.quality[at], ring)

    def _begin(self, cause: int, first: int, second: int, microsecond: int, baseline: int) -> None:
        self._told_full = False
        self._caught_up = False
        self.health.run_begins()
        run = self.store.last_run + 1
        self.writer.begin(run, cause, first, second, microsecond, baseline, self.ring.rate_mhz())
        self.peaks.begin(first, baseline, self.settings.threshold_counts)
        self.say(layout.LEVEL_INFO, f"run {run} began")

    def _end(self, cause: int, second: int, microsecond: int) -> None:
        self.writer.end(cause, second, microsecond)
        self.ring.floor = self.ring.head

    def _ended(self) -> None:
        self.say(layout.LEVEL_INFO, f"run {self.writer.run} ended, {self.writer.samples} samples")

    def _tell_problem(self) -> None:
        if self.store.problem:
            self.say(layout.LEVEL_ERROR, self.store.problem)
            self.store.problem = ""

    def _tell_fault(self, second: int) -> None:
        self._fault_told_s = second
        text = faults.NAMES[self.faults.fault]
        if self.faults.fault == faults.WRONG_RATE:
            text = f"{text}: {self.faults.rate // 10}.{self.faults.rate % 10}/s"
        self.say(layout.LEVEL_ERROR, text)

    def say(self, level: int, text: str) -> None:
        """A line for people."""
        # Nobody may be listening: the latest few lines are kept.
        if len(self.log) >= _LOG_LINES:
            self.log.pop(0)
        self.log.append((level, text))

    def _recent_mean(self) -> int:
        # Of the latest good samples, up to 16; 0 when there are none.
        ring = self.ring
        total = 0
        number = 0
        position = ring.head - 1
        oldest = ring.head - ring.size
        if oldest < 0:
            oldest = 0
        while position >= oldest and number < 16:
            at = position & ring.mask
            if ring.quality[at] < QUALITY_RAIL:
                total += ring.counts[at]
                number += 1
            position -= 1
        return (total + number // 2) // number if number else 0
