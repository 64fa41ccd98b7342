# ruff: noqa: PLW0603 - module globals are what can be changed without allocating
"""Proof under the real interpreter: the path of a sample allocates nothing. Prints what a record costs.

The heap is locked around the calls, so that any allocation raises MemoryError. Blind spot: this build has
64-bit small integers; tests/firmware/cpython/test_thirty_bits.py looks after the size of numbers.
"""

import gc
import sys
import time

import micropython

from logger.core import layout
from logger.core.identity import Identity
from logger.core.recorder import Recorder
from logger.core.settings import Settings
from logger.core.store import MemoryStore
from logger.core.timebase import Timebase
from logger.drivers.hx711 import Hx711

TICKS_MASK = 0x3FFFFFFF
COMMIT_MS = 7  # protocol/records.json, settings


class DataPin:
    """The least that can stand for the chip: always the same bits, then ones."""

    def __init__(self):
        self.bit = 0

    def __call__(self):
        self.bit += 1
        return 0 if self.bit < 20 else 1

    def irq(self, handler, trigger, hard):
        self.handler = handler


def clock_pin(level):
    return level


def mask_irq():
    return 0


def unmask_irq(state):
    return state


now = 0x3FFFFFFF - 300000  # the counter wraps on the way


def ticks_us():
    return now


def locked(function):
    """Call it with the heap locked; True when nothing was allocated."""
    gc.collect()
    micropython.heap_lock()
    try:
        function()
        return True
    except MemoryError:
        return False
    finally:
        micropython.heap_unlock()


settings = Settings()
store = MemoryStore(100000)
recorder = Recorder(Timebase(now), store, Identity(bytes(8), 1, "test", "test"), settings)
data_pin = DataPin()
driver = Hx711(data_pin, clock_pin, 4, ticks_us, mask_irq, unmask_irq, None)
count = 0
quality = 0


def convert():
    """Driver, time, ring, trigger, peaks: one sample from the pins on."""
    global now
    now = (now + 10870) & TICKS_MASK
    data_pin.handler(None)
    data_pin.bit = 0
    driver.poll()
    recorder.push(count, driver.ticks, quality, driver.missed)


def convert_many():
    global count
    for i in range(40):
        count = i * 37
        convert()


def load_many():
    global count
    for i in range(40):
        count = 30000 + i * 100000 if i < 30 else 0
        convert()


def doubtful_many():
    global count, quality
    for i in range(40):
        count = layout.RAIL_HIGH if i & 1 else layout.RAIL_LOW
        # While armed only what the trigger does not look at.
        quality = 3 + (i & 1) if recorder.state == layout.STATE_ARMED else i % 5
        convert()
    quality = 0


def take_many():
    """Encoding into the record being filled."""
    for _ in range(40):
        recorder.writer.take()


def allocates():
    return [now]


def steps():
    yield "the lock is felt: a list cannot be made", not locked(allocates)
    convert_many()
    yield "idle: driver, time, ring", locked(convert_many)
    recorder.arm()
    yield "armed: baseline and trigger", locked(convert_many)
    yield "armed: doubtful samples", locked(doubtful_many) and recorder.state != layout.STATE_RECORDING
    recorder.stop(now)
    settings.change(COMMIT_MS, 10000)
    recorder.start(now)
    convert()
    recorder.service(now)  # opens the run: one allocation for many samples
    recorder.service(now)
    recorder.writer.commit(recorder.timebase.second + 20, 0)  # an empty record to begin with
    yield "recording: driver, time, ring, trigger, peaks", locked(load_many)
    yield "recording: encoding into the record", locked(take_many)
    recorder.writer.commit(recorder.timebase.second + 20, 0)
    yield "recording: falling load and doubtful samples", locked(doubtful_many)
    yield "recording: encoding of these", locked(take_many)


def bytes_per_record():
    """Bytes allocated when a full SAMPLES record is closed: CRC, hash, store."""
    recorder.writer.commit(recorder.timebase.second + 20, 0)
    costs = []
    for _ in range(8):
        for _ in range(46):
            convert()
        for _ in range(45):
            recorder.writer.take()
        gc.collect()
        gc.disable()
        before = gc.mem_alloc()
        recorder.writer.take()
        costs.append(gc.mem_alloc() - before)
        gc.enable()
    return costs


def microseconds_per_sample():
    start = time.ticks_us()
    for _ in range(50):
        convert_many()
        take_many()
    return time.ticks_diff(time.ticks_us(), start) / 2000


bad = 0
for what, good in steps():
    print("ok  " if good else "FAIL", what)
    bad += not good
costs = bytes_per_record()
print("bytes allocated per SAMPLES record of 46 samples:", max(costs))
print("microseconds per sample on this computer:", microseconds_per_sample())
if max(costs) > 1024:
    print("FAIL a record costs more than 1 KiB")
    bad += 1
print("failed:", bad)
sys.exit(1 if bad else 0)
