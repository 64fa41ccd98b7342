"""What the logger does beside recording, in the service task: lamp, buzzer, button, health, watchdog, crash lines.

Everything here is optional: a board has what it has, and `None` or nothing in place of the rest:

    lamp, buzzer         objects with set(level)
    own_lamp             the same, of the board: shows what the lamp shows, but may be slow
    button               object with pressed()
    battery              object with millivolts()
    temperature_cdeg()   hundredths of a degree
    free_memory()        bytes
    reset_cause          one of the RESET numbers
    watchdog             object with feed()
    files                where a crash was written down
    low_battery_mv       below it the battery is low
"""

from micropython import const

from . import crash
from .core import layout
from .core.recorder import Recorder
from .core.signals import Signals, pattern

_HEALTH_MS = const(250)
_SLOW_MS = const(1000)
_CLOCK_MASK = const(0xFFFFF)  # seconds; so that milliseconds stay within 30 bits


class Upkeep:
    """`step` is called every 10 ms."""

    def __init__(self, board, recorder: Recorder) -> None:  # type: ignore[no-untyped-def]
        self._recorder = recorder
        self._ticks_us = board.ticks_us
        self._lamp = getattr(board, "lamp", None)
        self._own_lamp = getattr(board, "own_lamp", None)
        self._buzzer = getattr(board, "buzzer", None)
        self._button = getattr(board, "button", None)
        self._battery = getattr(board, "battery", None)
        self._temperature = getattr(board, "temperature_cdeg", None)
        self._free_memory = getattr(board, "free_memory", None)
        self._watchdog = getattr(board, "watchdog", None)
        self._files = getattr(board, "files", None)
        self._signals = Signals()
        self._level = 0
        self._run = 0
        self._health_ms = 0
        self._slow_ms = 0
        self._was_low = False
        self.sampled = True  # set by the sampling task: the watchdog is fed only while it lives
        health = recorder.health
        health.reset_cause = getattr(board, "reset_cause", 0)
        health.low_battery_mv = getattr(board, "low_battery_mv", 0)
        self._crashed = False
        if self._files:
            for line in crash.lines(self._files):
                self._crashed = True
                recorder.say(layout.LEVEL_ERROR, line)

    def step(self) -> None:
        """One round."""
        recorder = self._recorder
        timebase = recorder.timebase
        timebase.read(self._ticks_us())
        now_ms = (timebase.second & _CLOCK_MASK) * 1000 + timebase.microsecond // 1000
        self._show(now_ms)
        if self._button and self._button.pressed():
            self._obey_button()
        if not 0 <= now_ms - self._health_ms < _HEALTH_MS:
            self._health_ms = now_ms
            self._measure(now_ms)
        if self._watchdog and self.sampled:
            self.sampled = False
            self._watchdog.feed()
        if self._crashed and not recorder.log:  # a link has taken the lines
            self._crashed = False
            crash.forget(self._files)

    def _show(self, now_ms: int) -> None:
        recorder = self._recorder
        writer = recorder.writer
        if writer.active and writer.run != self._run:
            self._run = writer.run
            recorder.health.run_begins()
            if self._lamp or self._own_lamp:
                self._signals.flash(now_ms)
        signals = self._signals
        chosen = pattern(recorder.state, recorder.overload, recorder.health.low_battery)
        level = signals.level(chosen, now_ms)
        if level == self._level:
            return
        self._level = level
        if self._lamp:
            self._lamp.set(level)
        elif self._own_lamp:
            self._own_lamp.set(level)
        if signals.lit and (self._lamp or self._own_lamp):
            self._mark_flash()
        if self._lamp and self._own_lamp:
            self._own_lamp.set(level)
        if self._buzzer:
            self._buzzer.set(level if signals.lit or recorder.overload else 0)

    def _mark_flash(self) -> None:
        # The lamp was switched on just now; one on a pin within the time of a few instructions, a Pico W's own one
        # after some commands to the radio's chip.
        recorder = self._recorder
        timebase = recorder.timebase
        timebase.read(self._ticks_us())
        if recorder.writer.active:
            recorder.writer.mark(timebase.second, timebase.microsecond, layout.MARK_VIDEO, b"flash")

    def _obey_button(self) -> None:
        recorder = self._recorder
        if recorder.state in (layout.STATE_ARMED, layout.STATE_RECORDING):
            recorder.stop(self._ticks_us())
            recorder.say(layout.LEVEL_INFO, "stopped by the button")
        elif recorder.arm() == layout.ERROR_OK:
            recorder.say(layout.LEVEL_INFO, "armed by the button")
        else:
            recorder.say(layout.LEVEL_WARNING, "cannot be armed by the button")

    def _measure(self, now_ms: int) -> None:
        recorder = self._recorder
        health = recorder.health
        if self._battery:
            health.battery(self._battery.millivolts())
            low = health.low_battery
            if low and not self._was_low:
                recorder.say(layout.LEVEL_WARNING, f"battery low: {health.battery_mv} mV")
            self._was_low = low
        if not 0 <= now_ms - self._slow_ms < _SLOW_MS:
            self._slow_ms = now_ms
            if self._temperature:
                health.temperature_cdeg = self._temperature()
            if self._free_memory:
                health.free_memory = self._free_memory()
