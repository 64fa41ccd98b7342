"""What may be tested without a run: samples, flash, and the slow rate for a while.

Nothing here touches a run or what lies in the store. `samples` and `store` take their time (a tenth of a second or
two, a flash erase more), so both are refused by commands.py while a run is awaited or recorded.
"""

from micropython import const

from . import layout
from .recorder import Recorder
from .timebase import elapsed_ms

LONGEST_S = const(10)  # the ring holds 11 s at 92 samples a second, less at faster rates
SLOWEST_S = const(60)


class Probe:
    """`files` is where the runs are, `rate_pin` has set(level), high for the fast rate, `memory()` collects garbage
    and tells the free bytes; each may be None.
    """

    def __init__(self, recorder: Recorder, ticks_us=None, files=None, rate_pin=None, memory=None) -> None:  # type: ignore[no-untyped-def]
        self._recorder = recorder
        self._ticks_us = ticks_us
        self._files = files
        self._rate_pin = rate_pin
        self._memory = memory
        self._slow_ms = 0  # 0: fast
        self._since_s = 0
        self._since_us = 0
        self._turn = 0

    def samples(self, seconds: int) -> tuple:  # type: ignore[type-arg]
        """The results of SELF_TEST."""
        from . import self_test

        return self_test.samples(self._recorder, seconds, self._memory() if self._memory else 0)

    def store(self) -> tuple[int, int, int, int]:
        """The results of TEST_STORE."""
        from . import self_test

        self._turn = (self._turn + 1) & 0xFF
        return self_test.store(self._files, self._ticks_us, self._turn)

    def slow(self, seconds: int) -> int:
        """Convert slowly for so long, 0: fast at once; returns 0 when the pin is not wired."""
        if not self._rate_pin:
            return 0
        if seconds:
            timebase = self._recorder.timebase
            self._since_s = timebase.second
            self._since_us = timebase.microsecond
            self._switch(seconds * 1000)
        else:
            self.fast()
        return 1

    def fast(self) -> None:
        """Back to the fast rate, if it is slow."""
        if self._slow_ms:
            self._switch(0)

    def step(self) -> None:
        """Called every few milliseconds: fast again when the time is over or a run may begin."""
        if not self._slow_ms:
            return
        recorder = self._recorder
        timebase = recorder.timebase
        over = (
            elapsed_ms(timebase.second, timebase.microsecond, self._since_s, self._since_us) >= self._slow_ms
        )
        if over or recorder.state in (layout.STATE_ARMED, layout.STATE_RECORDING):
            self._switch(0)

    def _switch(self, slow_ms: int) -> None:
        self._slow_ms = slow_ms
        self._rate_pin.set(0 if slow_ms else 1)
        self._recorder.faults.restart = True  # new power: the next four conversions are dropped
