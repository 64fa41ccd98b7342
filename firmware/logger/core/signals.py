"""What the lamp shows: a pattern per state, and one flash when a run begins, for the video.

A pattern is 16 slots of 125 ms, two seconds in all; the highest bit comes first. The flash is preceded and
followed by darkness, so that a camera sees its beginning whatever the pattern was. `level` allocates nothing.
"""

from micropython import const

from .layout import STATE_ARMED, STATE_FAULT, STATE_RECORDING

_SLOT_MS = const(125)

READY = const(0b1000000000000000)  # a blink every two seconds
ARMED = const(0b1010000010100000)  # two blinks a second
RECORDING = const(0b1111000011110000)  # half on, half off
FAULT = const(0b1010101010101010)  # as quick as it goes
LOW_BATTERY = const(0b1010100000000000)  # three blinks every two seconds, instead of READY only
OVERLOAD = const(0b1111111011111110)  # nearly always on

_DARK_MS = const(120)  # four pictures at 30 a second
_LIT_MS = const(300)
_END_MS = const(1000)  # dark again until then


def pattern(state: int, overload: int, low_battery: bool) -> int:
    """Which pattern; the first that applies: fault, overload, recording, armed, low battery, ready."""
    if state == STATE_FAULT:
        return FAULT
    if overload:
        return OVERLOAD
    if state == STATE_RECORDING:
        return RECORDING
    if state == STATE_ARMED:
        return ARMED
    return LOW_BATTERY if low_battery else READY


class Signals:
    """Ask `level` every few milliseconds; `flash` when a run began."""

    def __init__(self) -> None:
        self.lit = False  # the flash is on
        self._flashing = False
        self._flash_ms = 0

    def flash(self, now_ms: int) -> None:
        """A run began: dark, lit, dark."""
        self._flashing = True
        self._flash_ms = now_ms

    def level(self, chosen: int, now_ms: int) -> int:
        """1 when the lamp is to be on."""
        self.lit = False
        if self._flashing:
            since = now_ms - self._flash_ms
            if 0 <= since < _END_MS:
                self.lit = _DARK_MS <= since < _DARK_MS + _LIT_MS
                return 1 if self.lit else 0
            self._flashing = False
        return (chosen >> (15 - (now_ms // _SLOT_MS & 15))) & 1
