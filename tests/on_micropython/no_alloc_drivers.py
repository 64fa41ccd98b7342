# ruff: noqa: PLW0603 - module globals are what can be changed without allocating
"""Proof under the real interpreter: reading by PIO and DMA, and by SPI, allocates nothing per sample.

The heap is locked around the calls, and the counter wraps meanwhile. Runs on the 64-bit and, where integers of
2**30 and more are objects as on a board, on the 32-bit build. The words of the PIO program are below 2**29 by its
law, and turns of the wait are below 2**30 for the first 214 s of silence.
"""

import gc
import sys
from array import array

import micropython

from logger.drivers.hx711_esp32 import Hx711Spi
from logger.drivers.hx711_rp2 import RING_CONVERSIONS, TRANSFERS, Hx711Pio

ADDRESS = 0x20001230
now = 0x3FFFFFFF - 300000  # the counter wraps on the way


def ticks_us():
    return now


def nothing(*_):
    return None


class Machine:
    """The least that can stand for a state machine."""

    def active(self, on):
        return on

    def init(self, program, **options):
        self.options = options

    def exec(self, instruction):
        return instruction

    def put(self, word):
        return word

    def tx_fifo(self):
        return 0


class Channel:
    """The least that can stand for a DMA channel."""

    count = TRANSFERS

    def active(self, on):
        return on

    def pack_ctrl(self, **fields):
        return fields

    def config(self, **what):
        self.what = what


class Spi:
    """Answers with the same bytes."""

    def write_readinto(self, sent, taken):
        for i in range(len(taken)):
            taken[i] = 0xF3


class Pin:
    """A data line that is low."""

    def __call__(self):
        return 0

    def irq(self, handler, trigger):
        self.handler = handler


def address_of(words):
    global memory
    memory = words
    return ADDRESS


memory = array("I")
channel = Channel()
pio = Hx711Pio(nothing, nothing, Machine(), channel, 4, address_of, 125000000, ticks_us, nothing)
pin = Pin()
spi = Hx711Spi(pin, Spi(), 4, ticks_us)
for i in range(RING_CONVERSIONS):
    memory[pio._first_word + 2 * i] = 27045  # 10.87 ms
    memory[pio._first_word + 2 * i + 1] = ((i * 60001) & 0xFFFFFF) << 1 | 1
taken = 0


def read_pio():
    global now, taken
    for _ in range(600):
        now = (now - 0x3FFFFFFF - 1 + 10870) & 0x3FFFFFFF  # no step leaves 30 bits
        channel.count -= 2
        if pio.poll():
            taken += 1
        pio.poll()  # finds nothing


def fall_behind():
    channel.count -= 2 * RING_CONVERSIONS
    for _ in range(RING_CONVERSIONS):
        pio.poll()


def read_spi():
    global now, taken
    for _ in range(600):
        now = (now - 0x3FFFFFFF - 1 + 10870) & 0x3FFFFFFF  # no step leaves 30 bits
        pin.handler(pin)
        if spi.poll():
            taken += 1


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


def allocates():
    return [now]


bad = 0
for what, good in (
    ("the lock is felt: a list cannot be made", not locked(allocates)),
    ("PIO: poll, with and without a conversion", locked(read_pio) and taken == 600),
    ("PIO: after the ring was overwritten", locked(fall_behind) and pio.overruns > 0),
    ("SPI: handler and poll", locked(read_spi) and taken == 1200),
):
    print("ok  " if good else "FAIL", what)
    bad += not good
sys.exit(1 if bad else 0)
