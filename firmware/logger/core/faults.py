"""Says what is wrong with the converter, from its samples and from their absence; touches no hardware.

A fault is there when no sound sample came for _LOST_MS, named after what came instead, or while the rate lies
outside what the data sheet's two rates can be. It is over with the next sound sample, or a good rate.

Single samples are doubted (OUT_OF_STEP) where no force can have made them. The converter's filter spreads any
change over four conversions (data sheet, "Output settling time"); so these do not happen:

  * all bits ones, four times in a row, or at once from far away: nothing drives the data line. They are a count,
    too, -1: a sound converter with nothing on its cell reads it now and then, and one whose load goes through zero
  * half of the count before, at once: the chip missed a clock pulse and the bits are shifted
  * twice the count before, at once: it took one pulse for two
  * odd counts only, for long: a pulse taken for two brings a one into the last bit

And company makes suspect. What a slip left of the number of pulses may have chosen another input, so the five
samples after one that was out of step are doubted (one of that input, four that settle), sixteen when they
come close together, and any more until an even count comes, which proves that no pulse of its reading was
taken for two. (A lost pulse passes the test of the extra bit where the last bit is a one, half of the time.
hardware_notes/faults.md says what is not seen.)
Doubted samples are kept and marked; they do not trigger and end no run.

`sample` and `watch` allocate nothing.
"""

from micropython import const

from .layout import QUALITY_LATE, QUALITY_OUT_OF_STEP, QUALITY_RAIL
from .timebase import elapsed_ms

_LOST_MS = const(1000)  # ten conversions at the slow rate
_SILENT_MS = const(700)
_UNWATCHED_MS = const(200)
_RESTART_MS = const(2000)  # power-up and settling take 800 ms at the slow rate
REPEAT_S = const(5)  # a fault is told again, for whoever listens only now
_RATE_MS = const(500)

# Conversions in ten seconds: 10/s and 80/s without a stated tolerance; 92/s is common, 144.7/s has a crystal.
_SLOWEST = const(70)
_SLOW_END = const(130)
_FAST_BEGIN = const(600)
_FASTEST = const(1600)

_WRONG_WINDOWS = const(2)  # a change of the rate within a window makes one

_FAR = const(512)  # counts; the data sheet's noise is 39 at 80/s and gain 128
_ONES = const(4)  # in a row by chance once in two weeks: with that noise about zero one count in 98 is -1
_NEAR_ZERO = const(4096)  # half of a small count is no great change
_GREAT_RISE = const(32768)  # a load that comes may well double smaller ones
ODD_COUNTS = const(24)  # by chance once in 2**24, two days and a half at 80/s
_FEW_DOUBTFUL = const(5)
_MANY_DOUBTFUL = const(16)

NONE = const(0)
SILENT = const(1)
SILENT_HIGH = const(2)
SILENT_LOW = const(3)
NO_CLOCK = const(4)
ALL_ONES = const(5)
OUT_OF_STEP = const(6)
ON_HIGH_RAIL = const(7)
ON_LOW_RAIL = const(8)
WRONG_RATE = const(9)

# What the log says, at most 64 bytes; hardware_notes says what to do.
NAMES = (
    "",
    "converter does not deliver",
    "converter does not deliver: data line stays high",
    "converter does not deliver: data line stays low",
    "clock does not reach the converter: all bits are zeros",
    "data line is not driven: all bits are ones",
    "converter is out of step: bits are shifted",
    "count stays on the high rail: open or swapped wires, or overload",
    "count stays on the low rail: open or swapped wires, or overload",
    "converter has a wrong rate",
)


