"""When a run starts and ends.

The state is a table: NEXT has an answer for every state and event. What makes an event out of samples:

  armed      the baseline is the mean of the first 16 good samples after arming; from then on
             `trigger_samples` good samples in a row farther from it than the threshold start a run
  recording  a triggered run ends when no two good samples in a row were beyond the threshold for hang_ms;
             a run begun by command ends by command only, or when the store is full

"Good" leaves out samples that are settling or out of step; they neither count nor break a row. A sample on
a rail is far from zero for a reason and counts. One sample alone, a glitch, starts nothing (with the
default of two) and keeps nothing alive.

`sample` allocates nothing.
"""

from micropython import const

from .layout import QUALITY_RAIL, STATE_ARMED, STATE_IDLE, STATE_RECORDING
from .timebase import elapsed_ms

EVENT_ARM = const(0)
_EVENT_START = const(1)
EVENT_STOP = const(2)
EVENT_OVER = const(3)  # the threshold was passed
_EVENT_QUIET = const(4)  # hang time over
EVENT_FULL = const(5)  # no room for more samples in a run begun by command
EVENT_LOST = const(6)  # the converter does not deliver
EVENT_BACK = const(7)  # it delivers again
EVENTS = const(8)

REFUSED = const(255)

_I = const(0)
_A = const(1)
_R = const(2)
_F = const(3)
_X = const(255)

# A run goes on when the converter is lost: the gap is visible in its times, and the load may come back.
# fmt: off
NEXT = bytes((
    # ARM  START  STOP  OVER  QUIET  FULL  LOST  BACK
    _A,    _R,    _I,   _I,   _I,    _I,   _F,   _I,  # IDLE
    _X,    _X,    _I,   _R,   _A,    _A,   _F,   _A,  # ARMED
    _X,    _X,    _I,   _R,   _I,    _I,   _R,   _R,  # RECORDING
    _X,    _X,    _F,   _F,   _F,    _F,   _F,   _I,  # FAULT
))
# fmt: on

_BASELINE_SAMPLES = const(16)
_RESTART_SAMPLES = const(2)  # a single sample beyond the threshold does not restart the hang time

NOTHING = const(0)
BEGAN = const(1)
ENDED = const(2)


class Trigger:
    """State, baseline and the moments that decide; the owner tells it of events and samples."""

    def __init__(self) -> None:
        self.state = STATE_IDLE
        self.baseline = 0
        self.has_baseline = False
        self.over_position = 0  # first sample of the row that started the run
        self.by_command = False
        self.threshold = 0
        self.hang_ms = 0
        self._needed = 0
        self._sum = 0
        self._collected = 0
        self._row = 0
        self._last_over_second = 0
        self._last_over_microsecond = 0

    def event(self, event: int) -> bool:
        """Take an event; False when the present state refuses it."""
        state = NEXT[self.state * EVENTS + event]
        if state == REFUSED:
            return False
        self.state = state
        return True

    def arm(self, threshold: int, trigger_samples: int, hang_ms: int) -> bool:
        """Start waiting; False when the present state refuses it."""
        if not self.event(EVENT_ARM):
            return False
        self.threshold = threshold
        self.hang_ms = hang_ms
        self.by_command = False
        self.has_baseline = False
        self._needed = trigger_samples
        self._sum = 0
        self._collected = 0
        self._row = 0
        return True

    def start(self, threshold: int, baseline: int) -> bool:
        """Record at once; False when the present state refuses it."""
        if not self.event(_EVENT_START):
            return False
        self.threshold = threshold
        self.baseline = baseline
        self.has_baseline = True
        self.by_command = True
        return True

    def sample(self, position: int, counts: int, second: int, microsecond: int, quality: int) -> int:
        """Look at one sample; return NOTHING, BEGAN or ENDED (the sample belongs to the run either way)."""
        state = self.state
        if state == STATE_ARMED:
            if quality > QUALITY_RAIL:
                return NOTHING
            if not self.has_baseline:
                if quality < QUALITY_RAIL:
                    self._sum += counts
                    self._collected += 1
                    if self._collected == _BASELINE_SAMPLES:
                        self.baseline = (self._sum + _BASELINE_SAMPLES // 2) // _BASELINE_SAMPLES
                        self.has_baseline = True
                return NOTHING
            if not self._is_over(counts):
                self._row = 0
                return NOTHING
            if self._row == 0:
                self.over_position = position
            self._row += 1
            if self._row < self._needed:
                return NOTHING
            self.event(EVENT_OVER)
            self._last_over_second = second
            self._last_over_microsecond = microsecond
            return BEGAN
        if state == STATE_RECORDING and not self.by_command:
            if quality <= QUALITY_RAIL:
                if self._is_over(counts):
                    self._row += 1
                    if self._row >= _RESTART_SAMPLES:
                        self._last_over_second = second
                        self._last_over_microsecond = microsecond
                        return NOTHING
                else:
                    self._row = 0
            return self.quiet(second, microsecond)
        return NOTHING

    def quiet(self, second: int, microsecond: int) -> int:
        """Say at a moment, with a sample or without, whether the hang time is over: ENDED or NOTHING."""
        if self.state != STATE_RECORDING or self.by_command:
            return NOTHING
        last_second = self._last_over_second
        if elapsed_ms(second, microsecond, last_second, self._last_over_microsecond) < self.hang_ms:
            return NOTHING
        self.event(_EVENT_QUIET)
        return ENDED

    def _is_over(self, counts: int) -> bool:
        distance = counts - self.baseline
        return distance > self.threshold or -distance > self.threshold
