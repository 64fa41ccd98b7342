"""An HX711 at the level of its pins and of the data sheet's times (V2.0, "Serial Interface"), in cycles of a clock.

It delivers conversions at given moments, answers clock pulses as late as the data sheet allows, and notes
everything that was done to it: pulses per reading, high and low times, the time from ready to the first
pulse. A clock that stays high puts it to sleep. Not modelled: what an input does to the counts; settling.
Assumed from experience, not from the data sheet: an unread conversion ends in a short high before the next.
"""

import heapq
import math
from dataclasses import dataclass, field

T2_S = 0.1e-6  # rise of the clock to valid data, at most
SLEEP_S = 60e-6
BLINK_S = 20e-6
NEVER = 1 << 62


@dataclass
class Reading:
    """What one conversion was read with."""

    ready: int
    counts: int
    rises: list[int] = field(default_factory=list)
    falls: list[int] = field(default_factory=list)


class PinConverter:
    """`conversions`: (cycle, counts) in order; `set_data` sets the level of the data line."""

    def __init__(self, hertz, conversions, set_data):
        self.hertz = hertz
        self.readings = []
        self.next_cycle = NEVER  # of the next thing that happens by itself
        self.asleep_since = None
        self.sleeps = 0
        self.lose_pulse = False  # fault: the next pulse does nothing
        self._set = set_data
        self._events = []
        self._number = 0
        self._high_since = None
        self._shifted = 0
        self._level = 1
        set_data(1)
        for cycle, counts in conversions:
            self._at(cycle, "ready", counts)

    def _at(self, cycle, what, value):
        self._number += 1
        heapq.heappush(self._events, (cycle, self._number, what, value))
        self.next_cycle = self._events[0][0]

    def act(self, now):
        """Do what is due."""
        while self._events and self._events[0][0] <= now:
            _, _, what, value = heapq.heappop(self._events)
            if what == "level":
                self._move(value)
            elif what == "sleep":
                if self._high_since == value:
                    self.asleep_since = now
                    self._move(1)
            elif what == "low":
                self._move(0)
            elif self.asleep_since is None:
                self._ready(now, value)
        self.next_cycle = self._events[0][0] if self._events else NEVER

    def _ready(self, now, counts):
        self.readings.append(Reading(now, counts))
        self._shifted = 0
        if self._level == 0:
            self._move(1)
            self._at(now + round(BLINK_S * self.hertz), "low", 0)
            self.readings[-1].ready += round(BLINK_S * self.hertz)
        else:
            self._move(0)

    def _move(self, level):
        self._level = level
        self._set(level)

    def clock(self, now, level):
        """The clock line moves."""
        if level and self._high_since is None:
            self._high_since = now
            self._at(now + round(SLEEP_S * self.hertz), "sleep", now)
            if self.readings:
                self.readings[-1].rises.append(now)
                self._shift(now)
        elif not level and self._high_since is not None:
            self._high_since = None
            if self.asleep_since is not None:
                self.asleep_since = None
                self.sleeps += 1
                self.readings.clear()
            elif self.readings:
                self.readings[-1].falls.append(now)

    def _shift(self, now):
        if self.lose_pulse:
            self.lose_pulse = False
            return
        self._shifted += 1
        bit = self.readings[-1].counts >> (24 - self._shifted) & 1 if self._shifted <= 24 else 1
        self._at(now + math.ceil(T2_S * self.hertz), "level", bit)
