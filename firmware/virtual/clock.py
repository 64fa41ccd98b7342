"""The virtual clock: microseconds that pass only when told to, and the events that fall due on the way.

`ticks_us` wraps at 2**30 as on a board. One event source (the converter) tells when its next event is;
`advance_to` stops at exactly that moment, with the clock showing it.
"""

TICKS_MASK = 0x3FFFFFFF
NEVER = 1 << 60


class Clock:
    """`now_us` counts from 0 and never wraps; only stand-ins may look at it."""

    def __init__(self) -> None:
        self.now_us = 0
        self.start_us = 0
        self.next_event_us = NEVER
        self.on_event = None

    def ticks_us(self) -> int:
        """The counter of a board."""
        return (self.start_us + self.now_us) & TICKS_MASK

    def advance_to(self, target_us: int) -> None:
        """Let time pass; events due on the way happen at their own moment."""
        while self.next_event_us <= target_us:
            self.now_us = self.next_event_us
            self.on_event()
        self.now_us = target_us


clock = Clock()
