"""From a microsecond counter that wraps to device time in whole seconds and microseconds.

The counter of a board wraps at 2**30 microseconds (17.9 minutes), and integers outside +-2**30 live on
the heap there. So time is kept as two small numbers and every step stays within 30 bits.

`read` must be called at least once in 2**29 microseconds (8.9 minutes); the logger does ten times a
second and more. A moment up to 8.9 minutes before the latest one is placed correctly too.
"""

from micropython import const

TICKS_MASK = const(0x3FFFFFFF)
_TICKS_HALF = const(0x20000000)
MICROSECONDS = const(1000000)


def ticks_between(later: int, earlier: int) -> int:
    """Microseconds from one counter reading to another, -2**29 to 2**29 - 1."""
    step = (later - earlier) & TICKS_MASK
    if step >= _TICKS_HALF:
        step = step - TICKS_MASK - 1
    return step


def elapsed_ms(second: int, microsecond: int, since_second: int, since_microsecond: int) -> int:
    """Whole milliseconds between two device times; not over 2**30 for spans up to 12 days."""
    return (second - since_second) * 1000 + (microsecond - since_microsecond) // 1000


class Timebase:
    """Device time: zero at the reading given first; `second` and `microsecond` hold the last answer."""

    def __init__(self, ticks: int) -> None:
        self.second = 0
        self.microsecond = 0
        self._ticks = ticks
        self._anchor_second = 0
        self._anchor_microsecond = 0

    def read(self, ticks: int) -> None:
        """Set `second` and `microsecond` to the device time of a counter reading; allocates nothing."""
        step = ticks_between(ticks, self._ticks)
        seconds = step // MICROSECONDS  # rounds down, so what is left is never negative
        microsecond = self._anchor_microsecond + step - seconds * MICROSECONDS
        second = self._anchor_second + seconds
        if microsecond >= MICROSECONDS:
            microsecond -= MICROSECONDS
            second += 1
        self.second = second
        self.microsecond = microsecond
        if step > 0:
            self._ticks = ticks
            self._anchor_second = second
            self._anchor_microsecond = microsecond
