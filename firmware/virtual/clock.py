"""The virtual clock: microseconds that pass only when told to, and the events that fall due on the way.

`ticks_us` wraps at 2**30 as on a board. Two event sources (the converter and the radio) tell when their next
event is; `advance_to` stops at exactly that moment, with the clock showing it.
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
        self.next_radio_us = NEVER
        self.on_radio = None

    def ticks_us(self) -> int:
        """The counter of a board."""
        return (self.start_us + self.now_us) & TICKS_MASK

    def ticks_ms(self) -> int:
        """The slower counter of a board."""
        return (self.start_us + self.now_us) // 1000 & TICKS_MASK

    def ticks_diff(self, later: int, earlier: int) -> int:
        """Signed distance of two readings of ticks_ms."""
        return ((later - earlier + TICKS_MASK // 2 + 1) & TICKS_MASK) - TICKS_MASK // 2 - 1

    def advance_to(self, target_us: int) -> None:
        """Let time pass; events due on the way happen at their own moment."""
        while True:
            if self.next_radio_us < self.next_event_us:
                if self.next_radio_us > target_us:
                    break
                self.now_us = self.next_radio_us
                self.on_radio()
            else:
                if self.next_event_us > target_us:
                    break
                self.now_us = self.next_event_us
                self.on_event()
        self.now_us = target_us


clock = Clock()
