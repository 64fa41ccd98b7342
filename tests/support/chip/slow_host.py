"""The command `breakyard` on a computer whose clock goes slowly: its patience is meant for a chip in true time.

python slow_host.py FACTOR WORDS...: a second of its clock takes so many. What it measures by that clock, the speed of
a link above all, is wrong by as much.
"""

import runpy
import selectors
import sys
import time
from collections.abc import Callable
from typing import Any

FACTOR = float(sys.argv.pop(1))


class Slowed:
    """A clock gone slow; an object and no function, since pyserial keeps its clock in a class."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock

    def __call__(self) -> float:
        return self._clock() / FACTOR


time.monotonic, time.perf_counter = Slowed(time.monotonic), Slowed(time.perf_counter)
sleep = time.sleep
time.sleep = lambda seconds: sleep(seconds * FACTOR)
Selector: Any = selectors.DefaultSelector
select = Selector.select
Selector.select = lambda self, timeout=None: select(self, timeout * FACTOR if timeout else timeout)

sys.argv[0] = "breakyard"
runpy.run_module("breakyard", run_name="__main__")