class Faults:
    """`fault` is the one there is now. Times are device times."""

    def __init__(self) -> None:
        self.fault = NONE
        self.rate = 0  # conversions in ten seconds, of the latest window; 0: not known
        self.restart = False  # switching the converter off and on may help; whoever does it clears this
        self._sound_s = 0
        self._sound_us = 0
        self._last_s = 0
        self._last_us = 0
        self._watched_s = 0
        self._watched_us = 0
        self._unwatched_ms = 0
        self._tried_s = 0
        self._tried_us = 0
        self._kind = NONE
        self._previous = 0
        self._change = 0  # of the count before
        self._ones = 0  # readings of nothing but ones in a row; _ONES: they are doubted
        self._odd = 0  # odd counts in a row, each another than the one before
        self._sound_counts = 0
        self._since_sound = _MANY_DOUBTFUL
        self._doubtful = 0
        self._close = 0
        self._window_open = False
        self._window_s = 0
        self._window_us = 0
        self._window_count = 0
        self._wrong_windows = 0
        self._wrong_rate = False

    def sample(self, counts: int, second: int, microsecond: int, quality: int, missed: int) -> int:
        """Look at a sample, `missed` conversions after the one before; return its quality, doubts included."""
        self._measure(second, microsecond, quality, missed)
        kind = NONE
        proven = True  # that no pulse was taken for two
        if not counts & 1:
            self._odd = 0
        elif counts != self._previous:  # one that stays the same is no converter's
            self._odd += 1
            proven = False
        change = counts - self._previous
        if counts != -1:
            self._ones = 0
        elif self._ones < _ONES:
            self._ones = _ONES if self._leaps(change) else self._ones + 1
        if quality == QUALITY_OUT_OF_STEP:
            kind = OUT_OF_STEP if counts else NO_CLOCK
        elif self._ones == _ONES:
            kind = ALL_ONES
        elif self._odd >= ODD_COUNTS or (
            quality <= QUALITY_LATE and missed == 0 and self._is_shifted(counts)
        ):
            kind = OUT_OF_STEP
        self._previous = counts
        self._change = change
        if kind:
            quality = QUALITY_OUT_OF_STEP
            self._doubtful = _MANY_DOUBTFUL if self._close else _FEW_DOUBTFUL
            self._close = _MANY_DOUBTFUL
        else:
            if self._close:
                self._close -= 1
            if self._doubtful:
                if proven or self._doubtful > 1:
                    self._doubtful -= 1
                quality = QUALITY_OUT_OF_STEP
                kind = OUT_OF_STEP
            elif quality == QUALITY_RAIL:
                kind = ON_HIGH_RAIL if counts > 0 else ON_LOW_RAIL
        self._last_s = second
        self._last_us = microsecond
        if kind:
            self._kind = kind
            if self._since_sound < _MANY_DOUBTFUL:
                self._since_sound += 1
        else:
            self._sound_s = second
            self._sound_us = microsecond
            self._unwatched_ms = 0
            self._sound_counts = counts
            self._since_sound = 0
        if self._wrong_rate and quality <= QUALITY_LATE:
            return QUALITY_OUT_OF_STEP
        return quality

    def watch(self, second: int, microsecond: int, line: int) -> bool:
        """Name the fault at a moment; `line` is the data line's level, -1 when not known. True when it changed."""
        fault = NONE
        pause = elapsed_ms(second, microsecond, self._watched_s, self._watched_us)
        if pause > _UNWATCHED_MS:
            self._unwatched_ms += pause  # the board was busy, with flash as a rule: samples may be waiting
        self._watched_s = second
        self._watched_us = microsecond
        quiet = elapsed_ms(second, microsecond, self._sound_s, self._sound_us)
        if quiet - self._unwatched_ms >= _LOST_MS:
            if elapsed_ms(second, microsecond, self._last_s, self._last_us) < _SILENT_MS:
                fault = self._kind
            elif line < 0:
                fault = SILENT
            else:
                fault = SILENT_HIGH if line else SILENT_LOW
            # Neither a rail nor a rate gets better by it.
            if (
                fault <= OUT_OF_STEP
                and elapsed_ms(second, microsecond, self._tried_s, self._tried_us) >= _RESTART_MS
            ):
                self.restart = True
                self._tried_s = second
                self._tried_us = microsecond
        elif self._wrong_rate:
            fault = WRONG_RATE
        if fault == self.fault:
            return False
        self.fault = fault
        return True

    def _leaps(self, change: int) -> bool:
        # Neither noise nor the way that the counts went, were it twice as fast by now.
        on = 2 * self._change
        return not min(on, 0) - _FAR <= change <= max(on, 0) + _FAR

    def _is_shifted(self, counts: int) -> bool:
        if self._since_sound > 3:
            return False  # meanwhile a force may have changed as much
        change = counts - self._sound_counts
        if -_NEAR_ZERO < change < _NEAR_ZERO:
            return False
        half = (self._sound_counts & 0xFFFFFF) >> 1
        tolerance = half >> 5
        if -tolerance <= counts - half <= tolerance:
            return True
        if not counts & 1 or -_GREAT_RISE < change < _GREAT_RISE:
            return False
        # As a reading, which keeps 24 bits.
        change = (counts - 2 * self._sound_counts) & 0xFFFFFF
        tolerance = abs(self._sound_counts) >> 4
        return change <= tolerance or change >= 0x1000000 - tolerance

    def _measure(self, second: int, microsecond: int, quality: int, missed: int) -> None:
        # Conversions per ten seconds in windows of _RATE_MS, from the moments of the conversions themselves.
        # A sample that settles or is out of step starts anew: before it conversions may be missing unseen.
        pause = elapsed_ms(second, microsecond, self._last_s, self._last_us)
        if not self._window_open or pause >= _LOST_MS or quality > QUALITY_RAIL:
            self._window_open = True
            self._window_s = second
            self._window_us = microsecond
            self._window_count = 0
            return
        self._window_count += 1 + missed
        span = elapsed_ms(second, microsecond, self._window_s, self._window_us)
        if span < _RATE_MS:
            return
        rate = self._window_count * 10000 // span
        self.rate = rate
        if _SLOWEST <= rate <= _SLOW_END or _FAST_BEGIN <= rate <= _FASTEST:
            self._wrong_windows = 0
            self._wrong_rate = False
        else:
            self._wrong_windows += 1
            self._wrong_rate = self._wrong_windows >= _WRONG_WINDOWS
        self._window_s = second
        self._window_us = microsecond
        self._window_count = 0
