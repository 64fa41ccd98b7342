"""How fast the converter converts, and how many conversions a long step leaves out; shared by the drivers.

The period follows the steps slowly. A longer step is missed conversions, unless it comes again and again, or
twice where no converter is so slow: then it is a fault, which must not hide behind what is missed. A shorter
one is taken for the period when it comes three times in a row, alike: once, it is what follows on a moment taken late,
and a disturbance of the data line that looks like a conversion cuts a period into two steps, which are seldom alike.
`missed` allocates nothing.
"""

from micropython import const

_SHORT_STEPS = const(3)
_NEW_RATE = const(16)  # so many long steps in a row are a new rate, not missed conversions
_TOO_LONG_US = const(143000)  # below 7/s


class Pace:
    """Learns the period from steps in microseconds."""

    def __init__(self) -> None:
        self.period_us = 0  # 0: not known yet
        self.late = False  # the latest step is longer than whole periods by over an eighth of one
        self._long_steps = 0
        self._long_step = 0  # the latest
        self._short_steps = 0
        self._short_step = 0  # the latest

    def missed(self, step: int) -> int:
        """Take the time between two conversions that were read; return how many were missed between them."""
        period = self.period_us
        missed = 0
        if period == 0:
            self.period_us = step
            return 0
        tolerance = period >> 3
        if step < period - tolerance:
            self._long_steps = 0
            alike = self._short_steps and -(step >> 3) <= step - self._short_step <= step >> 3
            self._short_steps = self._short_steps + 1 if alike else 1
            self._short_step = step
            if self._short_steps >= _SHORT_STEPS:
                self.period_us = step
                self._short_steps = 0
        elif step <= period + tolerance:
            self.period_us = period + ((step - period) >> 3)
            self._long_steps = 0
            self._short_steps = 0
        else:
            self._short_steps = 0
            self._long_steps += 1
            again = self._long_steps > 1 and -(step >> 3) <= step - self._long_step <= step >> 3
            self._long_step = step
            if self._long_steps >= _NEW_RATE or (again and step > _TOO_LONG_US):
                self.period_us = step
                self._long_steps = 0
            else:
                # A moment may be taken late, never early: what is left over of whole periods is lateness.
                missed = (step + tolerance) // period - 1
        self.late = step - (missed + 1) * period > tolerance
        return missed
