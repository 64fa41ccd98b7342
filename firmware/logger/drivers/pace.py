"""How fast the converter converts, and how many conversions a long step leaves out; shared by the drivers.

The shortest step counts as the period, which then follows slowly: a longer step is missed conversions,
unless it comes again and again. `missed` allocates nothing.
"""

from micropython import const

_NEW_RATE = const(16)  # so many long steps in a row are a new rate, not missed conversions


class Pace:
    """Learns the period from steps in microseconds."""

    def __init__(self) -> None:
        self.period_us = 0  # 0: not known yet
        self._long_steps = 0

    def missed(self, step: int) -> int:
        """Take the time between two conversions that were read; return how many were missed between them."""
        period = self.period_us
        if period == 0 or step < period - (period >> 2):
            self.period_us = step
            self._long_steps = 0
        elif step <= period + (period >> 1):
            self.period_us = period + ((step - period) >> 3)
            self._long_steps = 0
        else:
            self._long_steps += 1
            if self._long_steps >= _NEW_RATE:
                self.period_us = step
                self._long_steps = 0
            else:
                return (step + (period >> 1)) // period - 1
        return 0
