"""Raspberry Pi Pico W. NOT RUN ON HARDWARE YET: pins and calls follow the documentation only."""

import gc
import os
import select
import sys
import time

import micropython
import rp2
import uctypes
from machine import Pin, freq, unique_id

from ..core.store import MemoryStore
from ..drivers.hx711_rp2 import Hx711Pio
from ..links.usb import UsbLink

DATA_PIN = 2  # GP2, pin 4 of the board, to DOUT of the converter
CLOCK_PIN = 3  # GP3, pin 5, to PD_SCK
PROMPT_PIN = 22  # GP22, pin 29; the ground beside it is pin 28
STATE_MACHINE = 0  # the first of PIO 0; the radio of the board uses another PIO
PIO_REQUEST = 4  # DREQ_PIO0_RX0 in the data sheets' tables of DMA requests, the same in RP2040 and RP2350
STORE_BYTES = 80000  # of about 180 kB free: some 14 000 samples


def wants_prompt() -> bool:
    """True when the prompt pin is connected to ground."""
    return Pin(PROMPT_PIN, Pin.IN, Pin.PULL_UP)() == 0


class Board:
    """Everything the app needs, made once."""

    name = "pico_w"
    store_bytes = STORE_BYTES

    def __init__(self) -> None:
        micropython.alloc_emergency_exception_buf(100)
        self.serial = unique_id()
        self.boot = int.from_bytes(os.urandom(4), "little")
        self.interpreter = "micropython " + sys.version.split("; ")[-1]
        self.ticks_us = time.ticks_us
        self.store = MemoryStore(self.store_bytes)
        # Pull-up, never pull-down (RP2350 erratum E9): a wire that is off reads high, and is named as such.
        self.converter = Hx711Pio(
            Pin(DATA_PIN, Pin.IN, Pin.PULL_UP),
            Pin(CLOCK_PIN, Pin.OUT),
            rp2.StateMachine(STATE_MACHINE),
            rp2.DMA(),
            PIO_REQUEST,
            uctypes.addressof,
            freq(),
            time.ticks_us,
            time.sleep_us,
        )
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        micropython.kbd_intr(-1)  # byte 3 is data here, not Ctrl-C
        self.links = [UsbLink(sys.stdin.buffer, sys.stdout.buffer, self._readable)]

    def collect(self) -> None:
        """Free memory between runs."""
        gc.collect()

    def _readable(self) -> bool:
        return bool(self._poll.poll(0))
